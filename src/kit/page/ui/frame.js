"use strict";

// Around the question: head, progress, the way on and back, foot.
const frame = (() => {
  const by = (id) => document.getElementById(id);

  function announce(text) {
    by("announcer").textContent = "";
    // A change that follows at once is not read out.
    setTimeout(() => { by("announcer").textContent = text; }, 60);
  }

  function masthead(settings) {
    by("skip").textContent = say("frame.skip");
    dom.replace(by("masthead"), element("strong", {}, say("frame.name")), element("span", {}, say("frame.kit", { id: settings.id })));
    const drivers = settings.drivers.length;
    dom.append(by("masthead"), [element("span", {}, say("frame.drivers", { n: drivers }))]);
  }

  function colophon(settings, version) {
    const tested = by("colophon").dataset.tested;
    dom.replace(by("colophon"),
      element("p", {}, say("frame.version", { version: version ?? settings.version, id: settings.id })),
      element("p", {}, say("frame.tested", { tested })),
      element("p", {}, say("frame.nothing_leaves")));
  }

  const MARKS = { done: "✓", here: "▸", open: "○" };

  // Every question as a list: those before the first that is open, and that one, are links.
  function progress(listed, index, settings, go) {
    const wide = matchMedia("(min-width: 62rem)").matches;
    const groups = [];
    listed.forEach((step, i) => {
      if (groups.length === 0 || groups[groups.length - 1].driver !== step.driver) groups.push({ driver: step.driver, items: [] });
      groups[groups.length - 1].items.push([step, i]);
    });
    const item = ([step, i]) => {
      const kind = i === index ? "here" : step.done ? "done" : "open";
      const title = say(`${step.id}.short`);
      const spoken = element("span", { class: "spoken" }, ` (${say(`progress.${kind}`)})`);
      const word = flow.reachable(listed, i)
        ? element("a", { href: "#question", "aria-current": i === index ? "step" : null, onclick: (event) => { event.preventDefault(); go(step); } }, title, spoken)
        : element("span", { class: "later" }, title, spoken);
      return element("li", {}, element("span", { class: "mark", "aria-hidden": "true" }, MARKS[kind]), word);
    };
    const details = element("details", {},
      element("summary", {}, say("progress.where", { n: index + 1, all: listed.length })),
      groups.map((group) => [
        element("h2", {}, group.driver === null ? say(group.items[0][0].id === "end" ? "progress.end" : "progress.setup") : settings.drivers[group.driver].label),
        element("ol", {}, group.items.map(item)),
      ]));
    details.open = wide;
    by("progress").setAttribute("aria-label", say("progress.label"));
    dom.replace(by("progress"), details);
  }

  return { announce, masthead, colophon, progress, by };
})();
