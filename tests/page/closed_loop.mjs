// Goes through the kit's page in Chromium, as a helper does, with a sound server whose sinks are a jig with different things in the
// driver's place: node closed_loop.mjs KIT.html OUT. Leaves bundle.zip and a picture of every question in OUT.
import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { delimiter, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [kit, out] = process.argv.slice(2);
const executablePath = process.env.PATH.split(delimiter).map((folder) => join(folder, "chromium")).find(existsSync);
mkdirSync(out, { recursive: true });
const complaints = [];

const context = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "farcone-kit-")), {
  executablePath, headless: true, acceptDownloads: true, viewport: { width: 1280, height: 900 },
  args: ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--use-fake-ui-for-media-stream"],
  ignoreDefaultArgs: ["--mute-audio"],
});
const page = context.pages()[0] ?? await context.newPage();
page.on("console", (message) => { if (message.type() === "error") complaints.push(`console: ${message.text()}`); });
page.on("pageerror", (error) => complaints.push(`error: ${error.message}`));
page.on("request", (request) => { if (!/^(file|data|blob):/.test(request.url())) complaints.push(`request: ${request.url()}`); });

// What the helper's hands do: something else in the driver's place. The browser's stream is moved to the sink that has it.
function pactl(...args) {
  return execFileSync("pactl", args, { encoding: "utf8" });
}
function put(sink) {
  pactl("set-default-sink", sink);
  for (const line of pactl("list", "short", "sink-inputs").split("\n")) {
    const [index, , , module] = line.split("\t");
    if (module === "protocol-native.c") pactl("move-sink-input", index, sink);
  }
}

// Three taps on the cone: the driver's side alone hears them.
function taps() {
  const rate = 48000;
  const samples = new Float32Array(2 * 2 * rate);
  for (const at of [0.4, 0.9, 1.4]) {
    for (let i = 0; i < 0.05 * rate; i += 1) {
      samples[2 * (Math.round(at * rate) + i) + 1] = 0.02 * Math.exp(-i / (0.01 * rate)) * Math.sin((2 * Math.PI * 90 * i) / rate);
    }
  }
  const file = join(out, "taps.raw");
  writeFileSync(file, Buffer.from(samples.buffer));
  execFileSync("pacat", ["--device=jigB", "--format=float32le", "--rate=48000", "--channels=2", file]);
}

let n = 0;
async function picture(name) {
  n += 1;
  await page.screenshot({ path: join(out, `${String(n).padStart(2, "0")}-${name}.png`), fullPage: true });
}
const title = () => page.locator("#question h1").innerText();
const label = (text) => page.getByLabel(text, { exact: true });
const silent = () => page.waitForFunction(() => !document.querySelector(".sounding"), null, { timeout: 240000 });

async function goOn(name) {
  await picture(name);
  const before = await page.title();
  await page.locator(".steps-nav button.main").click();
  await page.waitForFunction((title) => document.title !== title, before, { timeout: 10000 }).catch(async () => {
    throw new Error(`stuck at "${await title()}": ${await page.locator(".why").innerText()} ${await page.locator("#question").innerText()}`);
  });
}

// A busy machine loses frames. The page says so; then, and only then, a take is made again.
const MOST_TRIES = 4;
let nTakes = 0;
async function record(name) {
  for (let tries = 1; ; tries += 1) {
    nTakes += 1;
    const begin = Date.now();
    await page.locator(".take button").first().click();
    await page.waitForTimeout(500);
    await silent();
    await page.waitForFunction(() => document.querySelector(".take .panel h2"), null, { timeout: 60000 });
    const said = (await page.locator(".take .panel").first().innerText()).replace(/\n+/g, " / ");
    console.log(`${name}: ${(Date.now() - begin) / 1000} s: ${said.slice(0, 300)}`);
    if (!said.includes("was no good") || tries === MOST_TRIES) return;
  }
}

try {
  const opened = Date.now();
  await page.goto(pathToFileURL(resolve(kit)).href);
  await page.waitForSelector("#question h1");
  console.log(`the first question is visible after ${Date.now() - opened} ms`);
  await goOn("welcome");
  await page.getByText("Two wide sockets").click();
  await goOn("sockets");
  await goOn("needs");
  await page.locator("input[type=checkbox]").check();
  await goOn("cautions");
  await goOn("sense");
  await goOn("wiring");
  await page.getByText("Check the input").click();
  await page.waitForTimeout(1500);
  await silent();
  await page.waitForTimeout(300);
  console.log((await page.locator(".checks").innerText()).replace(/\n+/g, " / "));
  await goOn("browser");
  await label("Room temperature").fill("21");
  await label("Altitude above sea level").fill("30");
  await goOn("air");
  await goOn("mount");
  await label("Probes held together").fill("0.2");
  await label("Probes on the driver").fill("6.4");
  await goOn("meter");
  await label("Diameter, middle of the surround to middle of the surround").fill("100");
  await goOn("cone");
  await page.locator(".steps-nav button", { hasText: /./ }).nth(1).click();
  await page.waitForTimeout(300);
  await page.getByText("Listen while I tap").click();
  await page.waitForTimeout(1500);
  taps();
  await silent();
  await page.waitForTimeout(300);
  console.log(await page.locator("#question .panel").first().innerText());
  await goOn("tap");
  await page.getByRole("button", { name: "Find the level" }).click();
  await page.waitForTimeout(500);
  await silent();
  await page.waitForTimeout(300);
  console.log((await page.locator("#question .panel").first().innerText()).replace(/\n+/g, " / "));
  await goOn("level");
  put("open");
  await record("same-node");
  await goOn("same-node");
  put("check");
  await label("Value of the known resistor").fill("22");
  await record("check");
  await goOn("check");
  await page.getByText("Leave the leads out").click();
  await page.waitForTimeout(300);
  put("jigA");
  await page.getByText("Play and rest").click();
  await page.waitForTimeout(500);
  await silent();
  await goOn("warm-up");
  await record("free-1");
  await goOn("free-1");
  await record("free-2");
  await goOn("free-2");
  put("heavy");
  await page.getByText("Weighed on a scale").click();
  await label("Everything you stick on, putty included").fill("6.00");
  await record("mass-1");
  await goOn("mass-1");
  await page.getByText("One weight is enough").click();
  await page.waitForTimeout(300);
  await goOn("photos");
  await page.waitForFunction(() => document.querySelector(".chat code"), null, { timeout: 60000 });
  console.log(await page.locator(".chat code").innerText());
  const [download] = await Promise.all([page.waitForEvent("download", { timeout: 120000 }), page.getByText(/Save the bundle of/).click()]);
  await download.saveAs(join(out, "bundle.zip"));
  console.log(`${nTakes} takes were made`);
  await goOn("result");
  await picture("end");
} catch (error) {
  complaints.push(error.stack);
  await picture("failed");
}
await context.close();
for (const complaint of complaints) console.error(complaint);
process.exit(complaints.length === 0 ? 0 : 1);
