import { test } from "node:test";
import assert from "node:assert/strict";
import { load } from "./load.mjs";

const of = load();
// What comes out of the other context has prototypes of its own.
const plain = (value) => JSON.parse(JSON.stringify(value));

test("logarithmic ticks are 1, 2 and 5 within the range", () => {
  assert.deepEqual(plain(of("plot").logTicks(5, 20000)), [5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]);
  assert.deepEqual(plain(of("plot").logTicks(200, 900)), [200, 500]);
});

test("linear ticks begin at zero, reach the top and are few", () => {
  for (const high of [0.07, 1, 7.9, 36, 43.9, 99, 100, 250, 1234]) {
    const ticks = plain(of("plot").linearTicks(high));
    assert.equal(ticks[0], 0);
    assert.ok(ticks[ticks.length - 1] >= high * 0.9999, `${high}: ${ticks}`);
    assert.ok(ticks[ticks.length - 1] <= high * 1.5, `${high}: ${ticks}`);
    assert.ok(ticks.length >= 4 && ticks.length <= 8, `${high}: ${ticks}`);
  }
});

test("the table follows the curve from end to end", () => {
  const frequency_hz = Array.from({ length: 400 }, (_, i) => 5 * 4000 ** (i / 399));
  const picked = plain(of("plot").sampled({ frequency_hz }, 24));
  assert.equal(picked[0], 0);
  assert.equal(picked[picked.length - 1], 399);
  assert.equal(picked.length, 24);
  assert.deepEqual(picked, [...picked].sort((a, b) => a - b));
});

test("a curve's resonance is its peak below the coil's rise", () => {
  const frequency_hz = [20, 50, 96, 200, 1000, 5000, 20000];
  const measured_ohm = [6, 9, 36, 10, 6, 12, 40];
  assert.equal(of("plot").peakHz({ frequency_hz, measured_ohm }), 96);
});

test("a bundle's file name is harmless and says which driver it is", () => {
  const settings = { id: "K-7f3a20bd", drivers: [{ label: "left unit" }, { label: "../größter / \"Ü\" 4Ω" }, { label: "…" }] };
  const names = settings.drivers.map((_, d) => of("kit").bundleName(settings, d));
  assert.equal(names[0], "K-7f3a20bd-1-left-unit.zip");
  for (const name of names) assert.match(name, /^[A-Za-z0-9][A-Za-z0-9-]*\.zip$/);
  assert.equal(new Set(names).size, 3);
});

test("what is typed becomes what the core reads", () => {
  const compose = of("quantityField").compose;
  assert.equal(compose("78", "mm", "", null), "78mm");
  assert.equal(compose(" 78 ", "mm", "1", null), "78mm+-1mm");
  assert.equal(compose("47", "ohm", "1", "%"), "47ohm+-1%");
  assert.equal(compose("3.07 in", "mm", "0.02 in", null), "3.07 in+-0.02 in");
  assert.equal(compose("5.2g+-0.05g", "g", "1", null), "5.2g+-0.05g");
  assert.equal(compose("5.2±0.05", "g", "", null), "5.2±0.05g");
  assert.equal(compose("−3", "degC", "", null), "-3degC");
  assert.equal(compose("", "mm", "1", null), "");
  // Not mended here: the core says how it is written.
  assert.equal(compose("5,2", "g", "", null), "5,2g");
});

test("a recording ends when silence has followed the sound, however late it comes", () => {
  const watch = of("endWatch");
  const rate = 1000;
  const block = 50;
  for (const delay_s of [0.17, 0.5, 1.1]) {
    const end = watch.create(rate, 3000);
    for (let n = 0; n < 400; n += block) end.before(0.001);
    let n = 0;
    // Sounds from 0.5 s to 2 s of what is played, later by the delay.
    while (!end.isOver()) {
      const t_s = n / rate - delay_s;
      end.push(t_s >= 0.5 && t_s < 2 ? 0.1 : 0.001, block);
      n += block;
      assert.ok(n < 20_000, "it never ends");
    }
    // The noise of an input is judged in the silence behind the sound: half a second of it at the least.
    assert.ok(n / rate >= 2 + delay_s + 0.6, `delay ${delay_s}: ended at ${n / rate} s`);
    assert.ok(n / rate <= 3.9 + delay_s, `delay ${delay_s}: ended at ${n / rate} s`);
  }
});

test("a recording without any sound waits for the longest delay, and noise does not keep it going for ever", () => {
  const watch = of("endWatch");
  const silent = watch.create(1000, 3000);
  let n = 0;
  for (; !silent.isOver(); n += 50) silent.push(0, 50);
  assert.equal(n, 3000 + 1000 * watch.LONGEST_DELAY_S);
  const loud = watch.create(1000, 3000);
  for (n = 0; !loud.isOver(); n += 50) loud.push(0.5, 50);
  assert.equal(n, 3000 + 1000 * watch.GIVE_UP_S);
});

