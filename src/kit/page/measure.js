"use strict";

// What everything was recorded through: takes of two ways or two inputs do not go together.
const bench = (() => {
  const now = () => (state.setup.route === "manual" ? "manual" : `${state.setup.route}: ${state.setup.browser?.facts?.label ?? ""}`);
  const isKnown = () => state.setup.route === "manual" || Boolean(state.setup.browser?.facts);

  // Takes from elsewhere leave the session if the helper agrees. Otherwise a text that says what to do instead.
  function settle() {
    const { setup } = state;
    if (!isKnown() || setup.bench === now()) return null;
    if (setup.bench && state.now.drivers.some((driver) => driver.takes.length > 0) && !confirm(say("bench.sure"))) return say("bench.go_back");
    if (setup.bench) state.forgetBench();
    setup.bench = now();
    return null;
  }

  return { settle };
})();

// What is done with the sound card for a driver: bursts, the search for the level, takes. The page decides nothing here; the core does.
const measure = (() => {
  // A take that lost frames by chance is made again without asking, so often.
  const N_REPEATS = 2;
  const BY_CHANCE = ["frames-lost"];

  // Whether the only serious thing is what happens to busy computers now and then.
  function lostByChance(findings) {
    const serious = findings.filter((finding) => finding.severity === "redo");
    return serious.length > 0 && serious.every((finding) => BY_CHANCE.includes(finding.code));
  }

  const CALIBRATION = ["same-node", "check-resistor", "shorted-leads", "open-leads"];
  const isCalibration = (condition) => CALIBRATION.includes(condition);

  async function soundFor(d, condition) {
    const { sound } = await core.call("sound", { class: state.kit.drivers[d].class, calibration: isCalibration(condition) });
    return sound;
  }

  // Where nobody knows which driver is connected: what all of them stand.
  async function soundForAny() {
    const tweeter = state.kit.drivers.findIndex((driver) => driver.class === "tweeter");
    return soundFor(Math.max(0, tweeter), "free-air");
  }

  const rate = () => Math.round(audio.facts().sample_rate_hz);

  // Source first, whichever plug is in which input.
  function ordered(channels) {
    return state.setup.swapped ? [channels[1], channels[0]] : channels;
  }

  // What a browser means when it refuses an input.
  const REFUSALS = { NotAllowedError: "raw.denied", NotFoundError: "raw.no_input", OverconstrainedError: "raw.no_input", NotReadableError: "raw.busy" };

  async function openInput() {
    const chosen = state.setup.browser ?? {};
    try {
      await audio.start({ inputId: chosen.input_id ?? null, outputId: chosen.output_id ?? null });
    } catch (error) {
      const key = REFUSALS[error.name];
      throw key ? new Error(say(key)) : error;
    }
  }

  // After a reload the browser may ask again, and somebody may choose another input than the one that was checked.
  async function ensureInput() {
    if (audio.isOpen()) return;
    await openInput();
    const checked = state.setup.browser?.facts?.label;
    const { label } = audio.facts();
    if (checked && checked !== label) {
      await audio.close();
      throw new Error(say("error.other_input", { was: checked, now: label }));
    }
  }

  async function burst(sound, level_dbfs, { signal, onprogress } = {}) {
    await ensureInput();
    const { blobs } = await core.call("playback", { sound, sample_rate_hz: rate(), kind: "burst", level_dbfs });
    return play(floats(blobs[0]), { signal, onprogress });
  }

  async function play(samples, options) {
    const recorded = await audio.record({ samples, ...options });
    return { ...recorded, channels: ordered(recorded.channels) };
  }

  async function listen(length_s, options) {
    await ensureInput();
    const recorded = await audio.record({ length_s, ...options });
    return { ...recorded, channels: ordered(recorded.channels) };
  }

  function floats(bytes) {
    return new Float32Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 4);
  }

  // An entry of session.json for a recording that is about to be made.
  function entryFor(d, plan) {
    const name = state.nextName(d, plan.condition);
    return {
      name,
      condition: plan.condition,
      ...(plan.load ?? {}),
      files: [`takes/${name}.wav`],
      remounted: Boolean(plan.remounted),
    };
  }

  function bareSession(d) {
    return { ...state.session(d), takes: [], photos: [] };
  }

  // The lowest level that serves, found in bursts. `onburst` hears what each showed.
  async function seekLevel(d, plan, { signal, onburst, onprogress }) {
    await ensureInput();
    const sound = await soundFor(d, plan.condition);
    const take = { name: "level", condition: plan.condition, ...(plan.load ?? {}), files: ["takes/level.wav"] };
    let step = await core.call("level_start", { session: bareSession(d), take, sound, sample_rate_hz: rate() });
    while (step.next.burst !== undefined) {
      const recorded = await burst(sound, step.next.burst, { signal, onprogress });
      step = await core.call("level_burst", { search: step.search, n_reported_losses: recorded.jumps }, recorded.channels);
      if (step.line) onburst(step.line);
    }
    return step.next;
  }

  // One take. Damage that chance explains is tried again; each try has a name of its own.
  async function take(d, plan, { level_dbfs, signal, onprogress, onrepeat }) {
    await ensureInput();
    const sound = await soundFor(d, plan.condition);
    const { blobs } = await core.call("playback", { sound, sample_rate_hz: rate(), kind: "take", level_dbfs });
    const samples = floats(blobs[0]);
    for (let repeat = 0; ; repeat += 1) {
      const recorded = await play(samples, { signal, onprogress });
      const judged = await core.call(
        "take",
        { session: bareSession(d), take: entryFor(d, plan), sound, sample_rate_hz: rate(), level_dbfs, n_reported_losses: recorded.jumps },
        recorded.channels,
      );
      if (!lostByChance(judged.findings) || repeat >= N_REPEATS) return judged;
      state.log(`sound was lost in ${judged.take.name}, made again`);
      onrepeat(repeat + 1);
    }
  }

  // What all takes so far say, the last one named.
  async function analyse(d, last) {
    const { paths, blobs } = await state.files(d);
    return core.call("analyse", { session: state.session(d), files: paths, last }, blobs);
  }

  async function readJig(d) {
    const { paths, blobs } = await state.files(d);
    return core.call("jig", { session: state.session(d), files: paths }, blobs);
  }

  return { N_REPEATS, lostByChance, soundFor, soundForAny, rate, openInput, ensureInput, burst, play, listen, floats, entryFor, bareSession, seekLevel, take, analyse, readJig, isCalibration };
})();
