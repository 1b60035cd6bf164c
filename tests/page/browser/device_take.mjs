// Takes of the driver through the browser's real way of recording: node device_take.mjs KIT OUT DRIVER, the last of which is the circuit as
// lab.js has it, in JSON. Leaves in OUT what the device handed over, and the bundle: device.wav, bundle.zip.
import { join } from "node:path";
import { BEFORE_S, RATE_HZ, answers, joined, writeWav } from "./device.mjs";
import { complain, expect, open, run } from "./hands.mjs";
import { saveWithoutLoads, untilInputCheck, untilTap } from "./setup.mjs";

// One round of the file, with one answer in it. A take lasts about as long, with the page's work on it, so that one which the page makes
// again by itself is answered as well.
const ROUND_S = 10.5;
const AT_S = BEFORE_S + 0.4;
const LEVEL_DBFS = -20;
// What is put in, and where: in the middle of the sweep, counted from the start of what was played.
const BLANK_FRAMES = 503;
const BLANK_AT_S = 4;
const BLANK_FOUND = "frames-lost: About 503 frames were repeated or put in 4.00 s after the start of what was played.";

await run(async (kit, out, driver) => {
  const capture = join(out, "device.wav");
  const { page, close, hands } = await open(kit, out, { capture });
  const { set, goOn } = hands;
  page.setDefaultTimeout(60_000);

  // The next take opens the input anew, and with it the file.
  const rewind = () => page.evaluate(() => audio.close());
  // What a busy machine loses while the sweep sounds, the page notices, and makes the take again, twice at most.
  const good = async (name) => {
    const said = await hands.record();
    expect(said.includes(": good"), `${name}: ${said}`);
  };
  const kept = () => page.evaluate(() => state.session(0).takes.map((take) => take.name).join(" "));

  try {
    await set(JSON.parse(driver));
    await untilInputCheck(hands, page);
    // What comes before the first recording is other scripts' business.
    await page.evaluate(() => { state.setup.browser.passed = true; });
    await goOn();
    await untilTap(hands);
    await page.evaluate((level_dbfs) => {
      Object.assign(state.driver(0), { heard: "driver", levels: { driver: level_dbfs, jig: level_dbfs } });
      state.driver(0).done["warm-up"] = true;
    }, LEVEL_DBFS);
    await goOn();
    await goOn();
    await set({ part: "same" });
    await good("both inputs on one node");
    await goOn();
    await set({ part: "resistor" });
    await hands.label("Value of the known resistor").fill("22");
    await good("the known resistor");
    await goOn();
    await hands.press("Leave the leads out");
    await goOn();

    // The driver's rest would open the input, and with it the file, before the take does.
    await page.evaluate(() => { measure.listen = async () => null; });
    await set({ part: "driver", device: true });
    const heard = await answers(page, ROUND_S, [{ kind: "take", level_dbfs: LEVEL_DBFS, at_s: AT_S }]);
    writeWav(capture, heard);
    await rewind();
    await good("the first take");
    await goOn();
    // The input stays open, as it does for whoever goes on at once: the next round begins with the button.
    const sinceOpened = await page.evaluate(() => performance.now() - lab.openedAt);
    await page.waitForTimeout(1000 * ROUND_S - (sinceOpened % (1000 * ROUND_S)));
    await good("the second take");
    const before = await kept();

    // What the core says of each take from here on.
    await page.evaluate(() => {
      const { call } = core;
      window.judged = [];
      core.call = async (op, ...rest) => {
        const reply = await call(op, ...rest);
        if (op === "take") window.judged.push(reply.findings.map((finding) => `${finding.code}: ${finding.message}`).join(" / "));
        return reply;
      };
    });
    // Frames that something put in, which the page takes for chance, and goes on to make the take again.
    const blank = Math.round((AT_S + BLANK_AT_S) * RATE_HZ);
    writeWav(capture, heard.map((channel) => joined(channel.subarray(0, blank), new Float32Array(BLANK_FRAMES), channel.subarray(blank))));
    await rewind();
    await hands.sound(page.locator(".take button").first(), async () => {
      await page.waitForFunction((wanted) => window.judged.includes(wanted) || !document.querySelector(".sounding"), BLANK_FOUND, { timeout: 60_000 });
      await page.keyboard.press("Escape");
    });
    // The second half of an answer, and then its first half.
    const half = Math.round(heard[0].length / 2);
    writeWav(capture, heard.map((channel) => joined(channel.subarray(half), channel.subarray(0, half))));
    await rewind();
    const late = await hands.record();
    const judged = await page.evaluate(() => window.judged);
    console.log(judged.join("\n"));
    expect(judged.includes(BLANK_FOUND), `${BLANK_FRAMES} frames put in: ${judged[0]}`);
    expect(late.includes("was no good and is not used"), `half a round too late: ${late}`);
    expect(await kept() === before, `in the session: ${await kept()}, and before ${before}`);

    // For whoever compares.
    writeWav(capture, heard);
    await goOn();
    await saveWithoutLoads(hands, join(out, "bundle.zip"));
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