test("the stimulus as a file: header, left channel, silent right channel", () => {
  const bytes = of("wav").stereoFromLeft(Float32Array.from([0, 0.5, -0.5, 1, -1]), 48000);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const text = (at, n) => String.fromCharCode(...bytes.slice(at, at + n));
  assert.equal(text(0, 4) + text(8, 8), "RIFFWAVEfmt ");
  assert.equal(view.getUint32(4, true), bytes.length - 8);
  assert.deepEqual([view.getUint16(20, true), view.getUint16(22, true), view.getUint32(24, true), view.getUint16(34, true)], [1, 2, 48000, 24]);
  assert.equal(view.getUint32(40, true), 5 * 6);
  const sample = (frame, channel) => {
    const at = 44 + 6 * frame + 3 * channel;
    return (view.getInt8(at + 2) << 16) | view.getUint16(at, true);
  };
  const full = 2 ** 23 - 1;
  assert.deepEqual([0, 1, 2, 3, 4].map((i) => sample(i, 0)), [0, Math.round(full / 2), Math.round(-full / 2), full, -full]);
  assert.deepEqual([0, 1, 2, 3, 4].map((i) => sample(i, 1)), [0, 0, 0, 0, 0]);
});

test("requests and answers of the core are framed and taken apart", () => {
  const { frame, unframe } = of("core");
  const samples = Float32Array.from([1, 2, 3]);
  const framed = frame({ op: "x", args: { text: "µ" } }, [samples, Uint8Array.from([7, 8])]);
  const { head, blobs } = unframe(framed);
  assert.deepEqual(plain(head), { op: "x", args: { text: "µ" }, blobs: [12, 2] });
  assert.deepEqual([...new Float32Array(blobs[0].slice().buffer)], [1, 2, 3]);
  assert.deepEqual([...blobs[1]], [7, 8]);
});

test("with one input every second of the recording has its order", () => {
  const one = of("oneInput");
  const at = (s) => plain(one.partAt(s));
  assert.deepEqual(at(0), { id: "source", left_s: 13 });
  assert.equal(at(12.9).id, "source");
  assert.equal(at(13.1).id, "move");
  assert.equal(at(one.LENGTH_S - 0.1).id, "back");
  assert.deepEqual(at(one.LENGTH_S + 5), { id: "back", left_s: 0 });
});

test("with one input the clip comes back, and each stretch is long enough for somebody slow", () => {
  const one = of("oneInput");
  const parts = plain(one.PARTS);
  const HANDS = ["move", "return"];
  assert.deepEqual(parts.filter(({ id }) => !HANDS.includes(id)).map(({ id }) => id), ["source", "driver", "back"]);
  const PERIOD_S = 1.4;
  // What a stretch needs, with two seconds for whoever is slow and for the way through the browser. The last one only confirms.
  const STRETCH_S = 5.5 * PERIOD_S;
  const shortest_s = (id) => (HANDS.includes(id) ? 7 : id === "back" ? STRETCH_S : STRETCH_S + 2);
  for (const { id, length_s } of parts) assert.ok(length_s >= shortest_s(id), `${id}: ${length_s} s`);
  // Four takes of 16 bits at 48 kHz, each a little longer than what it holds, the sheet and three photos are one mail.
  const N_BYTES = 4 * 2 * 48_000 * (one.LENGTH_S + 0.5) + 310_000 + 3 * 350_000;
  assert.ok(N_BYTES < 20e6, `${N_BYTES} bytes`);
});

test("a take that is made again leaves the session and keeps its name to itself", async () => {
  const state = of("state");
  const saved = [];
  of("store").saveFile = async (d, path, bytes) => saved.push([d, path, bytes.length]);
  state.begin({ id: "K-1", sense: { value: 47, unit: "Ohm" }, drivers: [{ label: "a", class: "small" }] }, null);
  const entry = () => {
    const name = state.nextName(0, "free-air");
    return { name, condition: "free-air", files: [`takes/${name}.wav`] };
  };
  await state.keepTake(0, "free-1", entry(), [new Uint8Array(3)]);
  // A damaged one uses up a name without being kept.
  entry();
  await state.keepTake(0, "free-1", entry(), [new Uint8Array(4)]);
  assert.deepEqual(plain(state.session(0).takes.map((take) => take.name)), ["free-air-3"]);
  assert.deepEqual(plain(state.driver(0).replaced), ["takes/free-air-1.wav"]);
  assert.deepEqual(saved, [[0, "takes/free-air-1.wav", 3], [0, "takes/free-air-3.wav", 4]]);
  assert.ok(state.now.log.some((line) => line.what.includes("free-air-1 left the session")));
});

test("what the library refuses is said in a whole sentence", () => {
  const sentence = of("core").sentence;
  assert.equal(sentence("the cone is too light: use a box"), "The cone is too light: use a box.");
  assert.equal(sentence("Type a number."), "Type a number.");
  assert.equal(sentence("5 cent are magnetic"), "5 cent are magnetic.");
});
