// The input check through the browser's real way of recording: what is good passes, and what the browser makes of other inputs raises its
// own lines. node device_input.mjs KIT OUT
import { join } from "node:path";
import { BEFORE_S, answers, writeWav } from "./device.mjs";
import { complain, expectLines, open, run } from "./hands.mjs";
import { untilInputCheck } from "./setup.mjs";

// Two bursts follow each other; two that lost something by chance are made again, twice at most.
const LEVELS_DBFS = [-50, -40];
const N_PAIRS = 3;
// The first listens to silence for 1.5 s, after half a second that it lets pass, before a burst is got ready; a burst then takes 3.1 s.
const FIRST_S = 2 + BEFORE_S + 0.7;
const EACH_S = BEFORE_S + 3.1;

const INPUTS = [
  { name: "good", lines: [] },
  { name: "one channel", channels: 1, lines: ["The two channels are two inputs"] },
  // The browser says nothing, and hands over silence.
  { name: "24 bits", bits: 24, lines: ["What is played arrives whole", "10 dB more played is 10 dB more recorded"] },
];

await run(async (kit, out) => {
  const capture = join(out, "device.wav");
  const { page, close, hands } = await open(kit, out, { capture });
  page.setDefaultTimeout(60_000);
  try {
    await untilInputCheck(hands, page);
    await hands.set({ device: true });
    const bursts = Array.from({ length: N_PAIRS }, () => LEVELS_DBFS).flat();
    const parts = bursts.map((level_dbfs, i) => ({ kind: "burst", level_dbfs, at_s: FIRST_S + i * EACH_S }));
    const heard = await answers(page, FIRST_S + parts.length * EACH_S, parts);
    for (const { name, channels = 2, bits = 32, lines } of INPUTS) {
      writeWav(capture, heard.slice(0, channels), { bits });
      // The check opens the input anew.
      const { bad } = await hands.checkInput();
      expectLines(name, bad, lines);
      await hands.picture(name.replace(" ", "-"));
    }
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
