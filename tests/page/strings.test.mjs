import { test } from "node:test";
import assert from "node:assert/strict";
import { allFiles, load, order, source } from "./load.mjs";

const of = load();
const strings = of("strings");
const scripts = order.filter((name) => !name.startsWith("strings/"));
const code = scripts.map((name) => source(name)).join("\n");

// Keys that are put together from parts: the fixed part before the first `${`, and behind the last one.
const composed = [...code.matchAll(/`((?:[a-z-]+|\$\{[^}]+\})\.[^`]+)`/g)].map(([, template]) => template);
const literal = [...code.matchAll(/(say|sayAll)\(\s*"([^"]+)"/g)].map(([, kind, key]) => [kind, key]);
const quoted = new Set([...code.matchAll(/"([a-z0-9-]+\.[a-z0-9_-]+)"/g)].map(([, key]) => key));

test("every text that is asked for is there, and of its kind", () => {
  assert.ok(literal.length > 150, `only ${literal.length} were found`);
  for (const [kind, key] of literal) {
    assert.ok(key in strings.table, `"${key}" is missing`);
    assert.equal(Array.isArray(strings.table[key]), kind === "sayAll", `"${key}" is of the other kind`);
  }
});

test("every key that stands anywhere in the code is there", () => {
  const rooms = new Set(Object.keys(strings.table).map((key) => key.split(".")[0]));
  const missing = [...quoted].filter((key) => rooms.has(key.split(".")[0]) && !(key in strings.table));
  assert.deepEqual(missing, []);
});

test("every question has a title and a short name", () => {
  const known = Object.keys(of("questions").known);
  assert.ok(known.length > 20);
  for (const id of known) {
    assert.ok(strings.has(`${id}.title`), id);
    assert.ok(strings.has(`${id}.short`), id);
  }
});

test("no text is left over", () => {
  const patterns = composed.map((template) => {
    const escaped = template.split(/\$\{(?:[^{}]|\{[^{}]*\})*\}/).map((part) => part.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
    return new RegExp(`^${escaped.join(".+")}$`);
  });
  const unused = Object.keys(strings.table).filter((key) => !quoted.has(key) && !patterns.some((pattern) => pattern.test(key)));
  assert.deepEqual(unused, []);
});

test("no key stands twice", () => {
  const keys = order.filter((name) => name.startsWith("strings/")).flatMap((name) => [...source(name).matchAll(/^ {2}"([^"]+)":/gm)].map(([, key]) => key));
  assert.equal(keys.length, new Set(keys).size, keys.filter((key, i) => keys.indexOf(key) !== i).join(", "));
  assert.equal(keys.length, Object.keys(strings.table).length);
});

test("each way of recording has its texts", () => {
  for (const sockets of ["two-inputs", "line-in", "headset", "microphone", "recorder"]) {
    for (const key of [`sockets.${sockets}`, `sockets.${sockets}_hint`, `sockets.${sockets}_way`, `wiring.plug_${sockets}`, `needs.cable_${sockets}`]) {
      assert.ok(strings.has(key), key);
    }
  }
  for (const route of ["live", "one-input", "manual"]) assert.ok(strings.has(`needs.first_${route}`), route);
  for (const part of of("oneInput").PARTS) assert.ok(strings.has(`one.${part.id}`), part.id);
});

test("values and plurals are filled in, and a missing value is an error", () => {
  assert.equal(strings.fill("{n|one take|# takes} of {label}", { n: 1, label: "x" }), "one take of x");
  assert.equal(strings.fill("{n|one take|# takes} of {label}", { n: 3, label: "x" }), "3 takes of x");
  assert.throws(() => strings.fill("{n} takes", {}), /lacks its value/);
  assert.throws(() => strings.say("no.such"), /no text is named/);
});

test("every script of the folder is in the order, once, and small", () => {
  const files = allFiles().filter((name) => name.endsWith(".js"));
  assert.deepEqual([...order].sort(), files.sort());
  for (const name of order) {
    assert.ok(source(name).startsWith('"use strict";'), name);
    assert.ok(source(name).split("\n").length <= 400, `${name} is long`);
    assert.ok(!source(name).includes("</script"), name);
  }
});

test("the page without its core stays within its share", () => {
  const bytes = allFiles().filter((name) => name !== "order.txt").reduce((sum, name) => sum + Buffer.byteLength(source(name)), 0);
  assert.ok(bytes < 330_000, `${bytes} bytes`);
});

test("nothing is loaded from anywhere", () => {
  for (const name of allFiles()) {
    const foreign = [...source(name).matchAll(/https?:\/\/[^\s"'`]+/g)].map(([address]) => address).filter((address) => address !== "http://www.w3.org/2000/svg");
    assert.deepEqual(foreign, [], name);
    assert.ok(!/\binnerHTML|insertAdjacentHTML|\beval\(/.test(source(name)), name);
  }
});
