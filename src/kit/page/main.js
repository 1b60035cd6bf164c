"use strict";

// One question at a time: shows it, asks it whether to go on, and remembers where the helper is.
const main = (() => {
  // Questions whose takes have other names than they.
  const SLOTS_OF = { leads: ["shorted", "open"] };
  let at = null;
  // Said above every question: without the core nothing can be judged.
  let trouble = null;
  let listed = [];

  function relist() {
    listed = flow.steps(state.now, state.kit);
    frame.progress(listed, flow.indexOf(listed, at), state.kit, go);
  }

  // Keeping takes a moment, in which a button can be pressed again: it would answer the question that comes next.
  let isMoving = false;
  async function once(move) {
    if (isMoving) return;
    isMoving = true;
    try {
      await move();
    } finally {
      isMoving = false;
    }
  }

  async function open(step) {
    if (sounding.isOn()) {
      frame.announce(say("frame.sounding"));
      return;
    }
    state.now.at = { id: step.id, driver: step.driver };
    await state.save();
    at = state.now.at;
    show();
  }

  const go = (step) => once(() => open(step));

  // What no question has caught, a full disk for example, is said above it.
  function showTrouble(reason) {
    const error = reason instanceof Error ? reason : new Error(String(reason));
    state.log(`trouble: ${error.message}`);
    frame.by("question").prepend(widgets.problem(error));
    scrollTo(0, 0);
  }

  function show({ focus = true } = {}) {
    listed = flow.steps(state.now, state.kit);
    const index = flow.indexOf(listed, at);
    at = { id: listed[index].id, driver: listed[index].driver };
    const d = at.driver;
    const question = questions.of(at.id);
    const title = say(`${at.id}.title`);
    const why = element("p", { class: "why wrong", role: "alert", hidden: true });
    const context = {
      d,
      changed: () => {
        relist();
        emphasise(question, context);
      },
      goOn: () => once(() => forward(question, context, why)),
      jump: (id, driver) => go({ id, driver }),
    };
    const heading = element("h1", { tabindex: "-1" }, title);
    dom.replace(frame.by("question"),
      trouble,
      d === null ? null : element("p", { class: "counter" }, state.kit.drivers[d].label),
      heading,
      question.render(context),
      navigation(index, question, context, why));
    document.title = d === null ? say("frame.title", { title }) : say("frame.title_driver", { title, label: state.kit.drivers[d].label });
    context.changed();
    if (focus) {
      scrollTo(0, 0);
      heading.focus({ preventScroll: true });
    }
  }

  function complain(why, text) {
    why.hidden = false;
    why.textContent = text;
  }

  function navigation(index, question, context, why) {
    const back = index > 0 ? widgets.button(say("frame.back"), () => go(flow.before(listed, at))) : null;
    const isLast = index === listed.length - 1;
    const on = isLast ? null : widgets.button(say(question.onKey ?? "frame.on"), context.goOn, "main on");
    const skip = listed[index].optional && !listed[index].done ? widgets.button(say(question.skipKey ?? "frame.skip_question"), () => once(passOver), "skips") : null;
    return element("div", { class: "steps-nav" }, why, on, skip, back);
  }

  // Where something has to be done first, the way on stands out only when it was.
  function emphasise(question, context) {
    const isReady = question.ready === undefined || Boolean(question.ready(context));
    document.querySelector("button.on")?.classList.toggle("main", isReady);
    const skip = document.querySelector("button.skips");
    if (skip && question.ready) skip.hidden = isReady;
  }

  function marks(step) {
    return step.driver === null ? state.now.done : state.now.drivers[step.driver].done;
  }

  // A take that is no good must not stay behind when its question is left out.
  function dropBadTakes() {
    const driver = state.driver(at.driver);
    for (const slot of SLOTS_OF[at.id] ?? [at.id]) {
      if (driver.slots[slot] && !driver.done[slot]) state.takeBack(at.driver, slot);
    }
  }

  async function passOver() {
    if (at.driver !== null) dropBadTakes();
    marks(at)[at.id] = true;
    state.log(`left out ${at.id}`);
    await open(flow.after(flow.steps(state.now, state.kit), at));
  }

  async function forward(question, context, why) {
    if (sounding.isOn()) return complain(why, say("frame.sounding"));
    why.hidden = true;
    const before = state.kit.drivers.map((_, d) => JSON.stringify(state.session(d)));
    let missing;
    try {
      missing = await question.missing(context);
    } catch (error) {
      missing = error.message;
    }
    if (missing) return complain(why, missing);
    before.forEach((text, d) => {
      if (text !== JSON.stringify(state.session(d))) state.outdate(d);
    });
    marks(at)[at.id] = true;
    return open(flow.after(flow.steps(state.now, state.kit), at));
  }

  // The question that was open last; whoever had gone back to the first page goes on with the first that is not done.
  function whereItStood() {
    if (state.now.at.id !== "welcome") return state.now.at;
    const steps = flow.steps(state.now, state.kit);
    const next = steps[flow.firstOpen(steps)];
    return next.id === "welcome" ? null : next;
  }

  async function begin() {
    addEventListener("unhandledrejection", (event) => {
      event.preventDefault();
      showTrouble(event.reason);
    });
    // A file dropped beside its place would be opened instead of the page.
    for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());
    const settings = kit.read(frame.by("kit").textContent);
    frame.masthead(settings);
    frame.colophon(settings, null);
    showBeforeItIsOpened(settings);
    const keeps = await store.open(settings.id);
    const continued = state.begin(settings, await store.loadState());
    state.now.opened = { continued, keeps, alone: await onlyTab.hold(settings.id) };
    state.log(continued ? "opened again" : "opened");
    // Where it stood is offered on the first page, so that nobody is thrown into the middle.
    state.now.resume = continued ? whereItStood() : null;
    document.body.inert = false;
    show({ focus: false });
    keepWhatIsTyped();
    loadCore(settings);
  }

  // The first page can be read while the browser opens what was kept, which takes it longer than everything else; answered it cannot be.
  function showBeforeItIsOpened(settings) {
    state.begin(settings, null);
    state.now.opened = { continued: false, keeps: true, alone: true };
    at = { id: "welcome", driver: null };
    show({ focus: false });
    document.body.inert = true;
  }

  // Half-filled questions survive a crash too. Fields read themselves a moment after they were left.
  function keepWhatIsTyped() {
    const AFTER_MS = 500;
    frame.by("question").addEventListener("change", () => setTimeout(() => state.save(), AFTER_MS));
  }

  // The core is unpacked while the first question is read.
  async function loadCore(settings) {
    try {
      await core.load();
      const { version } = await core.call("about");
      frame.colophon(settings, version);
    } catch (error) {
      state.log(`no core: ${error.message}`);
      trouble = widgets.problem(new Error(say("error.core", { why: error.message })));
      frame.by("question").prepend(trouble);
    }
  }

  return { begin, go, show };
})();

main.begin().catch((error) => {
  document.body.inert = false;
  document.getElementById("question").textContent = error.message;
});
