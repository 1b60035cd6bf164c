// Everything that a browser, an input or a hand can do wrong, one after the other: each has to be caught by the check that is there for
// it. node faults.mjs KIT OUT
import { complain, expect, expectLines, open, run } from "./hands.mjs";
import { untilInputCheck, untilTap } from "./setup.mjs";

// What is wrong, how the lines begin that have to say "not good", and whether they come before anything is played.
const INPUTS = [
  { name: "settings", wrong: { reported: { autoGainControl: true, channelCount: 1 } }, lines: ["All processing is reported off", "The input has enough channels"], early: true },
  { name: "hum", wrong: { fault: "hum" }, lines: ["Nothing is loud while nothing plays"], early: true },
  { name: "mono", wrong: { fault: "mono" }, lines: ["The two channels are two inputs"] },
  { name: "gain", wrong: { fault: "gain" }, lines: ["10 dB more played is 10 dB more recorded"] },
  { name: "silent", wrong: { fault: "silent" }, lines: ["What is played arrives whole", "10 dB more played is 10 dB more recorded"] },
  { name: "gaps", wrong: { fault: "gaps" }, lines: ["What is played arrives whole"] },
];

await run(async (kit, out) => {
  const { page, close, hands } = await open(kit, out);
  const { set, goOn } = hands;
  page.setDefaultTimeout(60_000);

  try {
    await untilInputCheck(hands, page);
    for (const { name, wrong, lines, early = false } of INPUTS) {
      await set({ fault: null, reported: {}, ...wrong });
      const { bad } = await hands.checkInput({ until: early ? lines[lines.length - 1] : null });
      expectLines(name, bad, lines);
      await hands.picture(name);
      // And there is no way on.
      await page.locator(".steps-nav button.on").click();
      await page.getByText("The input check has to be good first").waitFor();
    }

    // The plugs changed over: the tap notices, and nothing has to be done.
    await set({ fault: null, reported: {}, swapped: true });
    const { bad } = await hands.checkInput();
    expect(bad.length === 0, `with the plugs changed over: ${bad.join("; ")}`);
    await goOn();
    await untilTap(hands);
    const untouched = await hands.listenForTaps();
    expect(untouched.startsWith("Neither heard anything"), `nobody tapped: ${untouched}`);
    const tapped = await hands.tap();
    console.log(tapped);
    expect(await page.evaluate(() => state.setup.swapped), `the plugs are changed over, but: ${tapped}`);
    await hands.picture("tap");
    await goOn();

    // Somebody changes the plugs back: with a driver that is shorted nothing arrives where the source node should be.
    await set({ part: "short", swapped: false });
    await page.getByRole("button", { name: "Find the level" }).click();
    await page.getByText("have changed places since the cone was tapped").waitFor();
    await hands.picture("exchanged");

    // With the driver itself they are found; then the two inputs are matched, which looks alike either way, and the plugs are changed
    // over: the known resistor names them, and nothing that was recorded before is believed.
    await set({ part: "driver", swapped: true });
    await hands.seekLevel();
    await goOn();
    await set({ part: "same" });
    await hands.record();
    await goOn();
    await set({ part: "resistor", swapped: false });
    await hands.label("Value of the known resistor").fill("22");
    const check = await hands.record();
    expect(check.includes("have changed places since the cone was tapped"), `the plugs are changed over, but: ${check}`);
    await hands.picture("exchanged-check");
    const left = await page.evaluate(() => state.session(0).takes.map((take) => take.name));
    expect(left.length === 0, `still in the session: ${left}`);
    await page.locator(".steps-nav button.on").click();
    await page.getByText("Make this recording first").waitFor();
    // Put back as they were, and made again, it reads right.
    await hands.press("Back to “Are both inputs alike?”");
    await set({ part: "same", swapped: true });
    await hands.record();
    await goOn();
    await set({ part: "resistor" });
    const again = await hands.record();
    expect(again.includes(": good") && again.includes("22 ohm reads 22.0"), `the plugs are as they were, but: ${again}`);
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
