"use strict";

// What this is, what sockets there are, what is needed, and what has to be known before the first sound.
(() => {
  const ROUTES = { "two-inputs": "live", "line-in": "live", headset: "one-input", microphone: "one-input", recorder: "manual" };

  // A browser that cannot record two clean channels leaves only recordings made elsewhere.
  function obstacle() {
    const unsuited = audio.unsuited();
    if (unsuited !== null) return say(`browser.${unsuited}`);
    const missing = audio.missing();
    return missing.length > 0 ? say("browser.missing", { what: missing.map((code) => say(`browser.lacks_${code}`)).join(", ") }) : null;
  }

  // Without the core nothing can be judged, whoever records.
  const runsCore = () => !audio.missing().some((code) => ["unpack", "wasm"].includes(code));

  function routeFor(sockets) {
    const route = ROUTES[sockets] ?? null;
    if (obstacle() === null) return route;
    if (!runsCore()) return null;
    // With one input everything rests on the page's own playing.
    return { live: "manual", manual: "manual" }[route] ?? null;
  }

  questions.add("welcome", {
    onKey: "welcome.start",
    render(context) {
      const { continued, keeps, alone } = state.now.opened;
      const resume = state.now.resume;
      const trouble = obstacle();
      return [
        state.kit.note ? element("blockquote", { class: "panel" }, element("p", {}, state.kit.note)) : null,
        trouble ? widgets.panel("usable", element("p", {}, trouble), element("p", {}, say(runsCore() ? "browser.manual_instead" : "browser.other_instead"))) : null,
        alone ? null : widgets.panel("redo", element("p", {}, say("welcome.two_tabs"))),
        keeps ? null : widgets.panel("usable", element("p", {}, say("welcome.keeps_nothing"))),
        resume && alone ? widgets.panel("good",
          element("p", {}, say("welcome.was_here", { title: say(`${resume.id}.short`) })),
          element("div", { class: "row" },
            widgets.button(say("welcome.continue"), () => context.jump(resume.id, resume.driver), "main"),
            widgets.button(say("welcome.afresh"), () => startAfresh(context)))) : null,
        dom.paragraphs(sayAll("welcome.what")),
        element("h2", {}, say("welcome.drivers")),
        element("ul", {}, state.kit.drivers.map((driver) => element("li", {}, driverLine(driver)))),
        element("h2", {}, say("welcome.how")),
        dom.list(sayAll("welcome.rules")),
        continued ? null : element("p", {}, say("welcome.time", { n: state.kit.drivers.length })),
      ];
    },
    missing: () => (state.now.opened.alone ? null : say("welcome.two_tabs")),
  });

  function driverLine({ label, class: kind, nominal_ohm }) {
    const words = { label, kind: say(`class.${kind}`) };
    return nominal_ohm === null ? say("welcome.driver", words) : say("welcome.driver_rated", { ...words, ohm: nominal_ohm });
  }

  async function startAfresh(context) {
    if (!confirm(say("welcome.sure"))) return;
    const { opened } = state.now;
    await store.clear();
    state.forget();
    state.now.opened = opened;
    state.log("began afresh");
    await state.save();
    context.jump("welcome", null);
  }

  questions.add("sockets", {
    render(context) {
      const advice = element("div", { "aria-live": "polite" });
      const setup = state.setup;
      const showAdvice = () => dom.replace(advice, setup.sockets === null ? null : adviceFor(setup.sockets));
      const choose = async (sockets) => {
        setup.sockets = sockets;
        setup.route = routeFor(sockets);
        // What comes next depends on it; so does the input that was checked.
        for (const id of ["sockets", "needs", "cautions", "wiring", "browser"]) state.now.done[id] = false;
        setup.cautions = false;
        setup.browser = null;
        await audio.close();
        await state.save();
        showAdvice();
        context.changed();
      };
      showAdvice();
      return [
        element("p", {}, say("sockets.look")),
        widgets.choices({
          legend: say("sockets.legend"), name: "sockets", value: setup.sockets, onchange: choose,
          options: Object.keys(drawSockets).map((value) => ({ value, label: say(`sockets.${value}`), hint: say(`sockets.${value}_hint`), drawing: drawSockets[value]() })),
        }),
        advice,
      ];
    },
    missing() {
      if (state.setup.sockets === null) return say("sockets.choose");
      if (state.setup.route !== null) return bench.settle();
      if (!runsCore()) return say("browser.other_instead");
      return say(ROUTES[state.setup.sockets] === "one-input" ? "sockets.other_browser" : "sockets.buy_first");
    },
  });

  function adviceFor(sockets) {
    const wantsMore = sockets === "unsure" || ROUTES[sockets] === "one-input";
    const forced = state.setup.route === "manual" && ROUTES[sockets] === "live";
    return [
      widgets.panel(sockets === "unsure" ? "usable" : "good", dom.paragraphs(sayAll(`sockets.${sockets}_way`)), forced ? element("p", {}, say("browser.manual_instead")) : null),
      wantsMore ? widgets.panel(null, element("h2", {}, say("buy.title")), dom.list(sayAll("buy.things")), element("p", {}, say("buy.not"))) : null,
    ];
  }

  questions.add("needs", {
    render() {
      const route = state.setup.route;
      const sockets = state.setup.sockets;
      const row = (thing, instead) => element("tr", {}, element("th", { scope: "row" }, thing), element("td", {}, instead));
      const keys = [
        `needs.cable_${sockets}`, "needs.resistor", "needs.known", "needs.clips", "needs.ruler", "needs.clamp",
        ...(kit.some(state.kit, kit.wantsMass) ? ["needs.mass"] : []), ...(kit.some(state.kit, kit.wantsBox) ? ["needs.box"] : []), "needs.meter",
      ];
      return [
        element("p", {}, say(`needs.first_${route}`)),
        element("div", { class: "scroll" }, element("table", {},
          element("caption", {}, say("needs.caption")),
          element("thead", {}, element("tr", {}, element("th", { scope: "col" }, say("needs.thing")), element("th", { scope: "col" }, say("needs.instead")))),
          element("tbody", {}, keys.map((key) => {
            const [thing, instead] = sayAll(key, { ohm: senseOhm() });
            return row(thing, instead);
          })))),
        element("p", {}, say("needs.nothing_else")),
      ];
    },
  });

  const senseOhm = () => String(state.setup.sense?.value ?? state.kit.sense.value);

  questions.add("cautions", {
    onKey: "cautions.on",
    render() {
      const setup = state.setup;
      const texts = [
        ...sayAll("cautions.first"),
        ...({ live: sayAll("cautions.live"), manual: sayAll("cautions.manual") }[setup.route] ?? []),
        ...(kit.tweeters(state.kit) > 0 ? sayAll("cautions.tweeter") : []),
        ...sayAll("cautions.all"),
      ];
      return [
        element("p", {}, element("strong", {}, say("cautions.local"))),
        dom.list(texts),
        widgets.tick({
          label: say("cautions.read"), value: setup.cautions,
          onchange: async (is) => {
            setup.cautions = is;
            state.log(is ? "cautions read" : "cautions not read");
            await state.save();
          },
        }),
      ];
    },
    missing: () => (state.setup.cautions ? null : say("cautions.first_read")),
  });
})();
