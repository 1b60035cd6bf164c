// Takes of the driver through the browser's real way of recording: node device_take.mjs KIT OUT DRIVER, the last of which is the circuit as
// lab.js has it, in JSON. Leaves in OUT what the device handed over, and the bundle: device.wav, bundle.zip.
import { join } from "node:path";
import { BEFORE_S, RATE_HZ, answers, joined, writeWav } from "./device.mjs";
import { complain, expect, open, run } from "./hands.mjs";
import { untilInputCheck, untilTap } from "./setup.mjs";

// One round of the file, with one answer in it. A take lasts about as long, with the page's work on it: one that the page makes again by
// itself is answered as well.
const ROUND_S = 10.5;
const AT_S = BEFORE_S + 0.4;
const LEVEL_DBFS = -30;
// What is inserted, and where: in the middle of the sweep.
const BLANK_FRAMES = 503;
const BLANK_AT_S = AT_S + 4;
// One that the page itself flags may be made again.
const TRIES = 3;

await run(async (kit, out, driver) => {
  const capture = join(out, "device.wav");
  const { page, close, hands } = await open(kit, out, { capture });
  const { set, goOn } = hands;
  page.setDefaultTimeout(60_000);

  // The next take opens the input anew, so that the file begins with it.
  const rewind = () => page.evaluate(() => audio.close());
  const good = async (name) => {
    for (let n = 1; n <= TRIES; n += 1) {
      const said = await hands.record();
      if (!said.includes("was no good")) return expect(said.includes(": good"), `${name}: ${said}`);
      console.log(`${name}: flagged, made again`);
      await rewind();
    }
    return complain(`${name}: flagged ${TRIES} times`);
  };
  const kept = () => page.evaluate(() => state.session(0).takes.map((take) => take.name).join(" "));

  try {
    await set({ reported: { sampleRate: RATE_HZ }, ...JSON.parse(driver) });
    await untilInputCheck(hands, page);
    const { bad } = await hands.checkInput();
    expect(bad.length === 0, `input check: ${bad.join("; ")}`);
    await goOn();
    await untilTap(hands);
    // Tapping, levels and warming up are other scripts' business.
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
    await good("known resistor");
    await goOn();
    await hands.press("Leave the leads out");
    await goOn();

    await set({ part: "driver", device: true });
    const heard = await answers(page, ROUND_S, [{ kind: "take", level_dbfs: LEVEL_DBFS, at_s: AT_S }]);
    writeWav(capture, heard);
    await rewind();
    await good("first take");
    await goOn();
    // The input stays open, as it does for whoever goes on at once; the next round begins with the button.
    const opened = await page.evaluate(() => performance.now() - lab.heardSince);
    await page.waitForTimeout(1000 * ROUND_S - (opened % (1000 * ROUND_S)));
    await good("second take");
    const before = await kept();

    // What must not be kept: frames that something put in, and half an answer before the other half.
    await page.evaluate(() => {
      const { call } = core;
      core.call = async (op, ...rest) => {
        const reply = await call(op, ...rest);
        if (op === "take") window.judged = reply.findings.map((finding) => `${finding.code}: ${finding.message}`).join(" / ");
        return reply;
      };
    });
    const blank = Math.round(BLANK_AT_S * RATE_HZ);
    writeWav(join(out, "device.wav"), heard.map((channel) => joined(channel.subarray(0, blank), new Float32Array(BLANK_FRAMES), channel.subarray(blank))));
    await rewind();
    const t0 = Date.now();
    await hands.sound(page.locator(".take button").first(), async () => {
      await page.getByText("The computer lost a piece of sound").waitFor();
      await page.keyboard.press("Escape");
    });
    console.log(await page.evaluate(() => window.judged), Date.now() - t0);
    const half = heard[0].length / 2;
    writeWav(capture, heard.map((channel) => joined(channel.subarray(half), channel.subarray(0, half))));
    await rewind();
    console.log(await hands.record());
    console.log(await page.evaluate(() => window.judged), Date.now() - t0);
    expect(await kept() === before, `kept: ${await kept()}, and before ${before}`);
    writeWav(capture, heard);
    console.log(await page.evaluate(() => JSON.stringify(state.now.log)));
    await goOn();
    await hands.press("I cannot stick anything on");
    await hands.press("I have no such box");
    await goOn();
    await page.locator(".chat code").waitFor();
    const [download] = await Promise.all([page.waitForEvent("download"), page.getByText(/Save the bundle of/).click()]);
    await download.saveAs(join(out, "bundle.zip"));
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
