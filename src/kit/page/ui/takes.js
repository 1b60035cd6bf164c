"use strict";

// The part of a question in which a take is made, judged and shown, by whichever way this helper records.
const takePanel = (() => {
  const SEVERE = "redo";

  // What a take was judged with that can be typed anew afterwards.
  const asJudged = (take) => JSON.stringify([state.setup.sense, take.mass, take.volume, take.resistance]);

  // plan: { slot, condition, remounted, load, level: "driver" | "jig" }.
  // context: the question's; `expected(shown)` is what was foretold of the take, { inside, text }, or null.
  function create(context, plan, { expected = null, readLoad = null } = {}) {
    const { d } = context;
    const place = element("div", {});
    const controls = element("div", {});
    const result = element("div", {});
    const manual = state.setup.route === "manual";

    function showResult() {
      const shown = state.driver(d).shown[plan.slot];
      dom.replace(result, shown ? describe(shown) : null);
    }

    function showControls() {
      const again = state.take(d, plan.slot) !== null;
      if (manual) dom.replace(controls, manualTake.controls(d, plan, { again, onfiles: bring }));
      else {
        const length = state.setup.route === "one-input" ? say("take.length", { seconds: oneInput.LENGTH_S }) : say("take.short");
        dom.replace(controls, element("div", { class: "row" },
          widgets.button(again ? say("take.again") : say("take.make"), make, again ? null : "main"),
          element("span", {}, length)));
      }
    }

    // The plan with what was typed about the load, or null where that is not right yet.
    async function planned() {
      if (readLoad === null) return plan;
      try {
        const load = await readLoad();
        return load === null ? null : { ...plan, load };
      } catch {
        return null;
      }
    }

    async function make() {
      const full = await planned();
      if (full === null) return;
      dom.replace(result);
      try {
        const judged = await liveTake.make(place, d, full);
        await judge(full, judged, judged?.blobs);
      } catch (error) {
        dom.replace(result, widgets.problem(error));
      }
    }

    async function bring(files) {
      const full = await planned();
      if (full === null) return;
      dom.replace(result, element("p", { role: "status" }, say("take.judging")));
      try {
        const contents = await Promise.all(files.map(async (file) => new Uint8Array(await file.arrayBuffer())));
        await judge(full, await manualTake.bring(d, full, files.map((file) => file.name), contents), contents);
      } catch (error) {
        dom.replace(result, widgets.problem(error));
      }
    }

    async function judge(full, judged, contents) {
      if (judged === null) {
        await state.save();
        showResult();
        return;
      }
      const driver = state.driver(d);
      if (judged.exchanged && !manual) {
        await exchanged(full);
        return;
      }
      if (judged.damaged) {
        state.log(`${judged.take.name} damaged: ${judged.findings.map((finding) => finding.code).join(", ")} (${driver.label})`);
        await state.save();
        dom.replace(result, describe({ damaged: true, name: judged.take.name, findings: judged.findings }));
        finished();
        return;
      }
      await state.keepTake(d, full.slot, judged.take, contents);
      const shown = { name: judged.take.name, findings: judged.findings, about: [], sentences: [], chat: null, plot: null, problem: null };
      driver.shown[full.slot] = shown;
      await weigh(shown);
      finished();
    }

    // What the take is worth, among all others and with all that was typed.
    async function weigh(shown) {
      const driver = state.driver(d);
      driver.done[plan.slot] = false;
      delete shown.judged;
      await state.save();
      dom.replace(result, element("p", { role: "status" }, say("take.judging")));
      await look(shown);
      if (shown.exchanged) {
        state.takeBack(d, plan.slot);
        await exchanged(plan);
        return;
      }
      const serious = [...shown.findings, ...shown.about].some((finding) => finding.severity === SEVERE);
      driver.done[plan.slot] = !serious && shown.passes !== false;
      shown.expected = expected === null ? null : expected(shown);
      shown.judged = asJudged(state.take(d, plan.slot));
      await state.save();
      showResult();
      showControls();
      context.changed();
    }

    // What was typed after the take was made holds as well, and the take is judged once more. False where it cannot be read.
    async function settle() {
      const take = state.take(d, plan.slot);
      if (take === null) return true;
      const full = await planned();
      if (full === null) return false;
      Object.assign(take, full.load ?? {});
      const shown = state.driver(d).shown[plan.slot];
      if (shown.judged !== asJudged(take)) await weigh(shown);
      return true;
    }

    // The page may have been closed while it judged, or the sense resistor been typed anew.
    async function weighIfOpen() {
      const take = state.take(d, plan.slot);
      const shown = state.driver(d).shown[plan.slot];
      if (take !== null && shown && shown.judged !== asJudged(take)) await weigh(shown);
    }

    // The plugs have changed places since the cone was tapped. Which of the jig's own takes were made before that, nobody knows: on one
    // node both ways look alike. Once they have found the known resistor, they hold.
    async function exchanged(full) {
      const { slot, condition } = full;
      const anew = measure.isCalibration(condition);
      if (anew) state.forgetJig(d);
      state.log(`the plugs have changed places: ${slot} (${state.driver(d).label})`);
      await state.save();
      const first = "same-node";
      dom.replace(result, widgets.panel(SEVERE,
        element("p", { role: "alert" }, say("take.exchanged")),
        anew && slot !== first ? element("p", {}, say("take.exchanged_jig")) : null,
        anew && slot !== first ? widgets.button(say("take.exchanged_back", { title: say(`${first}.title`) }), () => context.jump(first, d)) : null));
      showControls();
      context.changed();
    }

    // The page hands over the source first, as the tap has told: found the other way round, it is not as it was tapped. A session of
    // recordings made elsewhere is only turned back.
    const turned = (findings) => state.setup.route === "live" && findings.some((finding) => finding.code === "channels-swapped");

    // What all takes so far say. What cannot be worked out yet is no fault of this take.
    async function look(shown) {
      try {
        if (measure.isCalibration(plan.condition)) {
          const read = await measure.readJig(d);
          shown.exchanged = turned(read.findings);
          shown.about = read.findings.filter((finding) => finding.takes.includes(shown.name) && finding.severity !== "note");
          const check = read.checks.filter((one) => plan.condition === "check-resistor" && one.sentence);
          // The core says everything about the jig each time; here stands what this take has added.
          const before = Object.values(state.driver(d).shown).flatMap((other) => (other === shown ? [] : other?.sentences ?? []));
          shown.sentences = check.length > 0 ? check.map((one) => one.sentence) : read.sentences.filter((text) => !before.includes(text));
          shown.passes = check.length > 0 ? check[check.length - 1].passes : null;
        } else {
          const seen = await measure.analyse(d, shown.name);
          shown.exchanged = turned(seen.findings);
          // What concerns no single take may well come from this one.
          const ofAll = seen.findings.filter((finding) => finding.severity !== "note" && !finding.take);
          Object.assign(shown, { about: [...seen.about_last, ...ofAll], sentences: seen.sentences, chat: seen.chat, plot: seen.plot, fs_hz: seen.fs_hz, mms_kg: seen.mms_kg });
        }
      } catch (error) {
        shown.problem = error.message;
      }
    }

    function finished() {
      const heading = result.querySelector("h2");
      if (heading) {
        heading.tabIndex = -1;
        heading.focus();
      }
    }

    function describe(shown) {
      const all = [...shown.findings, ...(shown.about ?? [])];
      const serious = shown.damaged || all.some((finding) => finding.severity === SEVERE);
      const doubtful = all.some((finding) => finding.severity === "caution") || shown.passes === false || shown.problem || shown.expected?.inside === false;
      const kind = serious ? SEVERE : doubtful ? "usable" : "good";
      const title = shown.damaged ? "take.damaged" : serious ? "take.kept_redo" : kind === "usable" ? "take.kept_usable" : "take.kept";
      return [
        widgets.panel(kind,
          element("h2", {}, say(title, { name: shown.name })),
          (shown.sentences ?? []).map((text) => element("p", { class: "figure-of" }, text)),
          shown.problem ? element("p", { class: "wrong" }, shown.problem) : null,
          widgets.findings(all),
          (serious || shown.passes === false) && !shown.damaged ? widgets.button(say("take.anyway"), anyway) : null),
        shown.expected ? element("p", { class: shown.expected.inside ? "right" : "wrong" }, shown.expected.text) : null,
        shown.plot && shown.plot.length > 0 ? plot.figure(shown.plot) : null,
        shown.chat ? widgets.chatLine(shown.chat) : null,
      ];
    }

    async function anyway() {
      state.driver(d).done[plan.slot] = true;
      state.log(`went on with ${state.driver(d).slots[plan.slot]} all the same (${state.driver(d).label})`);
      await state.save();
      context.changed();
      context.goOn();
    }

    showControls();
    showResult();
    // Once the question is there: what it says about itself changes with it.
    setTimeout(weighIfOpen);
    return { node: element("div", { class: "take" }, controls, place, result), settle };
  }

  // The panels that are shown now, by slot, for questions that have to ask them whether they hold.
  function many() {
    const bySlot = new Map();
    const add = (slot, panel) => {
      bySlot.set(slot, panel);
      return panel.node;
    };
    return { add, settle: async (slot) => (await bySlot.get(slot)?.settle()) ?? true };
  }

  return { create, many };
})();

