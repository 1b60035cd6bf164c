"use strict";

// What is read off, measured with a ruler, and typed.
(() => {
  const OHM = [["ohm", "Ω"], ["kohm", "kΩ"]];
  const LENGTH = [["mm", "mm"], ["cm", "cm"], ["in", "in"]];

  // A kit that names its resistor fills in the field.
  function senseStart() {
    const sense = state.kit.sense;
    const spread = sense.half_width ? String(Number(((100 * sense.half_width) / sense.value).toPrecision(3))) : "";
    return { value: String(sense.value), unit: "ohm", spread };
  }

  let senseField = null;
  questions.add("sense", {
    render() {
      senseField = quantityField.create({
        key: "sense", typed: state.setup.typed, label: say("sense.label"), hint: say("sense.hint"),
        kind: "resistance", units: OHM, spreadUnit: "%", start: senseStart(),
      });
      return [dom.paragraphs(sayAll("sense.what")), senseField.node];
    },
    async missing() {
      try {
        const stated = await senseField.read();
        if (stated === null) return say("sense.needed");
        // Whether the known resistor reads right depends on it.
        if (JSON.stringify(stated) !== JSON.stringify(state.setup.sense)) state.now.drivers.forEach((driver) => { driver.done.check = false; });
        state.setup.sense = stated;
        return null;
      } catch {
        return say("quantity.mend");
      }
    },
  });

  const air = {};
  questions.add("air", {
    render() {
      const typed = state.setup.typed;
      typed.air_by ??= "altitude";
      const second = element("div", {});
      const showSecond = () => {
        air.second = typed.air_by === "altitude"
          ? quantityField.create({ key: "altitude", typed, label: say("air.altitude"), hint: say("air.altitude_hint"), kind: "altitude", units: [["m", "m"], ["ft", "ft"]], withSpread: false })
          : quantityField.create({ key: "pressure", typed, label: say("air.pressure"), hint: say("air.pressure_hint"), kind: "pressure", units: [["hPa", "hPa"], ["kPa", "kPa"]], withSpread: false });
        dom.replace(second, air.second.node);
      };
      air.first = quantityField.create({ key: "temperature", typed, label: say("air.temperature"), hint: say("air.temperature_hint"), kind: "temperature", units: [["degC", "°C"], ["degF", "°F"]], withSpread: false });
      showSecond();
      return [
        element("p", {}, say("air.why")),
        air.first.node,
        widgets.choices({
          legend: say("air.which"), name: "air", value: typed.air_by,
          options: ["altitude", "pressure"].map((value) => ({ value, label: say(`air.by_${value}`), hint: say(`air.by_${value}_hint`) })),
          onchange: (value) => {
            typed.air_by = value;
            showSecond();
          },
        }),
        second,
      ];
    },
    async missing() {
      try {
        const temperature = await air.first.read();
        const second = await air.second.read();
        if (temperature === null || second === null) return say("air.needed");
        state.setup.air = { temperature, [state.setup.typed.air_by]: second };
        return null;
      } catch {
        return say("quantity.mend");
      }
    },
  });

  const meter = {};
  questions.add("meter", {
    skipKey: "meter.none",
    render({ d }) {
      const typed = state.driver(d).typed;
      meter.probes = quantityField.create({ key: "probes", typed, label: say("meter.probes"), hint: say("meter.probes_hint"), kind: "resistance", units: OHM, withSpread: false });
      meter.driver = quantityField.create({ key: "meter", typed, label: say("meter.driver"), hint: say("meter.driver_hint"), kind: "resistance", units: OHM });
      return [widgets.figure(drawWiring.meter()), dom.numbered(sayAll("meter.steps")), meter.probes.node, meter.driver.node];
    },
    async missing({ d }) {
      try {
        const both = await meter.driver.read();
        if (both === null) return say("meter.needed");
        const probes = await meter.probes.read();
        const value = both.value - (probes?.value ?? 0);
        if (!(value > 0)) return say("meter.too_small");
        state.driver(d).meter = { ...both, value };
        return null;
      } catch {
        return say("quantity.mend");
      }
    },
  });

  let coneField = null;
  questions.add("cone", {
    render({ d }) {
      coneField = quantityField.create({
        key: "cone", typed: state.driver(d).typed, label: say("cone.label"), hint: say("cone.hint"), kind: "length", units: LENGTH,
      });
      return [widgets.figure(drawDriver.coneDiameter()), dom.numbered(sayAll("cone.steps")), coneField.node];
    },
    async missing({ d }) {
      try {
        const stated = await coneField.read();
        if (stated === null) return say("cone.needed");
        state.driver(d).cone = stated;
        return null;
      } catch {
        return say("quantity.mend");
      }
    },
  });

  const SIZES = ["flange", "cutout", "screw_circle", "depth", "magnet"];
  const mounting = { fields: {}, screws: null };
  questions.add("mounting", {
    render({ d }) {
      const typed = state.driver(d).typed;
      const place = element("figure", {}, drawDriver.mounting(null));
      const show = (which) => dom.replace(place, drawDriver.mounting(which));
      const nodes = SIZES.map((size) => {
        const field = quantityField.create({ key: size, typed, label: say(`mounting.${size}`), hint: say(`mounting.${size}_hint`), kind: "length", units: LENGTH, withSpread: false });
        field.node.addEventListener("focusin", () => show(size));
        mounting.fields[size] = field;
        return field.node;
      });
      const id = dom.freshId("screws");
      mounting.screws = element("input", { type: "number", min: "0", max: "24", id });
      mounting.screws.value = typed.screws ?? "";
      mounting.screws.addEventListener("focus", () => show("screws"));
      return [
        element("p", {}, say("mounting.why")), place, nodes,
        element("div", { class: "field" }, element("label", { for: id }, say("mounting.screws")), mounting.screws),
      ];
    },
    async missing({ d }) {
      try {
        const found = {};
        for (const size of SIZES) {
          const stated = await mounting.fields[size].read();
          if (stated !== null) found[`${size}_m`] = stated.value;
        }
        const driver = state.driver(d);
        driver.typed.screws = mounting.screws.value;
        if (mounting.screws.value !== "") found.n_screws = Math.max(0, Math.round(mounting.screws.valueAsNumber));
        driver.dimensions = found;
        return Object.keys(found).length === 0 ? say("mounting.needed") : null;
      } catch {
        return say("quantity.mend");
      }
    },
  });
})();
