// Through the whole page for one driver, two inputs, with a picture of and a look at every question: node walk.mjs KIT OUT WIDTH
// The jig is simulated (lab.js), so what the page says can be compared with what is right.
import { join } from "node:path";
import { complain, expect, expectClose, numberAfter, open, run } from "./hands.mjs";

const DRIVER = { part: "driver", f0_hz: 96, qms: 4.2 };
// What remounting changes.
const REMOUNTED_HZ = 96.3;
const MMS_KG = 6e-3;
const CONE_M = 3.5 * 0.0254;
const BOX_M3 = 1.95e-3;
// Of air at 518 m, Pa: 1.4 times its pressure there.
const STIFFNESS_PA = 1.4 * 95260;
// By how much the closed-off air makes the suspension stiffer, whose square root is by how much resonance and Q go up.
const STIFFER = 1 + (STIFFNESS_PA * (Math.PI / 4) ** 2 * CONE_M ** 4) / (BOX_M3 * MMS_KG * (2 * Math.PI * REMOUNTED_HZ) ** 2);

// A JPEG as a browser draws it, and the photo that the page keeps. Both run in the page.
const drawn = () => document.createElement("canvas").toDataURL("image/jpeg").split(",")[1];
const storedPhoto = async () => btoa(String.fromCharCode(...await store.loadFile(0, state.driver(0).photos.at(-1).file)));

// The same with an Exif part behind its first two bytes: one directory with a description, where a camera would say the place.
const PLACE = "48.2 N 16.4 E";
function withPlace(jpeg) {
  const text = Buffer.from(`${PLACE}\0`);
  const entry = Buffer.alloc(12);
  [[0x010e, 0], [2, 2]].forEach(([value, at]) => entry.writeUInt16BE(value, at));
  entry.writeUInt32BE(text.length, 4);
  entry.writeUInt32BE(26, 8);
  const part = Buffer.concat([Buffer.from("Exif\0\0MM\0*\0\0\0\x08\0\x01", "latin1"), entry, Buffer.alloc(4), text]);
  const head = Buffer.from([0xff, 0xe1, 0, 0]);
  head.writeUInt16BE(part.length + 2, 2);
  return Buffer.concat([jpeg.subarray(0, 2), head, part, jpeg.subarray(2)]);
}

// A driver whose resonance a weight lowers, or a box raises.
const moved = (ratio) => ({ part: "driver", f0_hz: REMOUNTED_HZ * ratio, qms: ratio < 1 ? DRIVER.qms / ratio : DRIVER.qms * ratio });

