"use strict";

// Which questions there are, in what order, and which of them is next. Pure: the page's state goes in, a list comes out.
const flow = (() => {
  // routes: which ways of recording ask it. optional: may be left out. when: further conditions.
  const SETUP = [
    { id: "welcome" },
    { id: "sockets" },
    { id: "needs" },
    { id: "cautions" },
    { id: "sense" },
    { id: "wiring" },
    { id: "browser", routes: ["live", "one-input"] },
    { id: "air" },
  ];
  const PER_DRIVER = [
    { id: "mount" },
    { id: "meter", optional: true },
    { id: "cone" },
    { id: "mounting", optional: true },
    { id: "tap", routes: ["live"] },
    { id: "level", routes: ["live", "one-input"] },
    { id: "same-node", routes: ["live", "manual"], jig: true },
    { id: "check", jig: true },
    { id: "leads", optional: true, jig: true },
    { id: "warm-up", routes: ["live", "one-input"] },
    { id: "free-1" },
    { id: "free-2" },
    { id: "mass-1", optional: true, when: (settings, d) => kit.wantsMass(settings, d) },
    { id: "mass-2", optional: true, when: (settings, d, driver) => kit.wantsMass(settings, d) && Boolean(driver.slots["mass-1"]) },
    { id: "box-1", optional: true, when: (settings, d) => kit.wantsBox(settings, d) },
    { id: "photos", optional: true },
    { id: "result" },
  ];
  const END = [{ id: "end" }];

  function asked(question, now, settings, d) {
    const driver = d === null ? null : now.drivers[d];
    if (question.routes && !question.routes.includes(now.setup.route ?? "live")) return false;
    if (question.jig && driver?.inherited && !driver.remade) return false;
    return question.when ? question.when(settings, d, driver) : true;
  }

  function isDone(step, now) {
    const of = step.driver === null ? now : now.drivers[step.driver];
    return Boolean(of.done[step.id]);
  }

  // Every question, in order: [{id, driver, optional, done}].
  function steps(now, settings) {
    const listed = [];
    const add = (questions, d) => {
      for (const question of questions) {
        if (!asked(question, now, settings, d)) continue;
        const step = { id: question.id, driver: d, optional: Boolean(question.optional) };
        listed.push({ ...step, done: isDone(step, now) });
      }
    };
    add(SETUP, null);
    settings.drivers.forEach((_, d) => add(PER_DRIVER, d));
    add(END, null);
    return listed;
  }

  const same = (a, b) => a.id === b.id && a.driver === b.driver;

  function indexOf(listed, at) {
    const found = listed.findIndex((step) => same(step, at));
    return found >= 0 ? found : firstOpen(listed);
  }

  function firstOpen(listed) {
    const found = listed.findIndex((step) => !step.done);
    return found >= 0 ? found : listed.length - 1;
  }

  // Back to any question that was answered, and on to the first that was not: nothing is jumped over.
  function reachable(listed, index) {
    return index <= firstOpen(listed);
  }

  // The next one, or an earlier one that has become open again.
  function after(listed, at) {
    return listed[Math.min(indexOf(listed, at) + 1, firstOpen(listed), listed.length - 1)];
  }

  function before(listed, at) {
    return listed[Math.max(indexOf(listed, at) - 1, 0)];
  }

  return { steps, indexOf, firstOpen, reachable, after, before, same };
})();
