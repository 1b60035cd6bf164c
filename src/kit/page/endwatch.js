"use strict";

// Tells when a recording may stop. Sound takes between a fifth and more than a second from the page through the system and back, so
// what counts is that silence has followed the sound, not a fixed time.
const endWatch = (() => {
  // Silence that has to follow, s: longer than any pause within a stimulus.
  const SILENCE_S = 0.7;
  // The longest way through the system and back that was seen is 1.1 s; with room to spare.
  const LONGEST_DELAY_S = 1.6;
  // A faint sound may be missed, so that much is always waited for after the last frame was played.
  const ALWAYS_S = 0.6;
  // However loud the room is, it ends.
  const GIVE_UP_S = 4;
  // A block counts as sounding when it is this much louder than the loudest block of the silence before.
  const LOUDER = 2;
  // Below the last bit of 24, so that a digital silence is silent too.
  const FLOOR = 1e-7;

  function create(rateHz, nPlayed) {
    let noise = FLOOR;
    let nSince = 0;
    let lastLoud = -1;
    return {
      // Peak of a block before anything is played.
      before(peak) {
        noise = Math.max(noise, peak);
      },
      // Peak of a block since playing began.
      push(peak, nFrames) {
        nSince += nFrames;
        if (peak > LOUDER * noise) lastLoud = nSince;
      },
      isOver() {
        if (nSince < nPlayed + ALWAYS_S * rateHz) return false;
        if (nSince >= nPlayed + GIVE_UP_S * rateHz) return true;
        if (nSince < nPlayed + LONGEST_DELAY_S * rateHz && lastLoud < 0) return false;
        return nSince - Math.max(lastLoud, 0) >= SILENCE_S * rateHz;
      },
    };
  }

  return { create, SILENCE_S, LONGEST_DELAY_S, GIVE_UP_S };
})();
