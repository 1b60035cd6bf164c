"use strict";

// What was answered and what was measured. Questions change it through these functions; it is saved after each change.
const state = (() => {
  const FORMAT = 1;
  // Between these takes are analysed, unless a session says otherwise.
  const LOWEST_HZ = 5;
  const HIGHEST_HZ = 20000;
  let now = null;
  let settings = null;
  const openedAt = performance.now();

  function fresh(kitSettings) {
    return {
      format: FORMAT,
      kit: kitSettings.id,
      at: { id: "welcome", driver: null },
      done: {},
      setup: { sockets: null, route: null, sense: kitSettings.sense ?? null, air: {}, swapped: false, browser: null, typed: {} },
      drivers: kitSettings.drivers.map((driver) => freshDriver(driver)),
      log: [],
    };
  }

  function freshDriver(driver) {
    return {
      label: driver.label,
      done: {},
      cone: null,
      meter: null,
      dimensions: {},
      photos: [],
      takes: [],
      slots: {},
      replaced: [],
      counts: {},
      levels: {},
      shown: {},
      loads: {},
      typed: {},
      saved: null,
    };
  }

  function begin(kitSettings, kept) {
    settings = kitSettings;
    const usable = kept && kept.format === FORMAT && kept.kit === kitSettings.id && kept.drivers.length === kitSettings.drivers.length;
    now = usable ? kept : fresh(kitSettings);
    return Boolean(usable);
  }

  function forget() {
    now = fresh(settings);
  }

  async function save() {
    if (now.opened?.alone === false) throw new Error(say("welcome.two_tabs"));
    await store.saveState(now);
  }

  function log(what) {
    now.log.push({ at_s: Math.round((performance.now() - openedAt) / 100) / 10, what });
  }

  const driver = (d) => now.drivers[d];

  // session.json of one driver, as docs/session.md has it. What is not known stays out.
  function session(d) {
    const of = now.drivers[d];
    const made = { schema: "farcone-session/1", label: of.label, jig: jig(), takes: of.takes };
    // Below its sweep a tweeter's takes hold noise only.
    const { start_hz } = settings.drivers[d];
    if (start_hz > LOWEST_HZ) made.band_hz = [start_hz, HIGHEST_HZ];
    if (Object.keys(now.setup.air).length > 0) made.air = now.setup.air;
    if (of.cone !== null) made.cone = { diameter: of.cone };
    if (of.meter !== null) made.meter_re = of.meter;
    if (Object.values(of.dimensions).some((value) => value !== null)) made.dimensions = of.dimensions;
    if (of.photos.length > 0) made.photos = of.photos;
    return structuredClone(made);
  }

  // Takes are stored with the source first, so the jig never has swapped channels.
  function jig() {
    return { wiring: "across-driver", sense: now.setup.sense };
  }

  // The files that a session names, with their bytes.
  async function files(d, { photos = false, replaced = false } = {}) {
    const of = now.drivers[d];
    const paths = of.takes.flatMap((take) => take.files);
    if (photos) paths.push(...of.photos.map((photo) => photo.file));
    if (replaced) paths.push(...of.replaced);
    const blobs = await Promise.all(paths.map((path) => store.loadFile(d, path)));
    const missing = paths.find((_, i) => blobs[i] === undefined);
    if (missing !== undefined) throw new Error(say("error.file_gone", { path: missing }));
    return { paths, blobs };
  }

  // A name that no take of this driver ever had: nothing is written over.
  function nextName(d, condition) {
    const of = now.drivers[d];
    of.counts[condition] = (of.counts[condition] ?? 0) + 1;
    return `${condition}-${of.counts[condition]}`;
  }

  // Puts a take into its slot. The one that was there leaves the session; its recording stays among the files.
  async function keepTake(d, slot, take, contents) {
    for (const [i, path] of take.files.entries()) await store.saveFile(d, path, contents[i]);
    takeBack(d, slot);
    const of = now.drivers[d];
    of.takes.push(take);
    of.slots[slot] = take.name;
    log(`kept ${take.name} (${of.label})`);
  }

  // What was saved before is no longer what there is.
  function outdate(d) {
    const of = now.drivers[d];
    of.saved = null;
    of.done.result = false;
  }

  function takeBack(d, slot) {
    const of = now.drivers[d];
    outdate(d);
    const name = of.slots[slot];
    if (name === undefined) return;
    const old = of.takes.find((take) => take.name === name);
    of.takes = of.takes.filter((take) => take.name !== name);
    delete of.slots[slot];
    delete of.shown[slot];
    if (old) {
      of.replaced.push(...old.files);
      log(`${name} left the session; its recording stays as ${old.files.join(", ")} (${of.label})`);
    }
  }

  function take(d, slot) {
    const of = now.drivers[d];
    return of.takes.find((entry) => entry.name === of.slots[slot]) ?? null;
  }

  const JIG_SLOTS = ["same-node", "check", "shorted", "open"];
  const JIG_QUESTIONS = ["same-node", "check", "leads"];

  // Everything that was recorded through one way of recording, on one input. Takes of another one go together with none of these, and
  // what was found out about its inputs says nothing about the other's.
  const BENCH_QUESTIONS = ["tap", "level", "warm-up", "free-1", "free-2", "mass-1", "mass-2", "box-1"];

  function forgetBench() {
    now.setup.swapped = false;
    now.drivers.forEach((of, d) => {
      if (of.takes.length === 0 && Object.keys(of.levels).length === 0 && !of.heard) return;
      for (const slot of Object.keys(of.slots)) takeBack(d, slot);
      for (const id of [...JIG_QUESTIONS, ...BENCH_QUESTIONS]) of.done[id] = false;
      Object.assign(of, { levels: {}, levelSaid: null, heard: null, inherited: false, remade: false });
    });
    log("another way of recording: the takes so far left the session");
  }

  // Plugs or knobs were touched: the test of the bench has to be made again before it holds for further takes.
  function forgetJig(d) {
    const of = now.drivers[d];
    for (const slot of JIG_SLOTS) takeBack(d, slot);
    for (const id of JIG_QUESTIONS) of.done[id] = false;
    delete of.levels.jig;
    of.remade = true;
  }

  // The jig's own takes hold for the next driver as well, as long as they reach as low.
  async function inheritJig(from, to) {
    const source = now.drivers[from];
    const target = now.drivers[to];
    for (const slot of JIG_SLOTS) {
      const entry = source.takes.find((candidate) => candidate.name === source.slots[slot]);
      if (!entry || target.slots[slot]) continue;
      for (const path of entry.files) await store.saveFile(to, path, await store.loadFile(from, path));
      target.takes.push(structuredClone(entry));
      target.slots[slot] = entry.name;
      target.counts[entry.condition] = Math.max(target.counts[entry.condition] ?? 0, source.counts[entry.condition] ?? 0);
      target.shown[slot] = structuredClone(source.shown[slot] ?? null);
      target.done[slot] = true;
    }
    target.levels.jig = source.levels.jig;
    target.loads.check = source.loads.check;
    target.inherited = true;
  }

  return {
    begin, forget, fresh, save, log, driver, session, jig, files, nextName, keepTake, takeBack, outdate, take, inheritJig, forgetJig, forgetBench,
    get now() { return now; },
    get setup() { return now.setup; },
    get kit() { return settings; },
  };
})();
