"use strict";

// Wiring, the driver on its clamp, the tap and the level: what comes before the first take.
(() => {
  const ohm = () => String(Number(state.setup.sense.value.toPrecision(3)));

  questions.add("wiring", {
    onKey: "wiring.on",
    render() {
      const one = state.setup.route === "one-input";
      const key = one ? "wiring.steps_one" : "wiring.steps";
      return [
        state.kit.drivers.length > 1 ? element("p", {}, say("wiring.which", { label: state.kit.drivers[0].label })) : null,
        element("p", {}, say("wiring.first")),
        widgets.figure(one ? drawWiring.wiring({ ohm: ohm(), one: "source" }) : drawWiring.wiring({ ohm: ohm() })),
        dom.numbered(sayAll(key, { ohm: ohm() })),
        widgets.panel(null, element("h2", {}, say("wiring.plug")), dom.list(sayAll(`wiring.plug_${state.setup.sockets}`))),
        element("p", {}, say("wiring.see")),
      ];
    },
  });

  questions.add("mount", {
    render(context) {
      const { d } = context;
      const driver = state.driver(d);
      const settings = state.kit.drivers[d];
      return [
        widgets.figure(drawDriver.clamped()),
        dom.numbered(sayAll(d === 0 ? "mount.steps" : "mount.steps_next")),
        settings.class === "tweeter" ? widgets.panel("usable", element("p", {}, say("mount.tweeter"))) : null,
        d > 0 ? widgets.tick({
          label: say("mount.touched"), value: false,
          onchange: async (is) => {
            if (is) state.forgetJig(d);
            await state.save();
            context.changed();
          },
        }) : null,
        element("p", {}, say("mount.see")),
      ];
    },
    async missing({ d }) {
      const before = d - 1;
      const driver = state.driver(d);
      if (before < 0 || driver.inherited || driver.remade) return null;
      const [mine, theirs] = [await measure.soundFor(d, "same-node"), await measure.soundFor(before, "same-node")];
      if (theirs.start_hz <= mine.start_hz) await state.inheritJig(before, d);
      return null;
    },
  });

  const LISTEN_S = 4;
  questions.add("tap", {
    render(context) {
      const { d } = context;
      const place = element("div", {});
      const said = element("div", { role: "status" });
      const heard = state.driver(d).heard;
      const show = (answer) => dom.replace(said, answer ? widgets.panel(answer === "driver" || answer === "source" ? "good" : "redo", element("p", {}, say(`tap.${answer}`))) : null);
      const listen = async () => {
        dom.replace(said);
        const recorded = await sounding.run(place, say("tap.now"), (tools) => measure.listen(LISTEN_S, tools));
        if (recorded === null) return;
        const answer = await core.call("tapped", { sample_rate_hz: measure.rate() }, recorded.channels);
        if (answer.heard === "source") {
          state.setup.swapped = !state.setup.swapped;
          state.forgetJig(d);
        }
        state.driver(d).heard = answer.heard;
        state.log(`tap: ${answer.heard}, ${answer.rise_db.map((rise) => Number(rise).toFixed(1)).join(" / ")} dB`);
        await state.save();
        show(answer.heard);
        context.changed();
      };
      show(heard);
      return [
        widgets.figure(drawDriver.tap()),
        element("p", {}, say("tap.why")),
        element("p", {}, say("tap.see")),
        element("div", { class: "row" }, widgets.button(say("tap.listen"), listen, "main"), element("span", {}, say("tap.silent"))),
        place, said,
      ];
    },
    ready: ({ d }) => ["driver", "source"].includes(state.driver(d).heard),
    missing: ({ d }) => (["driver", "source"].includes(state.driver(d).heard) ? null : say("tap.needed")),
  });

  questions.add("level", {
    render(context) {
      const { d } = context;
      const place = element("div", {});
      const said = element("div", { role: "status" });
      const driver = state.driver(d);
      const show = () => dom.replace(said, driver.levelSaid ? widgets.panel("good", element("p", {}, driver.levelSaid.sentence), dom.list(driver.levelSaid.lines)) : null);
      const seek = async () => {
        driver.levelSaid = null;
        show();
        const lines = [];
        const one = state.setup.route === "one-input";
        const plan = { condition: "free-air", level: "driver" };
        const found = await sounding.run(place, say("level.seeking"), async (tools) => {
          const onburst = (line) => {
            lines.push(line);
            tools.note(line);
          };
          const result = await (one ? oneInput : measure).seekLevel(d, plan, { ...tools, onburst });
          if (result.damaged) throw new Error(result.damaged.map((finding) => `${finding.message} ${finding.advice}`).join(" "));
          if (result.exchanged) throw new Error(say("take.exchanged"));
          return result;
        });
        if (found === null) return state.save();
        driver.levels.driver = found.use.playback_dbfs;
        driver.levelSaid = { sentence: found.use.sentence, lines };
        state.log(`level: ${found.use.playback_dbfs.toFixed(1)} dBFS`);
        await state.save();
        show();
        return context.changed();
      };
      show();
      return [
        dom.paragraphs(sayAll("level.what")),
        element("p", {}, say("level.hear")),
        element("div", { class: "row" }, widgets.button(say(driver.levelSaid ? "level.again" : "level.find"), seek, "main")),
        place, said,
      ];
    },
    ready: ({ d }) => state.driver(d).levels.driver !== undefined,
    missing: ({ d }) => (state.driver(d).levels.driver === undefined ? say("level.needed") : null),
  });
})();
