// The route with one input, on a narrow screen: the clip moves to and fro when the page says so. node one_input.mjs KIT OUT
import { complain, expect, expectClose, numberAfter, open, run } from "./hands.mjs";
import { untilInputCheck, untilTap } from "./setup.mjs";

const F0_HZ = 96;
// Hands that reach for the clip, and how long it hangs in the air, ms.
const REACH_MS = 1500;
const AIR_MS = 2000;

await run(async (kit, out) => {
  const { page, close, hands } = await open(kit, out, { width: 360, height: 800 });
  const { set, goOn, label, look } = hands;
  page.setDefaultTimeout(60_000);

  const order = (beginning) => page.waitForFunction((text) => document.querySelector(".order")?.textContent.startsWith(text), beginning, { timeout: 120_000 });
  // Moves the clip on the page's order, and on nothing else.
  const moveWhenTold = async (name) => {
    await order("Clip on the SOURCE");
    await hands.picture(`${name}-source`);
    await order("MOVE THE CLIP NOW");
    await hands.picture(`${name}-move`);
    await moveTo("driver");
    await order("Clip at the OTHER END");
    await hands.picture(`${name}-driver`);
    await order("MOVE THE CLIP BACK");
    await moveTo("source");
    await order("Clip BACK");
    await hands.picture(`${name}-back`);
  };
  const moveTo = async (clip) => {
    await page.waitForTimeout(REACH_MS);
    await set({ clip: "air" });
    await page.waitForTimeout(AIR_MS);
    await set({ clip });
  };
  const record = async (name) => {
    await set({ clip: "source" });
    const said = await hands.record({ meanwhile: () => moveWhenTold(name) });
    await look(`${name}-done`);
    return said;
  };

  try {
    await set({ clip: "source" });
    await untilInputCheck(hands, page, "A microphone socket only");
    await look("browser");
    const { n, bad } = await hands.checkInput();
    expect(n >= 6 && bad.length === 0, `input check: ${n} lines, not good: ${bad.join("; ")}`);
    await look("browser-done");
    await goOn();
    await untilTap(hands);
    await look("level");
    await hands.seekLevel();
    await goOn();

    await look("check");
    await set({ part: "resistor" });
    await label("Value of the known resistor").fill("22");
    const check = await record("check");
    expect(check.includes(": good"), `the known resistor: ${check}`);
    expectClose(numberAfter(check, "reads"), 22, 0.002, "the known resistor");
    await goOn();
    await hands.press("Leave the leads out");

    await set({ part: "driver", f0_hz: F0_HZ });
    await hands.sound(page.getByRole("button", { name: "Play and rest" }));
    await goOn();
    await look("free-1");
    const first = await record("free-1");
    expectClose(numberAfter(first, "Resonance"), F0_HZ, 0.01, "fs");
    expect(!/Do again|no good/.test(first), `the take is not good: ${first}`);
    expect(await page.evaluate(() => state.driver(0).done["free-1"]), `the take is not good: ${first}`);
    // The way back was found: it is what shows a level or a clock that moved.
    for (const said of [check, first]) expect(!said.includes("not brought back"), `the clip came back, but: ${said}`);
    await goOn();
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
