// What a helper's hands and eyes do with the kit's page, for the scripts beside this one. Everything that is wrong is collected, and
// `finish` ends the process with it.
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { delimiter, join, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const executablePath = process.env.PATH.split(delimiter).map((folder) => join(folder, "chromium")).find(existsSync);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const lab = fileURLToPath(new URL("lab.js", import.meta.url));
// The longest that the page plays without a break is its one-input take; a busy machine takes longer over everything.
const SOUNDING_MS = 180_000;
const ANSWER_MS = 60_000;

const complaints = [];
export const complain = (what) => complaints.push(what);
export function expect(is, what) {
  if (!is) complain(what);
}

// A profile keeps what the page keeps; whoever makes one removes it.
export const newProfile = () => mkdtempSync(join(tmpdir(), "farcone-kit-"));

// A browser with the page in it: { page, context, hands }. `out` is where pictures go; `capture` is what the browser's device hears.
export async function open(kit, out, { width = 1280, height = 900, profile = null, capture = null } = {}) {
  mkdirSync(out, { recursive: true });
  const folder = profile ?? newProfile();
  const context = await chromium.launchPersistentContext(folder, {
    executablePath, headless: true, acceptDownloads: true, viewport: { width, height }, ignoreDefaultArgs: ["--mute-audio"],
    args: ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
      "--autoplay-policy=no-user-gesture-required", ...(capture === null ? [] : [`--use-file-for-fake-audio-capture=${resolve(capture)}`])],
  });
  await context.addInitScript({ path: lab });
  context.on("page", watch);
  const page = context.pages()[0] ?? await context.newPage();
  watch(page);
  await load(page, kit);
  const close = async () => {
    await context.close();
    if (profile === null) rmSync(folder, { recursive: true, force: true });
  };
  return { page, context, close, hands: handsOn(page, out) };
}

export async function load(page, kit) {
  await page.goto(pathToFileURL(resolve(kit)).href);
  await page.waitForSelector("body:not([inert]) #question h1");
}

const watched = new WeakSet();
function watch(page) {
  if (watched.has(page)) return;
  watched.add(page);
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) complain(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => complain(`error: ${error.message}`));
  page.on("request", (request) => {
    const own = request.isNavigationRequest() && request.url().startsWith("file:");
    if (!own && !/^(data|blob):/.test(request.url())) complain(`request: ${request.url()}`);
  });
}

