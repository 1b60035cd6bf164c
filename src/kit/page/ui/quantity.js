"use strict";

// A field for a quantity: a number with a unit to choose, or the unit typed behind it, and how well it is known. The core reads it.
const quantityField = (() => {
  const SETTLE_MS = 300;
  const HAS_UNIT = /[^\d\s.,+\-−±]/;

  // What the core reads: "78mm+-0.5mm".
  function compose(value, unit, spread, spreadUnit) {
    const clean = value.trim().replace(/−/g, "-");
    if (clean === "") return "";
    const whole = HAS_UNIT.test(clean) ? clean : `${clean}${unit}`;
    const doubt = spread.trim();
    if (doubt === "" || /±|\+-|\+\/-/.test(whole)) return whole;
    return `${whole}+-${HAS_UNIT.test(doubt) ? doubt : `${doubt}${spreadUnit ?? unit}`}`;
  }

  // typed: where the text is kept, so that it stands there again; units: [[code, shown]]; spreadUnit: fixed unit of the doubt.
  function create({ key, typed, label, hint = null, kind, units, spreadUnit = null, withSpread = true, start = null }) {
    const kept = typed[key] ?? { value: start?.value ?? "", unit: start?.unit ?? units[0][0], spread: start?.spread ?? "" };
    const ids = { value: dom.freshId(key), hint: dom.freshId(key), shown: dom.freshId(key), unit: dom.freshId(key), spread: dom.freshId(key) };
    const value = element("input", { type: "text", inputmode: "decimal", class: "value", id: ids.value, autocomplete: "off", "aria-describedby": hint ? `${ids.hint} ${ids.shown}` : ids.shown });
    value.value = kept.value;
    const unit = element("select", { id: ids.unit, "aria-label": say("quantity.unit", { label }) }, units.map(([code, shown]) => element("option", { value: code }, shown)));
    unit.value = kept.unit;
    const spread = element("input", { type: "text", inputmode: "decimal", class: "spread", id: ids.spread, autocomplete: "off", "aria-label": say("quantity.spread_of", { label }) });
    spread.value = kept.spread;
    const shown = element("p", { class: "shown", id: ids.shown, role: "status" });

    function say_wrong(text) {
      value.setAttribute("aria-invalid", "true");
      shown.className = "shown wrong";
      shown.textContent = text;
    }

    // Resolves to the stated value, null where nothing was typed; throws what the core says.
    let waiting = null;
    async function read() {
      clearTimeout(waiting);
      typed[key] = { value: value.value, unit: unit.value, spread: spread.value };
      const text = compose(value.value, unit.value, spread.value, spreadUnit);
      value.removeAttribute("aria-invalid");
      shown.className = "shown";
      shown.textContent = "";
      if (text === "") return null;
      try {
        const read = await core.call("quantity", { text, kind });
        shown.className = "shown right";
        shown.textContent = say("quantity.that_is", { shown: read.shown });
        return read.stated;
      } catch (error) {
        say_wrong(error.message);
        throw error;
      }
    }

    // A field is left by pressing a button below it as well: what is said here must not move that button from under the finger.
    const check = () => {
      clearTimeout(waiting);
      waiting = setTimeout(() => read().catch(() => {}), SETTLE_MS);
    };
    for (const field of [value, unit, spread]) field.addEventListener("change", check);

    const node = element("div", { class: "field" },
      element("label", { for: ids.value }, label),
      hint ? element("p", { class: "hint", id: ids.hint }, hint) : null,
      element("div", { class: "inputs" },
        value, unit,
        withSpread ? element("span", { class: "together" },
          element("label", { for: ids.spread, "aria-hidden": "true" }, say("quantity.spread")), spread, spreadUnit) : null),
      shown);
    return { node, read, wrong: say_wrong, focus: () => value.focus() };
  }

  return { create, compose };
})();