await run(async (kit, out, width) => {
  const { page, close, hands } = await open(kit, out, { width: Number(width) });
  const { look, goOn, press, label, set, said, record } = hands;
  page.setDefaultTimeout(60_000);

  try {
    await look("welcome");
    await goOn();
    await look("sockets");
    await page.getByText("Two wide sockets").click();
    await look("sockets-two");
    await goOn();
    await look("needs");
    await goOn();
    // Nothing sounds before the cautions were ticked.
    await page.locator(".steps-nav button.on").click();
    await page.locator(".why").waitFor();
    await look("cautions-why");
    await page.locator("input[type=checkbox]").check();
    await goOn();
    await look("sense");
    await goOn();
    await look("wiring");
    await goOn();

    await look("browser");
    const { n, bad } = await hands.checkInput({ meanwhile: () => look("browser-sounding") });
    expect(n >= 8 && bad.length === 0, `input check: ${n} lines, not good: ${bad.join("; ")}`);
    await look("browser-done");
    await goOn();
    await label("Room temperature").fill("21");
    await label("Altitude above sea level").fill("1700");
    await page.locator("select").last().selectOption("ft");
    await look("air");
    await goOn();

    await look("mount");
    await goOn();
    await label("Probes held together").fill("0.2");
    await label("Probes on the driver").fill("5.8");
    await label("Probes on the driver").blur();
    await look("meter");
    await goOn();
    const diameter = label("Diameter, middle of the surround to middle of the surround");
    await diameter.fill("abc");
    await page.keyboard.press("Tab");
    await page.locator(".shown.wrong").first().waitFor();
    await look("cone-wrong");
    await diameter.fill("3.5");
    await page.locator("select").first().selectOption("in");
    await page.getByText("Understood: ").first().waitFor();
    await look("cone");
    await goOn();
    await label("Cut-out, diameter").fill("92");
    await label("Flange, outer diameter").fill("118");
    await label("Screw circle, diameter").focus();
    await look("mounting");
    await goOn();
    await look("tap");
    expect((await hands.tap()).includes("it is the driver's, as it should be"), "the tap was not heard");
    await look("tap-done");
    await goOn();
    await look("level");
    const level = await hands.seekLevel();
    expectClose(numberAfter(level, "fs about"), DRIVER.f0_hz, 0.05, "fs in the level search");
    await look("level-done");
    await goOn();

    await look("same-node");
    await set({ part: "same" });
    expect((await record()).includes("shows 98.50 % of"), "the two inputs' difference");
    await look("same-node-done");
    await goOn();
    await look("check");
    await set({ part: "resistor" });
    await label("Value of the known resistor").fill("40");
    await page.locator(".take button").first().click();
    await page.getByText("Too close to the sense resistor").waitFor();
    await look("check-close");
    await label("Value of the known resistor").fill("22");
    expectClose(numberAfter(await record(), "reads"), 22, 0.002, "the known resistor");
    await look("check-done");
    await goOn();
    await look("leads");
    await set({ part: "short" });
    await record();
    await set({ part: "open" });
    await record({ nth: 1 });
    await look("leads-done");
    await goOn();

    await set(DRIVER);
    await look("warm-up");
    await hands.sound(page.getByRole("button", { name: "Play and rest" }));
    await look("warm-up-done");
    await goOn();
    await look("free-1");
    const first = await record({ meanwhile: () => look("sounding") });
    expect(first.includes(": good"), `the first take is not good: ${first}`);
    expectClose(numberAfter(first, "Resonance"), DRIVER.f0_hz, 0.002, "fs");
    await look("free-1-done");
    await goOn();
    await look("free-2");
    await set({ f0_hz: REMOUNTED_HZ });
    expectClose(numberAfter(await record(), "DC resistance"), 5.6, 0.02, "Re");
    await look("free-2-done");
    await goOn();

    // Coins: the core says which, and the weight that it comes to is on the simulated cone.
    const plan = page.locator("#question .panel .figure-of").first();
    await plan.waitFor();
    console.log(await plan.innerText());
    await look("mass-1");
    await page.getByRole("button", { name: "Use this" }).click();
    await page.getByRole("button", { name: "Use this" }).waitFor({ state: "detached" });
    const counted = await page.evaluate(() => {
      const { coins, plan } = state.driver(0).typed["mass-1"];
      return { coins: Object.entries(coins).map(([id, count]) => ({ id, count })), expect_hz: plan.expect_hz };
    });
    const pieces = counted.coins.reduce((sum, coin) => sum + coin.count, 0);
    expect(pieces >= 1, `the plan counts ${pieces} coins`);
    const filled = await page.locator("table.coins input").evaluateAll((all) => all.reduce((sum, input) => sum + Number(input.value), 0));
    expect(filled === pieces, `${filled} coins are filled in, and the plan has ${pieces}`);
    const [low, high] = counted.expect_hz ?? [0, 0];
    expect(low > 0 && low < high && high < REMOUNTED_HZ, `the plan expects ${low} to ${high} Hz`);
    const putty = Number(await label("Putty, all of it together").inputValue());
    expect(putty > 0, "the plan's putty is not filled in");
    const coins = await page.evaluate((all) => core.call("coin_mass", { coins: all, putty: null }), counted.coins);
    const added_kg = coins.mass.value + putty / 1000;
    console.log(`${(1000 * added_kg).toFixed(2)} g, ${low.toFixed(1)} to ${high.toFixed(1)} Hz`);
    await set(moved(1 / Math.sqrt(1 + added_kg / MMS_KG)));
    expectClose(numberAfter(await record(), "Moving mass"), 1000 * MMS_KG, 0.05, "Mms by coins");
    expect(await page.getByText("As expected: with this weight").isVisible(), "the resonance with coins was not as expected");
    await look("mass-1-done");
    await goOn();
    await page.getByText("Weighed on a scale").click();
    await label("Everything you stick on, putty included").fill("12.1");
    await look("mass-2");
    await press("One weight is enough");
    await look("box");
    await label("Air that the cone closes off").fill(String(1000 * BOX_M3));
    await set(moved(Math.sqrt(STIFFER)));
    await record();
    await look("box-done");
    if (!(await page.evaluate(() => state.driver(0).done["box-1"]))) complain(`the box's take is not good: ${await said(".take .panel")}`);
    await goOn();

    // Any picture is a photo.
    await page.locator("input[type=file]").first().setInputFiles(join(out, "01-welcome.png"));
    await page.getByText(/^Kept, /).waitFor();
    // What a camera writes into it stays behind.
    const photo = withPlace(Buffer.from(await page.evaluate(drawn), "base64"));
    await page.locator("input[type=file]").nth(1).setInputFiles({ name: "label.jpg", mimeType: "image/jpeg", buffer: photo });
    await page.getByText(/^Kept, /).nth(1).waitFor();
    const stored = Buffer.from(await page.evaluate(storedPhoto), "base64");
    expect(photo.includes(PLACE) && stored.length > 100 && !stored.includes(PLACE) && !stored.includes("Exif"), "a photo says where it was taken");
    await look("photos");
    await goOn();
    await page.locator(".chat code").waitFor();
    await look("result");
    expectClose(numberAfter(await said("#question .panel"), "Resonance"), REMOUNTED_HZ, 0.01, "fs of the result");
    console.log(await said(".chat code"));
    await hands.saveBundle(join(out, "bundle.zip"));
    await page.getByText(/^Saved as /).waitFor();
    await look("result-saved");
    await goOn();
    await look("end");
  } catch (error) {
    complain(error.stack);
    await hands.picture("failed");
  }
  await close();
});
