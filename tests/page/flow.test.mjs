import { test } from "node:test";
import assert from "node:assert/strict";
import { load } from "./load.mjs";

const of = load();
const flow = of("flow");
const questions = of("questions");

const settings = {
  schema: "farcone-kit/1", id: "K-00000000", method: "both", sense: { value: 47, unit: "Ohm" }, test_box: null,
  drivers: [{ label: "a", class: "small" }, { label: "b", class: "tweeter" }],
};

function fresh(route, method = "both") {
  const kit = { ...settings, method };
  const now = of("state").fresh(kit);
  now.setup.route = route;
  return { now, kit };
}

const ids = (listed, d) => [...listed].filter((step) => step.driver === d).map((step) => step.id);

test("live, every question comes in its order", () => {
  const { now, kit } = fresh("live");
  const listed = flow.steps(now, kit);
  assert.deepEqual(ids(listed, null), ["welcome", "sockets", "needs", "cautions", "sense", "wiring", "browser", "air", "end"]);
  assert.deepEqual(ids(listed, 0), ["mount", "meter", "cone", "mounting", "tap", "level", "same-node", "check", "leads", "warm-up", "free-1", "free-2", "mass-1", "box-1", "photos", "result"]);
  // Nothing can be put on a tweeter.
  assert.deepEqual(ids(listed, 1), ids(listed, 0).filter((id) => id !== "mass-1" && id !== "box-1"));
  for (const step of listed) assert.ok(questions.of(step.id), step.id);
});

test("no sound comes before the cautions", () => {
  for (const route of ["live", "one-input", "manual"]) {
    const { now, kit } = fresh(route);
    const names = flow.steps(now, kit).map((step) => step.id);
    for (const sounding of ["browser", "tap", "level", "same-node", "check", "leads", "warm-up", "free-1"]) {
      const at = names.indexOf(sounding);
      assert.ok(at < 0 || at > names.indexOf("cautions"), `${sounding} on the route ${route}`);
    }
  }
});

test("by hand nothing needs the browser's input, and with one input no channels are compared", () => {
  const manual = fresh("manual");
  const byHand = flow.steps(manual.now, manual.kit).map((step) => step.id);
  for (const id of ["browser", "tap", "level", "warm-up"]) assert.ok(!byHand.includes(id), id);
  assert.ok(byHand.includes("same-node"));
  const one = fresh("one-input");
  const oneInput = flow.steps(one.now, one.kit).map((step) => step.id);
  for (const id of ["tap", "same-node"]) assert.ok(!oneInput.includes(id), id);
  assert.ok(oneInput.includes("check"));
});

test("the kit's method decides on mass and box, and a second mass is offered after the first", () => {
  const mass = fresh("live", "added-mass");
  assert.ok(!ids(flow.steps(mass.now, mass.kit), 0).includes("box-1"));
  assert.ok(!ids(flow.steps(mass.now, mass.kit), 0).includes("mass-2"));
  mass.now.drivers[0].slots["mass-1"] = "added-mass-1";
  assert.ok(ids(flow.steps(mass.now, mass.kit), 0).includes("mass-2"));
  const box = fresh("live", "test-box");
  assert.ok(!ids(flow.steps(box.now, box.kit), 0).includes("mass-1"));
  assert.ok(ids(flow.steps(box.now, box.kit), 0).includes("box-1"));
});

test("any answered question can be gone back to, and none is jumped over", () => {
  const { now, kit } = fresh("live");
  for (const id of ["welcome", "sockets", "needs"]) now.done[id] = true;
  const listed = flow.steps(now, kit);
  const open = flow.firstOpen(listed);
  assert.equal(listed[open].id, "cautions");
  listed.forEach((_, i) => assert.equal(flow.reachable(listed, i), i <= open));
  assert.equal(flow.after(listed, { id: "needs", driver: null }).id, "cautions");
  assert.equal(flow.before(listed, { id: "needs", driver: null }).id, "sockets");
  assert.equal(flow.before(listed, { id: "welcome", driver: null }).id, "welcome");
  // One that has become open again comes before all behind it.
  for (const id of ["cautions", "sense", "wiring"]) now.done[id] = true;
  now.done.sockets = false;
  assert.equal(flow.after(flow.steps(now, kit), { id: "wiring", driver: null }).id, "sockets");
  // A question that is no longer asked leads to the first that is open.
  assert.equal(flow.indexOf(listed, { id: "mass-2", driver: 0 }), open);
});

test("a driver that inherits the test of the bench is not asked for it, unless something was touched", () => {
  const { now, kit } = fresh("live");
  now.drivers[1].inherited = true;
  for (const id of ["same-node", "check", "leads"]) assert.ok(!ids(flow.steps(now, kit), 1).includes(id), id);
  now.drivers[1].remade = true;
  assert.ok(ids(flow.steps(now, kit), 1).includes("check"));
});
