"use strict";

// One input only: a sound that repeats without a break while the clip moves from the source node to the driver and back. The samples are
// counted through, so nothing may be cut out; what lies where is for the core to find.
const oneInput = (() => {
  // Seconds for each part: four takes go through mail. What quick hands leave over goes to the next rest; to the first one nothing does, and
  // the sound settles in it. Back at its beginning the clip shows what moved meanwhile, level and clock; the
  // way back is known by then, so that there is time left over.
  const PARTS = [
    { id: "source", length_s: 13 },
    { id: "move", length_s: 8 },
    { id: "driver", length_s: 10 },
    { id: "return", length_s: 7 },
    { id: "back", length_s: 9 },
  ];
  const LENGTH_S = PARTS.reduce((sum, part) => sum + part.length_s, 0);
  // Levels tried from below, dBFS, and where the recording's peak should arrive. There is no second channel to judge a burst by.
  const FIRST_DBFS = -60;
  const STEP_DB = 6;
  const ENOUGH_DBFS = -36;
  const TOO_MUCH_DBFS = -6;
  const TRY_S = 2.5;

  function partAt(elapsed_s) {
    let end = 0;
    for (const part of PARTS) {
      end += part.length_s;
      if (elapsed_s < end) return { id: part.id, left_s: Math.max(1, Math.ceil(end - elapsed_s)) };
    }
    return { id: PARTS[PARTS.length - 1].id, left_s: 0 };
  }

  async function period(sound, level_dbfs) {
    return core.call("one_input_sound", { sound, sample_rate_hz: measure.rate(), level_dbfs });
  }

  // Goes up in small steps until the input shows enough. By its peak alone: whether a take is clear of the noise its own judgement says.
  async function seekLevel(d, plan, { signal, onburst, onprogress }) {
    await measure.ensureInput();
    const sound = await measure.soundFor(d, plan.condition);
    let level_dbfs = FIRST_DBFS;
    for (;;) {
      const { blobs } = await period(sound, level_dbfs);
      const recorded = await audio.record({ samples: measure.floats(blobs[0]), loop: true, length_s: TRY_S, signal, onprogress });
      const peak_dbfs = peakDbfs(recorded.channels[0]);
      onburst(say("level.one_burst", { level: Math.round(level_dbfs), peak: Math.round(peak_dbfs) }));
      if (peak_dbfs > TOO_MUCH_DBFS) return { use: { playback_dbfs: Math.max(FIRST_DBFS, level_dbfs - STEP_DB), sentence: say("level.one_loud", { level: Math.round(level_dbfs - STEP_DB) }) } };
      if (peak_dbfs >= ENOUGH_DBFS) return { use: { playback_dbfs: level_dbfs, sentence: say("level.one_enough", { level: Math.round(level_dbfs) }) } };
      if (level_dbfs + STEP_DB > sound.ceiling_dbfs) return { use: { playback_dbfs: level_dbfs, sentence: say("level.one_ceiling", { level: Math.round(level_dbfs) }) } };
      level_dbfs += STEP_DB;
    }
  }

  function peakDbfs(samples) {
    let peak = 1e-9;
    for (const value of samples) peak = Math.max(peak, Math.abs(value));
    return 20 * Math.log10(peak);
  }

  async function take(d, plan, { level_dbfs, signal, onprogress }) {
    await measure.ensureInput();
    const sound = await measure.soundFor(d, plan.condition);
    const made = await period(sound, level_dbfs);
    const recorded = await audio.record({ samples: measure.floats(made.blobs[0]), loop: true, length_s: LENGTH_S, signal, onprogress });
    return core.call(
      "one_input_take",
      {
        session: measure.bareSession(d), take: measure.entryFor(d, plan), sound, sample_rate_hz: measure.rate(), level_dbfs,
        n_reported_losses: recorded.jumps, period_frames: made.period_frames,
      },
      [recorded.channels[0]],
    );
  }

  return { PARTS, LENGTH_S, partAt, seekLevel, take };
})();