function handsOn(page, out) {
  let n = 0;
  const question = page.locator("#question");
  const title = () => page.locator("#question h1").innerText();
  const label = (text) => page.getByLabel(text, { exact: true });
  const said = async (selector) => (await page.locator(selector).first().innerText()).replace(/\s*\n+\s*/g, " / ");

  async function picture(name) {
    n += 1;
    await page.screenshot({ path: join(out, `${String(n).padStart(2, "0")}-${name}.png`), fullPage: true });
  }

  // Takes a picture, and complains of whatever nobody should see.
  async function look(name) {
    await page.waitForTimeout(100);
    await picture(name);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    if (over > 0) complain(`${name}: the page is ${over} px wider than its window`);
    for (const text of await page.evaluate(cutOff)) complain(`${name}: a drawing cuts off "${text}"`);
    await page.evaluate(axe);
    const { violations, passes } = await page.evaluate(() => window.axe.run());
    if (passes.length === 0) complain(`${name}: axe-core checked nothing`);
    for (const found of violations) {
      const where = found.nodes.slice(0, 3).map((node) => node.html.slice(0, 140)).join(" | ");
      const line = `${name}: axe-core, ${found.impact}: ${found.id}: ${where}`;
      if (found.impact === "serious" || found.impact === "critical") complain(line);
      else console.log(line);
    }
  }

  // On to the next question, which has to come.
  async function goOn() {
    const before = await page.title();
    await page.locator(".steps-nav button.on").click();
    await page.waitForFunction((old) => document.title !== old, before, { timeout: ANSWER_MS }).catch(async () => {
      throw new Error(`stuck at "${await title()}": ${await said("#question")}`);
    });
  }

  // Presses what leads to another question.
  async function press(text) {
    const before = await page.title();
    await question.getByText(text).click();
    await page.waitForFunction((old) => document.title !== old, before, { timeout: ANSWER_MS });
  }

  const set = (values) => page.evaluate((all) => Object.assign(window.lab, all), values);

  // Presses what sounds, and waits until it is over. `meanwhile` is done while it sounds.
  async function sound(button, meanwhile = async () => {}) {
    await button.click();
    await page.waitForSelector(".sounding", { timeout: ANSWER_MS });
    await meanwhile();
    await page.waitForFunction(() => !document.querySelector(".sounding"), null, { timeout: SOUNDING_MS });
    // What is said about it is put there by the next turn of the page's own loop.
    await page.waitForTimeout(200);
  }

  // Makes the n-th take of the question, and returns what is said about it.
  async function record({ nth = 0, meanwhile } = {}) {
    await sound(page.locator(".take").nth(nth).locator("button").first(), meanwhile);
    const panel = page.locator(".take").nth(nth).locator(".panel").first();
    await panel.waitFor({ timeout: ANSWER_MS });
    const text = (await panel.innerText()).replace(/\s*\n+\s*/g, " / ");
    console.log(text.slice(0, 400));
    return text;
  }

  // The input check's lines: how many, and those that are not good. With `until`, it is stopped once such a line is not good.
  async function checkInput({ until = null, meanwhile } = {}) {
    const lines = page.locator(".checks li");
    const soon = async () => {
      await lines.filter({ hasText: /^not good/ }).filter({ hasText: until }).waitFor({ timeout: ANSWER_MS });
      await page.keyboard.press("Escape");
    };
    await sound(page.getByRole("button", { name: "Check the input" }), until === null ? meanwhile : soon);
    const all = await lines.allInnerTexts();
    const bad = all.filter((text) => text.startsWith("not good")).map((text) => text.replace(/^not good\s*/, "").replace(/\s*\n+\s*/g, " / "));
    return { n: all.length, bad };
  }

  async function listenForTaps() {
    await sound(page.getByRole("button", { name: "Listen while I tap" }));
    return said("#question .panel");
  }

  async function tap() {
    await set({ tapping: true });
    const heard = await listenForTaps();
    await set({ tapping: false });
    return heard;
  }

  async function seekLevel(meanwhile) {
    await sound(page.getByRole("button", { name: "Find the level" }), meanwhile);
    return said("#question .panel");
  }

  // From the page with the result.
  async function saveBundle(path) {
    await page.locator(".chat code").waitFor();
    await saveAs(path, page.getByText(/Save the bundle of/));
  }

  // What pressing something saves.
  async function saveAs(path, button) {
    const [download] = await Promise.all([page.waitForEvent("download"), button.click()]);
    await download.saveAs(path);
  }

  return { saveAs, saveBundle, look, picture, title, label, said, goOn, press, set, sound, record, checkInput, listenForTaps, tap, seekLevel };
}

// Words of drawings that lie outside of what is shown of them. Runs in the page.
function cutOff() {
  const found = [];
  for (const text of document.querySelectorAll("#question svg text")) {
    const { x, y, width, height } = text.getBBox();
    const shown = text.ownerSVGElement.viewBox.baseVal;
    // Half a unit is no letter.
    const outside = x < shown.x - 0.5 || y < shown.y - 0.5 || x + width > shown.x + shown.width + 0.5 || y + height > shown.y + shown.height + 0.5;
    if (outside) found.push(text.textContent);
  }
  return found;
}

// The number behind a word in what was said, in the units it was said in.
export function numberAfter(text, word) {
  const found = new RegExp(`${word} ([0-9.]+)`).exec(text);
  return found === null ? NaN : Number(found[1]);
}

export function expectClose(found, wanted, within, what) {
  expect(Math.abs(found / wanted - 1) <= within, `${what}: ${found}, and ${wanted} is right`);
}

// Of the input check, its own lines are not good, and no others. What a busy machine loses is another matter.
export function expectLines(name, all, lines) {
  const bad = all.filter((text) => !text.startsWith("No gaps while recording"));
  console.log(`${name}: ${bad.join("; ").slice(0, 300)}`);
  const others = bad.filter((text) => !lines.some((line) => text.startsWith(line)));
  expect(bad.length === lines.length && others.length === 0, `${name}: not good are ${JSON.stringify(bad)}, and should be ${JSON.stringify(lines)}`);
}

// Runs a script: node SCRIPT KIT OUT …, and ends with what is wrong.
export async function run(work) {
  const [kit, out, ...rest] = process.argv.slice(2);
  const begin = Date.now();
  try {
    await work(kit, out, ...rest);
  } catch (error) {
    complain(error.stack);
  }
  console.log(`${((Date.now() - begin) / 1000).toFixed(0)} s`);
  for (const complaint of complaints) console.error(complaint);
  process.exit(complaints.length === 0 ? 0 : 1);
}
