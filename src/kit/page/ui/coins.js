"use strict";

// A mass built from coins: which ones may be used, how many to stick on, and what they come to with the putty.
const coinCounter = (() => {
  const grams = (mass_kg) => String(Number((1000 * mass_kg).toPrecision(4)));

  // The plan's putty, or none, as the field shows it.
  function puttyAs(putty) {
    return putty === null ? { value: "", unit: "g", spread: "" } : { value: grams(putty.value), unit: "g", spread: grams(putty.half_width) };
  }

  const asKey = (coins, putty) => JSON.stringify([Object.entries(coins).sort(), putty?.value ?? "", putty?.unit ?? "", putty?.spread ?? ""]);

  // The plan, as long as coins and putty are what it said.
  function planned(typed) {
    const { plan } = typed;
    return plan && plan.key === asKey(typed.coins ?? {}, typed.putty) ? plan : null;
  }

  // typed: where the choice is kept. What is known of the driver (fs_hz, mms_kg, sd_m2; null where it is not) makes the plan better.
  function create({ typed, classOf, known }) {
    const place = element("div", {}, element("p", { role: "status" }, say("coins.reading")));
    const counts = (typed.coins ??= {});
    let putty = null;
    let table = null;

    async function fill() {
      table = (await core.call("coins")).currencies;
      typed.currency ??= table[0].id;
      show();
    }

    async function show() {
      const currency = table.find((one) => one.id === typed.currency) ?? table[0];
      const id = dom.freshId("currency");
      const select = element("select", { id }, table.map((one) => element("option", { value: one.id }, one.name)));
      select.value = currency.id;
      select.addEventListener("change", () => {
        typed.currency = select.value;
        for (const key of Object.keys(counts)) delete counts[key];
        show();
      });
      putty = quantityField.create({
        key: "putty", typed, label: say("coins.putty"), hint: say("coins.putty_hint"), kind: "mass", units: [["g", "g"], ["oz", "oz"]],
      });
      const advice = element("div", { role: "status" });
      dom.replace(place,
        element("div", { class: "field" }, element("label", { for: id }, say("coins.currency")), select),
        advice,
        rows(currency),
        refused(currency),
        sources(currency),
        element("p", {}, element("strong", {}, say("coins.magnet"))),
        putty.node);
      await advise(currency, advice);
    }

    async function advise(currency, advice) {
      try {
        const plan = await core.call("coin_plan", { currency: currency.id, class: classOf, fs_hz: known.fs_hz, mms_kg: known.mms_kg, sd_m2: known.sd_m2 });
        const take = () => {
          for (const key of Object.keys(counts)) delete counts[key];
          for (const coin of plan.coins) counts[coin.id] = coin.count;
          typed.putty = puttyAs(plan.putty);
          typed.plan = { expect_hz: plan.expect_hz ?? null, key: asKey(counts, typed.putty) };
          show();
        };
        const same = plan.coins.every((coin) => counts[coin.id] === coin.count);
        dom.replace(advice, widgets.panel("good", element("p", { class: "figure-of" }, plan.sentence), same ? null : widgets.button(say("coins.use_plan"), take)));
      } catch (error) {
        dom.replace(advice, widgets.panel("usable", element("p", {}, error.message)));
      }
    }

    function rows(currency) {
      return element("table", { class: "coins" },
        element("caption", {}, say("coins.count")),
        element("tbody", {}, currency.coins.filter((coin) => coin.usable).map((coin) => {
          const id = dom.freshId("coin");
          const input = element("input", { type: "number", min: "0", max: "40", id });
          input.value = counts[coin.id] ?? "";
          input.addEventListener("change", () => {
            const n = Math.max(0, Math.round(input.valueAsNumber || 0));
            if (n > 0) counts[coin.id] = n;
            else delete counts[coin.id];
          });
          return element("tr", {}, element("td", {}, element("label", { for: id }, say("coins.one", { name: coin.name, mass: grams(coin.mass_kg) }))), element("td", {}, input));
        })));
    }

    function refused(currency) {
      const bad = currency.coins.filter((coin) => !coin.usable);
      return bad.length === 0 ? null : [element("p", {}, say("coins.refused")), dom.list(bad.map((coin) => say("coins.refused_one", { name: coin.name, reason: coin.reason })))];
    }

    function sources(currency) {
      const all = [...new Set(currency.coins.filter((coin) => coin.usable).map((coin) => coin.source))];
      return element("details", {}, element("summary", {}, say("coins.sources")), dom.list(all));
    }

    // The mass as session.json has it, or null where nothing was counted.
    async function read() {
      const coins = Object.entries(counts).map(([id, count]) => ({ id, count }));
      if (coins.length === 0) throw new Error(say("coins.needed"));
      const { mass, shown } = await core.call("coin_mass", { coins, putty: await putty.read() });
      return { mass, shown };
    }

    fill().catch((error) => dom.replace(place, widgets.problem(error)));
    return { node: place, read };
  }

  return { create, planned };
})();