// By the page itself: level where none is known yet, then the take.
const liveTake = (() => {
  // Before a driver sounds again its coil cools, s: common practice, no source. Whoever changes something meanwhile has waited already.
  const REST_S = 10;
  const soundedAt = new Map();

  async function rest(d, tools) {
    const left_s = REST_S - (performance.now() - (soundedAt.get(d) ?? -Infinity)) / 1000;
    if (left_s <= 0) return;
    tools.now(say("take.resting"));
    await measure.listen(left_s, tools);
  }

  function order(elapsed_s) {
    const part = oneInput.partAt(elapsed_s);
    return { ...part, text: say(`one.${part.id}`) };
  }

  async function level(d, plan, tools) {
    const levels = state.driver(d).levels;
    if (levels[plan.level] !== undefined) return levels[plan.level];
    tools.now(say("level.seeking"));
    const seek = state.setup.route === "one-input" ? oneInput.seekLevel : measure.seekLevel;
    const found = await seek(d, plan, { ...tools, onburst: tools.note });
    if (found.damaged) throw new Error(found.damaged.map((finding) => `${finding.message} ${finding.advice}`).join(" "));
    if (found.exchanged) throw new Error(say("take.exchanged"));
    levels[plan.level] = found.use.playback_dbfs;
    state.log(`level for ${plan.level}: ${found.use.playback_dbfs.toFixed(1)} dBFS (${state.driver(d).label})`);
    return levels[plan.level];
  }

  function make(place, d, plan) {
    const one = state.setup.route === "one-input";
    return sounding.run(place, say("take.preparing"), async (tools) => {
      // The orders for one input belong to its take alone.
      const quiet = { ...tools, onprogress: ({ elapsed_s, total_s }) => (one ? null : tools.onprogress({ elapsed_s, total_s })) };
      if (plan.level === "driver") await rest(d, quiet);
      const level_dbfs = await level(d, plan, quiet);
      tools.now(say("take.playing"));
      const options = { ...tools, level_dbfs, onrepeat: (n) => tools.note(say("take.repeated", { n })) };
      try {
        return await (one ? oneInput.take(d, plan, options) : measure.take(d, plan, options));
      } finally {
        soundedAt.set(d, performance.now());
      }
    }, one ? { big: order } : {});
  }

  return { make, level };
})();

