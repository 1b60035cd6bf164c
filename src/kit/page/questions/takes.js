"use strict";

// The jig's own takes and the driver's: each a drawing, what to do, and the take.
(() => {
  const ohm = () => String(Number(state.setup.sense.value.toPrecision(3)));
  const one = () => state.setup.route === "one-input";
  // Known resistors closer to the sense resistor than this cannot tell the wiring.
  const APART = 2;

  const picture = (options) => widgets.figure(drawWiring.wiring({ ohm: ohm(), ...options }));
  // With one input: where the clip begins, where it goes, and where it comes back to.
  const PLACES = { source: "one.begin", driver: "one.over", back: "one.home" };
  const pictures = (options) => (one()
    ? element("div", { class: "pair" }, Object.entries(PLACES).map(([where, key]) => widgets.figure(drawWiring.wiring({ ohm: ohm(), ...options, one: where }), say(key))))
    : picture(options));
  const isGood = (slot) => ({ d }) => state.driver(d).done[slot];
  const panels = takePanel.many();
  const needsTake = (slot) => async ({ d }) => {
    const driver = state.driver(d);
    if (!driver.slots[slot]) return say("take.needed");
    if (!(await panels.settle(slot))) return say("quantity.mend");
    return driver.done[slot] ? null : say("take.not_good");
  };

  questions.add("same-node", {
    render: (context) => [
      picture({ clipAt: "source" }),
      dom.numbered(sayAll("same-node.steps")),
      element("p", {}, say("same-node.why")),
      panels.add("same-node", takePanel.create(context, { slot: "same-node", condition: "same-node", level: "jig" })),
    ],
    ready: isGood("same-node"),
    missing: needsTake("same-node"),
  });

  questions.add("check", {
    render(context) {
      const { d } = context;
      const driver = state.driver(d);
      const field = quantityField.create({
        key: "check", typed: driver.typed, label: say("check.label"), hint: say("check.hint", { low: Number((state.setup.sense.value / APART).toPrecision(2)), high: Number((state.setup.sense.value * APART).toPrecision(2)) }),
        kind: "resistance", units: [["ohm", "Ω"], ["kohm", "kΩ"]], spreadUnit: "%", start: { value: "", unit: "ohm", spread: "1" },
      });
      const readLoad = async () => {
        const stated = await field.read();
        if (stated === null) {
          field.wrong(say("check.needed"));
          field.focus();
          return null;
        }
        const ratio = stated.value / state.setup.sense.value;
        if (ratio < APART && ratio > 1 / APART) {
          field.wrong(say("check.too_close", { ohm: ohm() }));
          field.focus();
          return null;
        }
        driver.loads.check = stated;
        return { resistance: stated };
      };
      return [
        pictures({ part: "resistor" }),
        dom.numbered(sayAll(one() ? "check.steps_one" : "check.steps")),
        field.node,
        panels.add("check", takePanel.create(context, { slot: "check", condition: "check-resistor", level: "jig" }, { readLoad })),
      ];
    },
    ready: isGood("check"),
    async missing(context) {
      const driver = state.driver(context.d);
      const missing = await needsTake("check")(context);
      return driver.shown.check?.passes === false && !driver.done.check ? say("check.failed") : missing;
    },
  });

  questions.add("leads", {
    skipKey: "leads.skip",
    render: (context) => [
      element("p", {}, say("leads.why")),
      element("h2", {}, say("leads.shorted")),
      pictures({ part: "short" }),
      dom.numbered(sayAll("leads.shorted_steps")),
      panels.add("shorted", takePanel.create(context, { slot: "shorted", condition: "shorted-leads", level: "jig" })),
      element("h2", {}, say("leads.open")),
      pictures({ part: "open" }),
      dom.numbered(sayAll("leads.open_steps")),
      panels.add("open", takePanel.create(context, { slot: "open", condition: "open-leads", level: "jig" })),
    ],
    async missing({ d }) {
      const driver = state.driver(d);
      for (const slot of ["shorted", "open"]) await panels.settle(slot);
      return ["shorted", "open"].some((slot) => driver.slots[slot] && !driver.done[slot]) ? say("take.not_good") : null;
    },
  });

  // Sounding twice is enough to warm the coil and loosen the suspension a little; then it rests, so that the coil is cold again, s.
  const N_WARM = 2;
  const REST_S = 20;
  questions.add("warm-up", {
    render(context) {
      const { d } = context;
      const place = element("div", {});
      const said = element("p", { role: "status" }, state.driver(d).done["warm-up"] ? say("warm-up.done") : "");
      const warm = async () => {
        const done = await sounding.run(place, say("warm-up.playing"), async (tools) => {
          const plan = { condition: "free-air", level: "driver" };
          await measure.ensureInput();
          const level_dbfs = await liveTake.level(d, plan, tools);
          const sound = await measure.soundFor(d, "free-air");
          const { blobs } = await core.call("playback", { sound, sample_rate_hz: measure.rate(), kind: "take", level_dbfs });
          for (let i = 0; i < N_WARM; i += 1) {
            tools.now(say("warm-up.playing"));
            await measure.play(measure.floats(blobs[0]), tools);
          }
          tools.now(say("warm-up.resting"));
          return measure.listen(REST_S, tools);
        });
        if (done === null) return;
        state.driver(d).done["warm-up"] = true;
        state.log(`warmed up (${state.driver(d).label})`);
        await state.save();
        said.textContent = say("warm-up.done");
        context.changed();
      };
      return [
        picture({}),
        dom.numbered(sayAll("warm-up.steps")),
        element("div", { class: "row" }, widgets.button(say("warm-up.start"), warm, "main"), element("span", {}, say("warm-up.length"))),
        place, said,
      ];
    },
    ready: isGood("warm-up"),
    missing: ({ d }) => (state.driver(d).done["warm-up"] ? null : say("warm-up.needed")),
  });

  questions.add("free-1", {
    render: (context) => [
      one() ? pictures({}) : widgets.figure(drawDriver.clamped()),
      dom.numbered(sayAll({ "one-input": "free-1.steps_one", manual: "free-1.steps_manual" }[state.setup.route] ?? "free-1.steps")),
      element("p", {}, say(one() ? "take.hear_one" : "take.hear")),
      panels.add("free-1", takePanel.create(context, { slot: "free-1", condition: "free-air", level: "driver" })),
    ],
    ready: isGood("free-1"),
    missing: needsTake("free-1"),
  });

  questions.add("free-2", {
    render: (context) => [
      widgets.figure(drawDriver.remount()),
      dom.numbered(sayAll("free-2.steps")),
      panels.add("free-2", takePanel.create(context, { slot: "free-2", condition: "free-air", level: "driver", remounted: true })),
    ],
    ready: isGood("free-2"),
    missing: needsTake("free-2"),
  });
})();
