// Opens reports from disk in headless Chromium: node look.mjs BROWSER OUT PAGE...
// Fails on a console message, a request beyond the page itself, a serious complaint of axe-core, a page that is wider than its window,
// or a word that is cut off in a plot, on a screen or on paper. Leaves screenshots and a PDF of each page in OUT.
import { existsSync, readFileSync, mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { basename, delimiter, join, resolve } from "node:path";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [browser, out, ...pages] = process.argv.slice(2);
const executablePath = process.env.PATH.split(delimiter).map((folder) => join(folder, browser)).find(existsSync) ?? browser;
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const complaints = [];
mkdirSync(out, { recursive: true });
const profile = mkdtempSync(join(tmpdir(), "farcone-report-"));
const args = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync"];
const context = await chromium.launchPersistentContext(profile, { executablePath, headless: true, args });
// Nothing is to be fetched; if something were, it would go nowhere.
await context.setOffline(true);

const looks = [
  { name: "wide", width: 1280, colorScheme: "light" },
  { name: "narrow", width: 360, colorScheme: "light" },
  { name: "dark", width: 1280, colorScheme: "dark" },
  { name: "dark-narrow", width: 360, colorScheme: "dark" },
  { name: "grey", width: 1280, colorScheme: "light", grey: true },
];

/// Words of the plots that are shown which reach beyond their plot; "no words" where there are plots without any.
function cutWords() {
  const plots = [...document.querySelectorAll("svg.plot")].filter((plot) => plot.getClientRects().length > 0);
  return plots.flatMap((plot) => {
    const box = plot.getBoundingClientRect();
    const words = [...plot.querySelectorAll("text")];
    if (words.length === 0) return ["no words"];
    return words.filter((word) => {
      const { left, right, top, bottom } = word.getBoundingClientRect();
      return left < box.left - 1 || right > box.right + 1 || top < box.top - 1 || bottom > box.bottom + 1;
    }).map((word) => word.textContent.trim());
  });
}

for (const path of pages) {
  const stem = basename(path, ".html");
  const url = pathToFileURL(resolve(path)).href;
  for (const look of looks) {
    const page = await context.newPage();
    const said = (what) => complaints.push(`${stem}, ${look.name}: ${what}`);
    page.on("console", (message) => said(`console: ${message.text()}`));
    page.on("pageerror", (error) => said(`error: ${error.message}`));
    page.on("request", (request) => {
      if (request.url() !== url) said(`request: ${request.url()}`);
    });
    await page.setViewportSize({ width: look.width, height: 900 });
    await page.emulateMedia({ colorScheme: look.colorScheme });
    if (look.grey) {
      const devtools = await context.newCDPSession(page);
      await devtools.send("Emulation.setEmulatedVisionDeficiency", { type: "achromatopsia" });
    }
    await page.goto(url, { waitUntil: "load" });
    const tooWide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    if (tooWide > 0) said(`the page is ${tooWide} px wider than its window`);
    if (!look.grey) {
      await page.evaluate(axe);
      const { violations, passes } = await page.evaluate(() => window.axe.run());
      if (passes.length === 0) said("axe-core checked nothing");
      for (const found of violations) {
        const where = found.nodes.slice(0, 3).map((node) => node.html.slice(0, 120)).join(" | ");
        const line = `axe-core, ${found.impact}: ${found.id}: ${found.help} (${found.nodes.length}): ${where}`;
        if (found.impact === "serious" || found.impact === "critical") said(line);
        else console.log(`${stem}, ${look.name}: ${line}`);
      }
    }
    for (const word of await page.evaluate(cutWords)) said(`cut off in a plot: ${word}`);
    await page.screenshot({ path: join(out, `${stem}-${look.name}.png`), fullPage: true });
    if (look.name === "wide") {
      // An A4 page between its margins.
      await page.setViewportSize({ width: 680, height: 900 });
      await page.emulateMedia({ media: "print" });
      for (const word of await page.evaluate(cutWords)) said(`cut off in a printed plot: ${word}`);
      await page.emulateMedia({ media: null });
      await page.pdf({ path: join(out, `${stem}.pdf`), preferCSSPageSize: true, printBackground: true });
    }
    await page.close();
  }
}
await context.close();
rmSync(profile, { recursive: true, force: true });
for (const complaint of complaints) console.error(complaint);
console.log(`looked at ${pages.length} pages`);
process.exit(complaints.length > 0 ? 1 : 0);
