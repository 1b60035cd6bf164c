"use strict";

// Photos, the result in plain words, and the bundle that is sent back.
(() => {
  const SLOTS = ["wiring", "label", "ruler"];
  // What mail takes.
  const LARGEST_BYTES = 20e6;

  questions.add("photos", {
    onKey: "photos.on",
    render: (context) => [
      element("p", {}, say("photos.why")),
      element("div", { class: "slots" }, SLOTS.map((of) => slot(context, of))),
    ],
  });

  function slot(context, of) {
    const { d } = context;
    const place = element("div", {});
    const trouble = element("p", { role: "alert" });
    const show = async () => {
      const photo = state.driver(d).photos.find((one) => one.of === of);
      if (!photo) return dom.replace(place, drawDriver.photo[of]());
      const bytes = await store.loadFile(d, photo.file);
      const remove = async () => {
        await photos.drop(d, of);
        show();
      };
      return dom.replace(place,
        element("img", { src: URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" })), alt: say("photos.alt", { what: say(`photos.${of}`) }) }),
        element("p", { class: "right", role: "status" }, say("photos.size", { kilobytes: Math.round(bytes.length / 1000) })),
        widgets.button(say("photos.remove"), remove, "plain"));
    };
    const take = async ([file]) => {
      trouble.textContent = "";
      try {
        await photos.keep(d, of, file);
        await show();
      } catch (error) {
        trouble.textContent = error.message;
      }
    };
    show();
    return element("section", { class: "slot" },
      element("h2", {}, say(`photos.${of}`)),
      element("p", {}, say(`photos.${of}_hint`)),
      place,
      widgets.fileDrop({ label: say("photos.choose", { what: say(`photos.${of}`) }), hint: null, accept: "image/*", onfiles: take }),
      trouble);
  }

  // Photos and takes; recordings that were replaced go along as long as mail takes them, the newest first.
  async function bundleFiles(d) {
    const { paths, blobs } = await state.files(d, { photos: true });
    let total = blobs.reduce((sum, blob) => sum + blob.byteLength, 0);
    for (const path of [...state.driver(d).replaced].reverse()) {
      const bytes = await store.loadFile(d, path);
      if (!bytes || total + bytes.byteLength > LARGEST_BYTES) {
        state.log(`${path} was left out of the bundle`);
        continue;
      }
      total += bytes.byteLength;
      paths.push(path);
      blobs.push(bytes);
    }
    return { paths, blobs };
  }

  function browserFacts() {
    const browser = state.setup.browser;
    return {
      agent: navigator.userAgent, route: state.setup.route, sockets: state.setup.sockets, swapped: state.setup.swapped,
      facts: browser?.facts ?? null, checks: browser?.checks ?? [],
    };
  }

  async function saveBundle(d) {
    const { paths, blobs } = await bundleFiles(d);
    const made = await core.call(
      "bundle",
      { kit: state.kit.id, driver: d, session: state.session(d), files: paths, browser: browserFacts(), log: state.now.log },
      blobs,
    );
    const name = kit.bundleName(state.kit, d);
    widgets.saveFile(name, made.blobs[0], "application/zip");
    state.driver(d).saved = { name, n_bytes: made.n_bytes };
    state.log(`saved ${name}`);
    await state.save();
    return state.driver(d).saved;
  }

  const megabytes = (n) => (n / 1e6).toFixed(1);

  function savePart(d, onsaved = () => {}) {
    const said = element("div", { role: "status" });
    const show = () => {
      const saved = state.driver(d).saved;
      dom.replace(said, saved ? [
        element("p", { class: "right" }, say("bundle.saved", { name: saved.name, megabytes: megabytes(saved.n_bytes) })),
        saved.n_bytes > LARGEST_BYTES ? element("p", { class: "wrong" }, say("bundle.large")) : null,
      ] : null);
    };
    const press = async () => {
      dom.replace(said, element("p", {}, say("bundle.working")));
      // The core takes a moment, in which nothing can be drawn.
      await new Promise((resolve) => setTimeout(resolve, 50));
      try {
        await saveBundle(d);
        show();
        onsaved();
      } catch (error) {
        dom.replace(said, widgets.problem(error));
      }
    };
    show();
    return element("div", {}, element("div", { class: "row" }, widgets.button(say("bundle.save", { label: state.driver(d).label }), press, "main")), said);
  }

  // Where a finding sends the helper: to the question whose take it is about.
  function questionOf(d, takeName) {
    const slots = state.driver(d).slots;
    const slot = Object.keys(slots).find((key) => slots[key] === takeName);
    return { shorted: "leads", open: "leads" }[slot] ?? slot ?? null;
  }

  function verdict(context, seen) {
    const { d } = context;
    const serious = seen.findings.filter((finding) => finding.severity === "redo");
    const back = [...new Set(serious.flatMap((finding) => finding.takes).map((name) => questionOf(d, name)).filter(Boolean))];
    return widgets.panel(seen.verdict,
      element("h2", {}, say(`result.${seen.verdict}`)),
      element("p", {}, say(`result.${seen.verdict}_then`)),
      seen.sentences.map((text) => element("p", { class: "figure-of" }, text)),
      widgets.findings(seen.findings.filter((finding) => finding.severity !== "note")),
      back.map((id) => widgets.button(say("result.back_to", { title: say(`${id}.short`) }), () => context.jump(id, d))));
  }

  questions.add("result", {
    onKey: "result.on",
    render(context) {
      const { d } = context;
      const place = element("div", {}, element("p", { role: "status" }, say("result.working")));
      const look = async () => {
        await new Promise((resolve) => setTimeout(resolve, 50));
        try {
          const last = state.driver(d).takes.length > 0 ? state.driver(d).takes[state.driver(d).takes.length - 1].name : null;
          const seen = await measure.analyse(d, last);
          const notes = seen.findings.filter((finding) => finding.severity === "note");
          dom.replace(place,
            verdict(context, seen),
            plot.figure(seen.plot),
            notes.length > 0 ? element("details", {}, element("summary", {}, say("result.notes", { n: notes.length })), widgets.findings(notes)) : null,
            widgets.chatLine(seen.chat));
        } catch (error) {
          dom.replace(place, widgets.problem(error));
        }
      };
      look();
      return [place, element("h2", {}, say("bundle.title")), element("p", {}, say("bundle.what")), savePart(d, context.changed)];
    },
    ready: ({ d }) => state.driver(d).saved,
    missing: ({ d }) => (state.driver(d).saved ? null : say("result.save_first")),
  });

  questions.add("end", {
    render() {
      return [
        dom.paragraphs(sayAll("end.what")),
        state.kit.drivers.map((driver, d) => element("section", {}, element("h2", {}, driver.label), savePart(d))),
        element("p", {}, say("end.keep")),
      ];
    },
  });
})();
