"use strict";

// A known mass on the cone, or a closed box of known volume: everything mechanical follows from either.
(() => {
  const one = () => state.setup.route === "one-input";

  // What the last look at this driver's takes knew, and the area of its cone.
  function known(d) {
    const driver = state.driver(d);
    const looks = ["free-1", "free-2", "mass-1", "box-1"].map((slot) => driver.shown[slot]).filter(Boolean);
    const last = (name) => looks.map((look) => look[name]).filter((value) => value !== null && value !== undefined).pop() ?? null;
    const sd_m2 = driver.cone === null ? null : (Math.PI / 4) * driver.cone.value ** 2;
    return { fs_hz: last("fs_hz"), mms_kg: last("mms_kg"), sd_m2 };
  }

  function massQuestion(slot) {
    return {
      skipKey: `${slot}.skip`,
      render(context) {
        const { d } = context;
        const typed = (state.driver(d).typed[slot] ??= { by: "coins" });
        const said = element("div", { role: "status" });
        const place = element("div", {});
        let source = null;
        const show = () => {
          dom.replace(said);
          if (typed.by === "coins") {
            source = coinCounter.create({ typed, classOf: state.kit.drivers[d].class, known: known(d) });
          } else {
            const field = quantityField.create({ key: "weighed", typed, label: say("mass.weighed"), hint: say("mass.weighed_hint"), kind: "mass", units: [["g", "g"], ["oz", "oz"]] });
            source = { node: field.node, read: async () => ({ mass: await field.read(), shown: null }) };
          }
          dom.replace(place, source.node);
        };
        const readLoad = async () => {
          try {
            const { mass, shown } = await source.read();
            if (mass === null) throw new Error(say("mass.needed"));
            dom.replace(said, shown ? element("p", { class: "right" }, say("mass.comes_to", { shown })) : null);
            return { mass };
          } catch (error) {
            dom.replace(said, element("p", { class: "wrong" }, error.message));
            return null;
          }
        };
        show();
        return [
          widgets.figure(drawDriver.mass()),
          element("p", {}, say(`${slot}.why`)),
          widgets.choices({
            legend: say("mass.how"), name: "mass", value: typed.by,
            options: ["coins", "scale"].map((value) => ({ value, label: say(`mass.by_${value}`), hint: say(`mass.by_${value}_hint`) })),
            onchange: (value) => {
              typed.by = value;
              show();
            },
          }),
          place,
          dom.numbered(sayAll(one() ? "mass.steps_one" : "mass.steps")),
          said,
          panels.add(slot, takePanel.create(context, { slot, condition: "added-mass", level: "driver" }, { readLoad, expected: (shown) => expectation(typed, shown) })),
        ];
      },
      ready: isGood(slot),
      missing: missingTake(slot),
    };
  }

  // Whether the resonance went where the plan said: the prediction is itself a check. There is none for what was counted otherwise.
  function expectation(typed, shown) {
    const loaded = (shown.plot ?? []).filter((curve) => curve.name.startsWith("added-mass"));
    const plan = typed.by === "coins" ? coinCounter.planned(typed) : null;
    if (!plan?.expect_hz || loaded.length === 0) return null;
    const [low, high] = plan.expect_hz;
    const f = plot.peakHz(loaded[loaded.length - 1]);
    const inside = f >= low && f <= high;
    const values = { low: Math.round(low), high: Math.round(high), f: f.toPrecision(3) };
    return { inside, text: say(inside ? "mass.as_expected" : "mass.not_expected", values) };
  }

  const panels = takePanel.many();
  const isGood = (slot) => ({ d }) => state.driver(d).done[slot];

  function missingTake(slot) {
    return async ({ d }) => {
      const driver = state.driver(d);
      if (!driver.slots[slot]) return say("take.needed_or_skip");
      if (!(await panels.settle(slot))) return say("quantity.mend");
      return driver.done[slot] ? null : say("take.not_good");
    };
  }

  questions.add("mass-1", massQuestion("mass-1"));
  questions.add("mass-2", massQuestion("mass-2"));

  // The kit's own printed box fills in the field.
  function boxStart() {
    const box = state.kit.test_box;
    if (!box) return null;
    const litres = (m3) => String(Number((1000 * m3).toPrecision(5)));
    return { value: litres(box.volume.value), unit: "L", spread: box.volume.half_width ? litres(box.volume.half_width) : "" };
  }

  questions.add("box-1", {
    skipKey: "box-1.skip",
    render(context) {
      const { d } = context;
      const field = quantityField.create({
        key: "volume", typed: state.driver(d).typed, label: say("box-1.volume"), hint: say(state.kit.test_box ? "box-1.volume_kit" : "box-1.volume_hint"),
        kind: "volume", units: [["L", "L"], ["ml", "ml"], ["cm3", "cm³"], ["in3", "in³"]], start: boxStart(),
      });
      const readLoad = async () => {
        const volume = await field.read();
        if (volume === null) {
          field.wrong(say("box-1.needed"));
          field.focus();
          return null;
        }
        return { volume };
      };
      return [
        widgets.figure(drawDriver.testBox()),
        state.kit.test_box ? element("p", {}, say("box-1.kit")) : null,
        dom.numbered(sayAll("box-1.steps")),
        field.node,
        panels.add("box-1", takePanel.create(context, { slot: "box-1", condition: "test-box", level: "driver" }, { readLoad })),
      ];
    },
    ready: isGood("box-1"),
    missing: missingTake("box-1"),
  });
})();
