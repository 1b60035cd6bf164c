// The file that the browser's own device hands over as what the input hears. It is read anew whenever the page opens the input, begins
// then, and goes round and round; 32-bit floats at 44.1 kHz arrive to the last bit. The device hears nothing of what the page plays, so
// the file holds the answer, made beforehand from the page's own sound, where the page will be listening for it.
import { writeFileSync } from "node:fs";

export const RATE_HZ = 44100;
// The page lets the first half second pass, and listens to silence for 0.4 s, before it plays.
export const BEFORE_S = 0.95;

// Some steps of 24 bits and never none, so that every stretch of a file is its own and silence is told from what is missing; the same
// every time.
const HISS = 5e-7;
export function hissing(channel, seed, level = HISS) {
  let last = seed;
  return channel.map((value) => {
    last = (Math.imul(last, 1664525) + 1013904223) >>> 0;
    const random = last / 2 ** 31 - 1;
    return value + level * (random + Math.sign(random));
  });
}

export function joined(...pieces) {
  const all = new Float32Array(pieces.reduce((sum, piece) => sum + piece.length, 0));
  let at = 0;
  for (const piece of pieces) {
    all.set(piece, at);
    at += piece.length;
  }
  return all;
}

// Both channels of `length_s`, with the jig's answers in them: { kind, level_dbfs, at_s } each.
export async function answers(page, length_s, parts) {
  const texts = await page.evaluate(async ([n, rate, wanted]) => {
    const all = new Float32Array(n);
    const sound = await measure.soundFor(0, "free-air");
    for (const { kind, level_dbfs, at_s } of wanted) {
      const { blobs } = await core.call("playback", { sound, sample_rate_hz: rate, kind, level_dbfs });
      all.set(measure.floats(blobs[0]), Math.round(at_s * rate));
    }
    const heard = await lab.through(all, rate);
    // As text, a piece at a time: a function takes so many arguments only.
    const text = (bytes) => btoa(Array.from({ length: Math.ceil(bytes.length / 8192) }, (_, i) => String.fromCharCode(...bytes.subarray(8192 * i, 8192 * (i + 1)))).join(""));
    return heard.map((channel) => text(new Uint8Array(channel.buffer)));
  }, [Math.round(length_s * RATE_HZ), RATE_HZ, parts]);
  return texts.map((text, i) => hissing(new Float32Array(Uint8Array.from(Buffer.from(text, "base64")).buffer), i + 1));
}

// `bits` is 32 for floats, 24 for integers.
export function writeWav(path, channels, { bits = 32, rateHz = RATE_HZ } = {}) {
  const nBytes = bits / 8;
  const frame = channels.length * nBytes;
  const [{ length }] = channels;
  const bytes = Buffer.alloc(44 + length * frame);
  bytes.write("RIFF", 0);
  bytes.writeUInt32LE(bytes.length - 8, 4);
  bytes.write("WAVEfmt ", 8);
  bytes.writeUInt32LE(16, 16);
  bytes.writeUInt16LE(bits === 32 ? 3 : 1, 20);
  bytes.writeUInt16LE(channels.length, 22);
  bytes.writeUInt32LE(rateHz, 24);
  bytes.writeUInt32LE(rateHz * frame, 28);
  bytes.writeUInt16LE(frame, 32);
  bytes.writeUInt16LE(bits, 34);
  bytes.write("data", 36);
  bytes.writeUInt32LE(length * frame, 40);
  let at = 44;
  for (let i = 0; i < length; i += 1) {
    for (const channel of channels) {
      if (bits === 32) bytes.writeFloatLE(channel[i], at);
      else bytes.writeIntLE(Math.round(channel[i] * (2 ** 23 - 1)), at, nBytes);
      at += nBytes;
    }
  }
  writeFileSync(path, bytes);
}
