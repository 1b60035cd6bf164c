"use strict";

// The part of a question in which a take is made, judged and shown, by whichever way this helper records.
const takePanel = (() => {
  const SEVERE = "redo";

  // plan: { slot, condition, remounted, load, level: "driver" | "jig", wait_s }.
  // context: the question's; `after(result)` may add to what is shown.
  function create(context, plan, { after = null, readLoad = null } = {}) {
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
      const judged = await liveTake.make(place, d, full);
      await judge(full, judged, judged?.blobs);
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
      if (judged.exchanged) {
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
      driver.done[full.slot] = false;
      await state.save();
      dom.replace(result, element("p", { role: "status" }, say("take.judging")));
      await look(shown);
      if (shown.exchanged) {
        state.takeBack(d, full.slot);
        await exchanged(full);
        return;
      }
      const serious = [...shown.findings, ...shown.about].some((finding) => finding.severity === SEVERE);
      driver.done[full.slot] = !serious && shown.passes !== false;
      await state.save();
      showResult();
      showControls();
      finished();
      context.changed();
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
          shown.about = read.findings.filter((finding) => finding.take?.startsWith(plan.condition) && finding.severity !== "note");
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
      const doubtful = all.some((finding) => finding.severity === "caution") || shown.passes === false || shown.problem;
      const kind = serious ? SEVERE : doubtful ? "usable" : "good";
      const title = shown.damaged ? "take.damaged" : serious ? "take.kept_redo" : kind === "usable" ? "take.kept_usable" : "take.kept";
      return [
        widgets.panel(kind,
          element("h2", {}, say(title, { name: shown.name })),
          (shown.sentences ?? []).map((text) => element("p", { class: "figure-of" }, text)),
          shown.problem ? element("p", { class: "wrong" }, shown.problem) : null,
          widgets.findings(all),
          (serious || shown.passes === false) && !shown.damaged ? widgets.button(say("take.anyway"), anyway) : null),
        after && !shown.damaged ? after(shown) : null,
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
    return element("div", { class: "take" }, controls, place, result);
  }

  return { create };
})();

// By the page itself: level where none is known yet, then the take.
const liveTake = (() => {
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
      const level_dbfs = await level(d, plan, { ...tools, onprogress: ({ elapsed_s, total_s }) => (one ? null : tools.onprogress({ elapsed_s, total_s })) });
      tools.now(say("take.playing"));
      const options = { ...tools, level_dbfs, onrepeat: (n) => tools.note(say("take.repeated", { n })) };
      return one ? oneInput.take(d, plan, options) : measure.take(d, plan, options);
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
