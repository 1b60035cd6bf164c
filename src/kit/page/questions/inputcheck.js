"use strict";

// Whether the browser hands over what the inputs hear: nothing processed, two different channels, nothing lost, levels kept.
(() => {
  // Pairs of levels, 10 dB apart, from below: the first pair that is clear of the noise serves. What turns the level up and down does
  // so at all of them. The loudest stays below every class's ceiling.
  const PAIRS_DBFS = [[-50, -40], [-40, -30], [-34, -24]];
  const NOT_HEARD = ["playback-absent", "no-signal", "too-quiet", "noisy"];

  function settingChecks(facts) {
    const { settings } = facts;
    const off = ["echoCancellation", "noiseSuppression", "autoGainControl", "voiceIsolation"].map((name) => ({ name, on: settings[name] === true }));
    const on = off.filter((one) => one.on);
    const sameRate = settings.sampleRate === undefined || settings.sampleRate === facts.sample_rate_hz;
    const enough = state.setup.route === "one-input" || settings.channelCount === undefined || settings.channelCount >= 2;
    return [
      { ok: on.length === 0, message: say("raw.processing"), advice: say("raw.processing_advice", { what: on.map((one) => one.name).join(", ") }) },
      { ok: enough, message: say("raw.channels"), advice: say("raw.channels_advice") },
      { ok: sameRate, message: say("raw.rate", { rate: Math.round(facts.sample_rate_hz) }), advice: say("raw.rate_advice", { rate: settings.sampleRate ?? 0 }) },
    ];
  }

  // Silence on both is another fault, which is told elsewhere.
  function identical([first, second]) {
    return first.some((value) => value !== 0) && first.every((value, i) => value === second[i]);
  }

  const power = (channel) => channel.reduce((sum, value) => sum + value * value, 0);

  // One channel only: the core is told of no driver's side. Of two the louder one is at the source node, since nobody has tapped the cone
  // yet and a resistor and a driver only divide.
  function forCore(channels) {
    if (state.setup.route === "one-input") return [channels[0], new Float32Array(channels[0].length)];
    return power(channels[1]) > power(channels[0]) ? [channels[1], channels[0]] : channels;
  }

  // One input heard twice is told by a line of its own.
  const SAME_INPUT = "identical-channels";
  const seriousBut = (code, findings) => findings.filter((finding) => finding.severity === "redo" && finding.code !== code);

  // What both bursts show is said once.
  function told(findings) {
    const texts = findings.filter((finding, i) => findings.findIndex((other) => other.code === finding.code) === i);
    return texts.map((finding) => `${finding.message} ${finding.advice}`).join(" ");
  }

  async function listenAndPlay({ signal, onprogress, now }, checks, show) {
    const facts = audio.facts();
    checks.push(...settingChecks(facts));
    show();
    now(say("raw.quiet"));
    const silence = await measure.listen(1.5, { signal, onprogress });
    const sample_rate_hz = measure.rate();
    const quiet = await core.call("quiet", { sample_rate_hz }, forCore(silence.channels));
    const loud = seriousBut(SAME_INPUT, quiet.findings);
    checks.push({ ok: loud.length === 0, message: say("raw.silent"), advice: told(loud) });
    show();
    const sound = await measure.soundForAny();
    for (const [i, levels] of PAIRS_DBFS.entries()) {
      const seen = await wholePair(sound, levels, { signal, onprogress, now });
      if ((unheard(seen.answer) || !seen.answer.steady) && i < PAIRS_DBFS.length - 1) continue;
      checks.push(...burstChecks(seen.answer, seen.high, seen.jumps));
      return true;
    }
    return null;
  }

  const unheard = (answer) => answer.findings.some((finding) => NOT_HEARD.includes(finding.code));

  // Two bursts. A piece of sound that a busy computer lost once is no property of the input: these are made again a few times.
  async function wholePair(sound, [low_dbfs, high_dbfs], { signal, onprogress, now }) {
    for (let repeat = 0; ; repeat += 1) {
      now(say("raw.bursts", { level: high_dbfs }));
      const low = await measure.burst(sound, low_dbfs, { signal, onprogress });
      const high = await measure.burst(sound, high_dbfs, { signal, onprogress });
      const channels = [...forCore(low.channels), ...forCore(high.channels)];
      const answer = await core.call("raw", { sound, sample_rate_hz: measure.rate(), low_dbfs, high_dbfs }, channels);
      const jumps = low.jumps + high.jumps;
      const lost = jumps > 0 || measure.lostByChance(answer.findings);
      if (!lost || repeat >= measure.N_REPEATS) return { answer, high, jumps };
      state.log("input check: sound was lost, made again");
    }
  }

  function burstChecks(answer, high, jumps) {
    const checks = [];
    if (state.setup.route !== "one-input") checks.push({ ok: !identical(high.channels), message: say("raw.different"), advice: say("raw.different_advice") });
    const others = seriousBut(SAME_INPUT, answer.findings);
    checks.push({ ok: others.length === 0, message: say("raw.arrives"), advice: told(others) });
    const shown = answer.difference_db.map((value) => (value === null ? "–" : value.toFixed(2))).join(" / ");
    checks.push({ ok: answer.steady, message: say("raw.linear", { shown }), advice: say(unheard(answer) ? "raw.linear_unheard" : "raw.linear_advice") });
    checks.push({ ok: jumps === 0, message: say("raw.gaps"), advice: say("raw.gaps_advice") });
    return checks;
  }

  questions.add("browser", {
    render(context) {
      const setup = state.setup;
      setup.browser ??= { input_id: null, output_id: null, checks: [], passed: false, facts: null };
      const browser = setup.browser;
      const place = element("div", {});
      const chosen = element("div", {});
      const list = element("div", {});
      const checks = browser.checks;
      const show = () => dom.replace(list, widgets.checks(checks), browser.passed ? widgets.panel("good", element("p", { role: "status" }, say("raw.passed"))) : null);

      const choose = (label, options, key) => {
        const id = dom.freshId(key);
        const select = element("select", { id }, element("option", { value: "" }, say("raw.usual")), options.map((option) => element("option", { value: option.id }, option.label || say("raw.unnamed"))));
        select.value = browser[key] ?? "";
        select.addEventListener("change", async () => {
          browser[key] = select.value === "" ? null : select.value;
          browser.passed = false;
          state.now.done.browser = false;
          await audio.close();
          await state.save();
          context.changed();
        });
        return element("div", { class: "field" }, element("label", { for: id }, label), select);
      };
      const showDevices = async () => {
        const { inputs, outputs } = await audio.devices();
        dom.replace(chosen,
          inputs.length > 0 ? choose(say("raw.which_input"), inputs, "input_id") : null,
          outputs.length > 0 ? choose(say("raw.which_output"), outputs, "output_id") : null);
      };

      const check = async () => {
        checks.length = 0;
        browser.passed = false;
        show();
        const done = await sounding.run(place, say("raw.asking"), async (tools) => {
          await audio.close();
          await forgetGoneDevices(browser);
          await measure.openInput();
          browser.facts = audio.facts();
          await showDevices();
          return listenAndPlay(tools, checks, show);
        });
        browser.passed = done !== null && checks.every((one) => one.ok === true);
        state.log(`browser check: ${checks.map((one) => `${one.ok ? "good" : "bad"}: ${one.message}`).join("; ")}`);
        await state.save();
        show();
        context.changed();
      };

      show();
      if (audio.isOpen()) showDevices();
      return [
        element("p", {}, say("raw.why")),
        element("p", {}, say(navigator.userAgent.includes("Firefox") ? "raw.allow_firefox" : "raw.allow")),
        chosen,
        element("div", { class: "row" }, widgets.button(say("raw.check"), check, "main"), element("span", {}, say("raw.sound"))),
        place, list,
        element("details", {}, element("summary", {}, say("raw.stuck")), dom.list(sayAll("raw.stuck_advice")), setup.route === "live" ? widgets.button(say("raw.manual"), () => byHand(context)) : null),
      ];
    },
    ready: () => state.setup.browser?.passed,
    missing: () => (state.setup.browser?.passed ? bench.settle() : say("raw.not_passed")),
  });

  // Names of devices may change when the page is opened again; an input that is not there cannot be asked for.
  async function forgetGoneDevices(browser) {
    const { inputs, outputs } = await audio.devices();
    const has = (list, id) => list.some((device) => device.id === id);
    if (!has(inputs, browser.input_id)) browser.input_id = null;
    if (!has(outputs, browser.output_id)) browser.output_id = null;
  }

  async function byHand(context) {
    const { route } = state.setup;
    state.setup.route = "manual";
    const refused = bench.settle();
    if (refused) {
      state.setup.route = route;
      return frame.announce(refused);
    }
    state.log("recording by hand from here on");
    await audio.close();
    for (const id of ["cautions", "wiring"]) state.now.done[id] = false;
    state.setup.cautions = false;
    return context.jump("needs", null);
  }
})();