// By any recorder: the page saves what is to be played, and takes what was recorded.
const manualTake = (() => {
  const RATE_HZ = 48000;
  // With an output at half of its volume this is some tens of millivolts, and never more than the class allows.
  const LEVEL_DBFS = -20;

  async function stimulus(d, plan) {
    const sound = await measure.soundFor(d, plan.condition);
    const level_dbfs = Math.min(LEVEL_DBFS, sound.ceiling_dbfs);
    return { sound, level_dbfs };
  }

  async function save(d, plan) {
    const { sound, level_dbfs } = await stimulus(d, plan);
    const { blobs } = await core.call("playback", { sound, sample_rate_hz: RATE_HZ, kind: "take", level_dbfs });
    const kind = measure.isCalibration(plan.condition) ? "jig" : state.kit.drivers[d].class;
    widgets.saveFile(`play-${kind}.wav`, wav.stereoFromLeft(measure.floats(blobs[0]), RATE_HZ), "audio/wav");
  }

  async function bring(d, plan, names, contents) {
    const { sound, level_dbfs } = await stimulus(d, plan);
    const entry = measure.entryFor(d, plan);
    if (contents.length === 2) entry.files = [`takes/${entry.name}-source.wav`, `takes/${entry.name}-driver.wav`];
    state.log(`brought ${names.join(", ")} as ${entry.name}`);
    return core.call("dropped", { session: measure.bareSession(d), take: entry, sound, level_dbfs, played_rate_hz: RATE_HZ }, contents);
  }

  function controls(d, plan, { again, onfiles }) {
    const trouble = element("p", { role: "alert", class: "trouble" });
    const tooMany = (files) => {
      trouble.textContent = files.length > 2 ? say("manual.too_many") : "";
      if (files.length <= 2) onfiles(files);
    };
    return [
      element("h2", {}, say("manual.how")),
      dom.numbered(sayAll("manual.steps")),
      element("div", { class: "row" }, widgets.button(say("manual.save"), () => save(d, plan))),
      widgets.fileDrop({ label: say(again ? "manual.choose_again" : "manual.choose"), hint: say("manual.drop"), accept: "audio/wav,audio/x-wav,.wav", multiple: true, onfiles: tooMany }),
      trouble,
    ];
  }

  return { controls, bring };
})();
