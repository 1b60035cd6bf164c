// Goes through the kit's page in a real browser, as a helper does, with a sound server whose sinks are a jig with different things in the
// driver's place: node closed_loop.mjs KIT.html OUT chromium|firefox disk|localhost two|one. The last is the number of inputs. Leaves
// bundle.zip and a picture of every question in OUT.
import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, renameSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createServer } from "node:http";
import { tmpdir } from "node:os";
import { delimiter, join, resolve } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [kit, out, browserName, place, inputs] = process.argv.slice(2);
const oneInput = inputs === "one";
mkdirSync(out, { recursive: true });
const downloads = resolve(out, "downloads");
mkdirSync(downloads);
const profile = mkdtempSync(join(tmpdir(), "farcone-kit-"));
const complaints = [];

const onPath = (name) => process.env.PATH.split(delimiter).map((folder) => join(folder, name)).find(existsSync);

// The longest wait for an answer of the page, and for the end of what sounds, ms.
const ANSWER_MS = 90_000;
const SOUNDING_MS = 240_000;

const launch = {
  chromium: () => puppeteer.launch({
    browser: "chrome", executablePath: onPath("chromium"), headless: true, userDataDir: profile, defaultViewport: { width: 1280, height: 900 },
    downloadBehavior: { policy: "allow", downloadPath: downloads }, protocolTimeout: SOUNDING_MS,
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync", "--use-fake-ui-for-media-stream"],
    ignoreDefaultArgs: ["--mute-audio"],
  }),
  // What a helper clicks away is set beforehand: the microphone is allowed, and what is saved goes to a folder without a question.
  firefox: () => puppeteer.launch({
    browser: "firefox", executablePath: onPath("firefox-esr"), headless: true, userDataDir: profile, defaultViewport: { width: 1280, height: 900 },
    protocolTimeout: SOUNDING_MS,
    extraPrefsFirefox: {
      "media.navigator.permission.disabled": true, "media.autoplay.default": 0,
      "browser.download.folderList": 2, "browser.download.dir": downloads, "browser.download.useDownloadDir": true,
      "browser.download.manager.showWhenStarting": false, "browser.download.alwaysOpenPanel": false,
    },
  }),
};

// The page's address, from disk or from a server of its own.
async function address() {
  if (place === "disk") return { url: pathToFileURL(resolve(kit)).href, close: () => {} };
  const bytes = readFileSync(kit);
  const server = createServer((request, response) => {
    response.writeHead(request.url === "/kit.html" ? 200 : 404, { "content-type": "text/html; charset=utf-8" });
    response.end(request.url === "/kit.html" ? bytes : "");
  });
  await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
  return { url: `http://localhost:${server.address().port}/kit.html`, close: () => server.close() };
}

const browser = await launch[browserName]();
const page = (await browser.pages())[0] ?? await browser.newPage();
page.setDefaultTimeout(ANSWER_MS);
const { url, close } = await address();
page.on("console", (message) => { if (message.type() === "error") complaints.push(`console: ${message.text()}`); });
page.on("pageerror", (error) => complaints.push(`error: ${error.message}`));
page.on("request", (request) => { if (request.url() !== url && !/^(data|blob|about):/.test(request.url())) complaints.push(`request: ${request.url()}`); });

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
// The only input's clip. The microphone hears both nodes added up, so one of them is turned off; no sample is lost by that.
const FULL = 65536;
const CLIP = { source: [FULL, 0], air: [0, 0], driver: [0, FULL] };
const clip = (where) => pactl("set-source-volume", "jigB.monitor", ...CLIP[where].map(String));

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
const until = (work, args = [], timeout = ANSWER_MS) => page.waitForFunction(work, { polling: 100, timeout }, ...args);
const title = () => page.$eval("#question h1", (heading) => heading.innerText);
const said = (selector) => page.$eval(selector, (node) => node.innerText.replace(/\s*\n+\s*/g, " / "));

// Whatever can be pressed and says so.
async function press(text) {
  const found = await page.waitForFunction((wanted) => {
    const all = [...document.querySelectorAll("#question button, #question label")].filter((node) => node.offsetParent !== null);
    return all.find((node) => node.innerText.trim() === wanted) ?? all.find((node) => node.innerText.includes(wanted));
  }, { polling: 100 }, text);
  await found.asElement().click();
}

async function fill(label, value) {
  const field = await page.waitForFunction((wanted) => {
    const found = [...document.querySelectorAll("#question label")].find((node) => node.innerText.trim() === wanted);
    return found && document.getElementById(found.htmlFor);
  }, { polling: 100 }, label);
  await field.asElement().evaluate((node) => { node.focus(); node.select(); });
  await field.asElement().type(value);
}

async function goOn(name) {
  await picture(name);
  await leave(() => page.click(".steps-nav button.on"));
}
async function leave(how) {
  const before = await page.title();
  await how();
  await until((old) => document.title !== old, [before], 20_000).catch(async () => {
    throw new Error(`stuck at "${await title()}": ${await said(".why")} ${await said("#question")}`);
  });
}

