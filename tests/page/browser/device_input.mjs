// The input check through the browser's real way of recording: what is good passes, and each fault that only comes that way raises its
// own lines. node device_input.mjs KIT OUT
import { join } from "node:path";
import { BEFORE_S, RATE_HZ, answers, writeWav } from "./device.mjs";
import { complain, expect, open, run } from "./hands.mjs";
import { untilInputCheck } from "./setup.mjs";

await run(async (kit, out) => {
  const capture = join(out, "input.wav");
  const { page, close, hands } = await open(kit, out, { capture });
  page.setDefaultTimeout(60_000);
  try {
    await untilInputCheck(hands, page);
    await hands.set({ device: true, reported: { sampleRate: RATE_HZ } });
    const heard = await answers(page, 16, [{ kind: "burst", level_dbfs: -50, at_s: 3.65 }, { kind: "burst", level_dbfs: -40, at_s: 7.7 }]);
    for (const [name, channels, bits] of [["good", heard, 32], ["mono", heard.slice(0,1), 32], ["24", heard, 24]]) {
      writeWav(capture, channels, bits);
      const t = Date.now();
      const { bad } = await hands.checkInput();
      console.log(name, JSON.stringify(bad), Date.now()-t, await page.evaluate(() => JSON.stringify([audio.facts(), state.now.log.slice(-2)])));
      await hands.picture(name);
    }
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
