// The page is closed in the middle of things, and opened again: node reload.mjs KIT OUT
import { rmSync } from "node:fs";
import { complain, expect, load, newProfile, numberAfter, open, run } from "./hands.mjs";
import { untilInputCheck, untilTap } from "./setup.mjs";

const CONTINUE = "Continue where you were";
const resistor = (hands) => hands.label("Value of the known resistor");

// What the page has of the driver: names of takes, and whether their recordings are there.
const kept = (page) => page.evaluate(async () => {
  const { takes, replaced } = state.driver(0);
  const there = await Promise.all([...takes.flatMap((take) => take.files), ...replaced].map((path) => store.loadFile(0, path)));
  return { names: takes.map((take) => take.name), replaced, bytes: there.map((bytes) => bytes?.byteLength ?? 0) };
});

await run(async (kit, out) => {
  const profile = newProfile();
  let { page, context, close, hands } = await open(kit, out, { profile });
  page.setDefaultTimeout(60_000);
  try {
    await untilInputCheck(hands, page);
    const { bad } = await hands.checkInput();
    expect(bad.length === 0, `input check: ${bad.join("; ")}`);
    await hands.goOn();
    await untilTap(hands);
    await hands.tap();
    await hands.goOn();
    await hands.seekLevel();
    await hands.goOn();
    await hands.set({ part: "same" });
    await hands.record();
    await hands.goOn();
    const before = await kept(page);
    expect(before.names.length === 1, `kept: ${before.names}`);

    // In the middle of the next take.
    await resistor(hands).fill("22");
    await resistor(hands).blur();
    await page.locator(".take button").first().click();
    await page.waitForSelector(".sounding");
    await page.waitForTimeout(2500);
    expect(await page.locator(".sounding").isVisible(), "it no longer sounds");
    await page.reload();
    await page.waitForSelector("body:not([inert]) #question h1");
    expect((await hands.said("#question")).includes("You have been here before, at: Known resistor"), "the page does not say where it was");
    await hands.look("welcome-again");
    await page.getByText(CONTINUE).click();
    await resistor(hands).waitFor();
    expect(await resistor(hands).inputValue() === "22", "what was typed is gone");
    expect(JSON.stringify(await kept(page)) === JSON.stringify(before), `kept: ${JSON.stringify(await kept(page))}, and before ${JSON.stringify(before)}`);
    // Another resistor than was typed: there is no way on.
    await hands.set({ part: "resistor", resistor_ohm: 33 });
    const wrong = await hands.record();
    expect(numberAfter(wrong, "reads") > 30 && !wrong.includes(": good"), `33 ohm instead of 22: ${wrong}`);
    await page.locator(".steps-nav button.on").click();
    await page.getByText("The known resistor has to read right first").waitFor();

    // Escape stops at once, and the take that was there stays.
    const whole = await kept(page);
    await page.getByText("Make it again").click();
    await page.waitForSelector(".sounding");
    await page.waitForTimeout(1500);
    await page.keyboard.press("Escape");
    await page.getByText("Stopped. Nothing was kept.").waitFor();
    expect(JSON.stringify(await kept(page)) === JSON.stringify(whole), "Escape has changed what is kept");
    // One that is made again gets another name, and the older recording stays.
    await hands.set({ resistor_ohm: 22 });
    expect((await hands.record()).includes(": good"), "the right resistor is not good");
    await page.getByText("Make it again").waitFor();
    const again = await kept(page);
    expect(again.names.length === 2 && again.names[1] !== whole.names[1], `made again: ${again.names}`);
    expect(again.replaced.length === 1 && again.bytes.length === 3 && again.bytes.every((n) => n > 100_000), `made again: ${JSON.stringify(again)}`);

    // A disk that is full: it is said, and what was kept stays.
    await page.evaluate(() => {
      window.whole = store.saveFile;
      store.saveFile = () => Promise.reject(new Error(say("error.not_kept", { why: "" })));
    });
    await hands.sound(page.getByText("Make it again"));
    await page.getByText("The browser could not keep this").waitFor();
    await page.evaluate(() => { store.saveFile = window.whole; });
    expect(JSON.stringify((await kept(page)).names) === JSON.stringify(again.names), `with a full disk: ${JSON.stringify(await kept(page))}`);
    await hands.goOn();

    // A second window stands back.
    const second = await context.newPage();
    await load(second, kit);
    await second.getByText("already open in another tab or window").waitFor({ timeout: 20_000 });
    expect(await second.getByText(CONTINUE).count() === 0, "the second window offers to continue");
    await second.locator("#progress details").evaluate((list) => { list.open = true; });
    await second.locator("#progress a", { hasText: "Sockets" }).click();
    await second.getByRole("alert").getByText("two at once would write over each other").waitFor();
    expect((await second.title()).startsWith("You are about to"), "the second window goes on");
    await second.close();

    // The whole browser is closed, and started again.
    await close();
    ({ page, context, close, hands } = await open(kit, out, { profile }));
    page.setDefaultTimeout(60_000);
    await page.getByText(CONTINUE).click();
    await page.waitForFunction(() => document.querySelector("#question h1").textContent.startsWith("How much do the leads add"));
    expect(JSON.stringify(await kept(page)) === JSON.stringify(again), `after the browser was closed: ${JSON.stringify(await kept(page))}`);
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
  rmSync(profile, { recursive: true, force: true });
});
