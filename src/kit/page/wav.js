"use strict";

// A stimulus as a file for those who play it with something else: 24 bits, two channels, the right one silent.
const wav = (() => {
  const HEADER_BYTES = 44;
  const N_CHANNELS = 2;
  const BYTES = 3;
  const FULL_SCALE = 2 ** 23 - 1;

  function stereoFromLeft(samples, sampleRateHz) {
    const nData = samples.length * N_CHANNELS * BYTES;
    const view = new DataView(new ArrayBuffer(HEADER_BYTES + nData));
    const tag = (at, text) => [...text].forEach((letter, i) => view.setUint8(at + i, letter.charCodeAt(0)));
    tag(0, "RIFF");
    view.setUint32(4, HEADER_BYTES - 8 + nData, true);
    tag(8, "WAVEfmt ");
    view.setUint32(16, 16, true);
    view.setUint16(20, 1, true);
    view.setUint16(22, N_CHANNELS, true);
    view.setUint32(24, sampleRateHz, true);
    view.setUint32(28, sampleRateHz * N_CHANNELS * BYTES, true);
    view.setUint16(32, N_CHANNELS * BYTES, true);
    view.setUint16(34, 8 * BYTES, true);
    tag(36, "data");
    view.setUint32(40, nData, true);
    for (let i = 0, at = HEADER_BYTES; i < samples.length; i += 1, at += N_CHANNELS * BYTES) {
      const step = Math.round(samples[i] * FULL_SCALE);
      view.setInt16(at, step & 0xffff, true);
      view.setInt8(at + 2, step >> 16);
    }
    return new Uint8Array(view.buffer);
  }

  return { stereoFromLeft };
})();