// Presses what sounds, and waits until it is over. `meanwhile` is done while it sounds.
async function sound(text, meanwhile = async () => {}) {
  await press(text);
  await page.waitForSelector(".sounding");
  await meanwhile();
  await until(() => !document.querySelector(".sounding"), [], SOUNDING_MS);
  // What is said about it is put there by the next turn of the page's own loop.
  await sleep(300);
}

// With one input: hands that reach for the clip when the page says so, and the clip in the air.
const REACH_MS = 1200;
const AIR_MS = 1500;
async function moveWhenTold() {
  for (const [order, to] of [["MOVE THE CLIP NOW", "driver"], ["MOVE THE CLIP BACK", "source"]]) {
    await until((beginning) => document.querySelector(".order")?.textContent.startsWith(beginning), [order], SOUNDING_MS);
    await sleep(REACH_MS);
    clip("air");
    await sleep(AIR_MS);
    clip(to);
  }
}

// A busy machine loses frames. The page says so; then, and only then, a take is made again.
const MOST_TRIES = 6;
const FLAGGED = [
  "was no good and is not used", "something has to be changed, then made again",
  // With one input: these hands did begin at the source.
  "The clip was on the driver's side first",
];
let nTakes = 0;
async function record(name) {
  for (let tries = 1; ; tries += 1) {
    nTakes += 1;
    const begin = Date.now();
    if (oneInput) clip("source");
    await sound(tries === 1 ? "Play and record" : await again(), oneInput ? moveWhenTold : undefined);
    await page.waitForSelector(".take .panel h2");
    const words = await said(".take .panel");
    console.log(`${name}: ${((Date.now() - begin) / 1000).toFixed(1)} s: ${words.slice(0, 300)}`);
    if (!FLAGGED.some((text) => words.includes(text)) || tries === MOST_TRIES) return;
  }
}
const again = () => page.$eval(".take button", (button) => button.innerText);

// What the browser saves, once it is whole.
async function saved() {
  for (let waited = 0; waited < ANSWER_MS; waited += 200) {
    const names = readdirSync(downloads);
    const whole = names.length === 1 && names[0].endsWith(".zip") && statSync(join(downloads, names[0])).size > 0;
    if (whole) return join(downloads, names[0]);
    await sleep(200);
  }
  throw new Error(`no bundle was saved: ${readdirSync(downloads)}`);
}

async function setUp() {
  await goOn("welcome");
  await press(oneInput ? "A microphone socket only" : "Two wide sockets");
  await goOn("sockets");
  await goOn("needs");
  await page.click("#question input[type=checkbox]");
  await goOn("cautions");
  await goOn("sense");
  await goOn("wiring");
  // Frames that a busy machine loses here are told as well.
  for (let tries = 1; tries <= MOST_TRIES; tries += 1) {
    await sound("Check the input");
    const words = await said(".checks");
    console.log(words);
    if (!words.includes("not good")) break;
  }
  await goOn("browser");
  await fill("Room temperature", "21");
  await fill("Altitude above sea level", "30");
  await goOn("air");
}

async function bench() {
  await goOn("mount");
  await fill("Probes held together", "0.2");
  await fill("Probes on the driver", "6.4");
  await goOn("meter");
  await fill("Diameter, middle of the surround to middle of the surround", "100");
  await goOn("cone");
  await leave(() => press("Leave this out"));
  if (!oneInput) {
    await sound("Listen while I tap", async () => {
      await sleep(1000);
      taps();
    });
    console.log(await said("#question .panel"));
    await goOn("tap");
  }
  await sound("Find the level");
  console.log(await said("#question .panel"));
  await goOn("level");
}

async function takes() {
  if (!oneInput) {
    put("open");
    await record("same-node");
    await goOn("same-node");
  }
  put("check");
  await fill("Value of the known resistor", "22");
  await record("check");
  await goOn("check");
  await leave(() => press("Leave the leads out"));
  put("jigA");
  await sound("Play and rest");
  await goOn("warm-up");
  await record("free-1");
  await goOn("free-1");
  await record("free-2");
  await goOn("free-2");
  put("heavy");
  await press("Weighed on a scale");
  await fill("Everything you stick on, putty included", "6.00");
  await record("mass-1");
  await goOn("mass-1");
  await leave(() => press("One weight is enough"));
}

try {
  if (oneInput) clip("source");
  const opened = Date.now();
  await page.goto(url);
  await page.waitForSelector("#question h1");
  console.log(`${browserName}, ${place}, ${inputs} input(s): the first question is visible after ${Date.now() - opened} ms`);
  await page.waitForSelector("body:not([inert])");
  await setUp();
  await bench();
  await takes();
  await goOn("photos");
  await page.waitForSelector(".chat code");
  console.log(await said(".chat code"));
  await press("Save the bundle of");
  renameSync(await saved(), join(out, "bundle.zip"));
  console.log(`${nTakes} takes were made`);
  await goOn("result");
  await picture("end");
  console.log(`${((Date.now() - opened) / 1000).toFixed(0)} s`);
} catch (error) {
  complaints.push(error.stack);
  await picture("failed").catch((why) => complaints.push(`no picture: ${why.message}`));
}
await browser.close();
close();
rmSync(profile, { recursive: true, force: true });
for (const complaint of complaints) console.error(complaint);
process.exit(complaints.length === 0 ? 0 : 1);
