// Asks the compiled library what a test asked the native one: node answer.mjs CORE.wasm.gz FOLDER. Answers every `N.request` in the folder
// with `N.reply`, and prints how long each took.
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { gunzipSync } from "node:zlib";

const [core, folder] = process.argv.slice(2);
const { instance } = await WebAssembly.instantiate(gunzipSync(readFileSync(core)), {});
const { memory, farcone_room, farcone_answer, farcone_length } = instance.exports;
for (const name of readdirSync(folder).filter((file) => file.endsWith(".request")).sort()) {
  const request = readFileSync(join(folder, name));
  const begin = performance.now();
  // Memory may grow in every call, so its buffer is asked for anew.
  const into = farcone_room(request.length);
  new Uint8Array(memory.buffer, into, request.length).set(request);
  const at = farcone_answer();
  const reply = new Uint8Array(memory.buffer, at, farcone_length()).slice();
  console.log(`${name}: ${Math.round(performance.now() - begin)} ms`);
  writeFileSync(join(folder, name.replace("request", "reply")), reply);
}
