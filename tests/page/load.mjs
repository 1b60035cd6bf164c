// Loads the page's scripts into a context without a browser, so that their pure parts can be called.
import { readFileSync, readdirSync, statSync } from "node:fs";
import { fileURLToPath } from "node:url";
import vm from "node:vm";

export const folder = fileURLToPath(new URL("../../src/kit/page/", import.meta.url));
export const order = readFileSync(`${folder}order.txt`, "utf8").split("\n").filter(Boolean);
export const source = (name) => readFileSync(folder + name, "utf8");

export function allFiles(under = "") {
  return readdirSync(folder + under).flatMap((name) => {
    const path = under + name;
    return statSync(folder + path).isDirectory() ? allFiles(`${path}/`) : [path];
  });
}

// What the scripts touch while they are only being defined.
function bareBrowser() {
  return {
    TextEncoder, TextDecoder, performance, structuredClone, console,
    document: { addEventListener() {} },
    navigator: { userAgent: "" },
  };
}

export function load() {
  const context = vm.createContext(bareBrowser());
  for (const name of order) {
    // The last one begins at once, and needs the page.
    if (name !== "main.js") new vm.Script(source(name), { filename: name }).runInContext(context);
  }
  return (name) => vm.runInContext(name, context);
}
