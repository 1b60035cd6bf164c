// By hand: the page saves what is to be played, a recorder of its own hears both channels, and its files are dropped onto the page.
// node manual.mjs KIT OUT; leaves the bundle in OUT.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { hissing, joined, writeWav } from "./device.mjs";
import { complain, expect, expectClose, numberAfter, open, run } from "./hands.mjs";
import { saveWithoutLoads, untilInputCheck, untilTap } from "./setup.mjs";

const F0_HZ = 96;
// The recorder runs before the player does, and longer.
const BEFORE_S = 1.3;
const AFTER_S = 2;
// Of the recorder's inputs, full scale.
const NOISE = 2e-5;
// What is cut out of a recording, frames.
const CUT_FRAMES = 2000;

// The left channel of the file that the page saves: 24 bits, two channels.
function leftOf(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const rateHz = view.getUint32(24, true);
  const frame = view.getUint16(32, true);
  const samples = new Float32Array((bytes.byteLength - 44) / frame);
  for (let i = 0; i < samples.length; i += 1) {
    const at = 44 + i * frame;
    samples[i] = (view.getUint16(at, true) + view.getInt8(at + 2) * 65536) / 2 ** 23;
  }
  return { samples, rateHz };
}

await run(async (kit, out) => {
  const { page, close, hands } = await open(kit, out);
  const { set, goOn, look } = hands;
  page.setDefaultTimeout(60_000);
  const name = (what) => join(out, `${what}.wav`);
  const panel = page.locator(".take .panel").first();

  // Plays what the page saves, through whatever lies in the driver's place.
  async function recorded() {
    await hands.saveAs(name("play"), page.getByText("Save the sound to play"));
    const { samples, rateHz } = leftOf(readFileSync(name("play")));
    const silence = (length_s) => new Float32Array(Math.round(length_s * rateHz));
    const played = joined(silence(BEFORE_S), samples, silence(AFTER_S));
    const heard = await page.evaluate(async ([values, rate]) => {
      const channels = await lab.through(Float32Array.from(values), rate);
      return channels.map((channel) => Array.from(channel));
    }, [Array.from(played), rateHz]);
    return { rateHz, channels: heard.map((channel, i) => hissing(Float32Array.from(channel), i + 1, NOISE)) };
  }
  const said = async () => {
    await panel.locator("h2").waitFor();
    const text = (await panel.innerText()).replace(/\s*\n+\s*/g, " / ");
    console.log(text.slice(0, 300));
    return text;
  };
  // What was said about another recording must not pass for what is said about this one.
  const clear = () => page.evaluate(() => document.querySelector(".take .panel")?.remove());
  async function choose(...paths) {
    await clear();
    await page.locator(".take input[type=file]").setInputFiles(paths);
    return said();
  }
  // Not through the chooser: as somebody drags it here.
  async function drop(path) {
    await clear();
    const base64 = readFileSync(path).toString("base64");
    await page.evaluate(([text, called]) => {
      const data = new DataTransfer();
      data.items.add(new File([Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0))], called, { type: "audio/wav" }));
      document.querySelector(".take .drop").dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
    }, [base64, "dropped.wav"]);
    return said();
  }

  try {
    await untilInputCheck(hands, page, "A separate recorder");
    await untilTap(hands);

    await set({ part: "same" });
    const alike = await recorded();
    writeWav(name("same"), alike.channels, { bits: 24, rateHz: alike.rateHz });
    expect((await drop(name("same"))).includes("98.50 %"), "the inputs are not matched");
    await look("same-node");
    await goOn();

    await set({ part: "resistor" });
    await hands.label("Value of the known resistor").fill("22");
    const check = await recorded();
    // What is no recording is said, and nothing is kept of it.
    await page.locator(".take input[type=file]").setInputFiles({ name: "note.wav", mimeType: "audio/wav", buffer: Buffer.from("no recording") });
    await panel.getByText("This is not a WAV file").waitFor();
    await hands.picture("no-recording");
    // Two files of one channel each.
    check.channels.forEach((channel, i) => writeWav(name(`check-${i + 1}`), [channel], { bits: 24, rateHz: check.rateHz }));
    expect((await choose(name("check-1"), name("check-2"))).includes("22 ohm reads 22.0"), "the known resistor does not read right");
    await goOn();
    await hands.press("Leave the leads out");

    await set({ part: "driver", f0_hz: F0_HZ });
    const free = await recorded();
    const middle = Math.round(free.channels[0].length / 2);
    const cut = free.channels.map((channel) => joined(channel.subarray(0, middle), channel.subarray(middle + CUT_FRAMES)));
    writeWav(name("cut"), cut, { bits: 24, rateHz: free.rateHz });
    expect((await choose(name("cut"))).includes("was no good and is not used"), "frames that were cut out are not missed");
    await look("cut");
    for (const slot of ["free-1", "free-2"]) {
      writeWav(name(slot), (await recorded()).channels, { bits: 24, rateHz: free.rateHz });
      const found = await choose(name(slot));
      expectClose(numberAfter(found, "Resonance"), F0_HZ, 1e-3, `${slot}: fs`);
      await look(slot);
      await goOn();
    }
    await saveWithoutLoads(hands, join(out, "bundle.zip"));
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
