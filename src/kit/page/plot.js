"use strict";

// The impedance curve from the core's numbers: frequency on a logarithmic axis, ohm from zero up.
const plot = (() => {
  // On a narrow screen the same letters need a smaller drawing.
  const SIZES = { wide: [640, 360], narrow: [340, 250] };
  const LEFT = 52;
  const RIGHT = 14;
  const TOP = 14;
  const BOTTOM = 44;
  // Rows of the table beneath: enough to follow the curve by ear.
  const N_ROWS = 24;

  // Ticks of 1, 2 and 5 times powers of ten that lie within.
  function logTicks(low, high) {
    const ticks = [];
    for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power += 1) {
      for (const digit of [1, 2, 5]) {
        const value = Number((digit * 10 ** power).toPrecision(1));
        if (value >= low * 0.999 && value <= high * 1.001) ticks.push(value);
      }
    }
    return ticks;
  }

  // A round step that gives four to eight ticks from zero to a round end.
  function linearTicks(high) {
    const rough = high / 5;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 2.5, 5, 10].map((factor) => factor * power).find((candidate) => candidate >= rough * 0.999);
    const n = Math.ceil((high / step) * 0.9999);
    return Array.from({ length: n + 1 }, (_, i) => Number((i * step).toPrecision(6)));
  }

  function shortHertz(value) {
    return value >= 1000 ? `${value / 1000}k` : String(value);
  }

  function draw(curves, title) {
    const isNarrow = matchMedia("(max-width: 36rem)").matches;
    const [width, height] = SIZES[isNarrow ? "narrow" : "wide"];
    const frequencies = curves.flatMap((curve) => curve.frequency_hz);
    const ohms = curves.flatMap((curve) => [...curve.measured_ohm, ...(curve.modelled_ohm ?? [])]);
    if (frequencies.length === 0) return null;
    const low = Math.min(...frequencies);
    const high = Math.max(...frequencies);
    const rows = linearTicks(Math.max(...ohms) * 1.02);
    const top = rows[rows.length - 1];
    const x = (f) => LEFT + ((width - LEFT - RIGHT) * Math.log(f / low)) / Math.log(high / low);
    const y = (ohm) => height - BOTTOM - ((height - TOP - BOTTOM) * ohm) / top;
    const line = (fs, values, kind) =>
      pen.shape("polyline", { class: kind, points: fs.map((f, i) => `${x(f).toFixed(1)},${y(values[i]).toFixed(1)}`).join(" ") });

    const columns = logTicks(low, high).filter((f) => !isNarrow || /^1/.test(String(f)));
    const grid = [
      columns.map((f) => pen.line(x(f), TOP, x(f), height - BOTTOM, "grid")),
      rows.map((ohm) => pen.line(LEFT, y(ohm), width - RIGHT, y(ohm), "grid")),
      pen.path(`M${LEFT} ${TOP}V${height - BOTTOM}H${width - RIGHT}`, "axis"),
      columns.map((f) => pen.label(x(f), height - BOTTOM + 17, shortHertz(f), "middle", "tick")),
      rows.map((ohm) => pen.label(LEFT - 7, y(ohm) + 4, String(ohm), "end", "tick")),
      pen.label((LEFT + width - RIGHT) / 2, height - 8, say("plot.hertz"), "middle", "tick"),
      pen.label(6, TOP + 2, "Ω", "start", "tick"),
    ];
    const traces = curves.map((curve, i) => [
      line(curve.frequency_hz, curve.measured_ohm, i === 0 ? "measured" : "measured other"),
      curve.modelled_ohm ? line(curve.frequency_hz, curve.modelled_ohm, "modelled") : null,
      marker(curve, x, y, i),
    ]);
    const picture = pen.sheet(width, height, title, grid, traces);
    picture.setAttribute("class", "plot");
    return picture;
  }

  // Where a curve is highest below the frequencies at which a coil takes over.
  const COIL_HZ = 3000;
  function peakAt(curve) {
    let peak = 0;
    curve.measured_ohm.forEach((ohm, k) => {
      if (ohm > curve.measured_ohm[peak] && curve.frequency_hz[k] < COIL_HZ) peak = k;
    });
    return peak;
  }

  const peakHz = (curve) => curve.frequency_hz[peakAt(curve)];

  // The curve's number at its peak, so that curves are told apart without colour.
  function marker(curve, x, y, i) {
    const peak = peakAt(curve);
    return pen.label(x(curve.frequency_hz[peak]) + 8, y(curve.measured_ohm[peak]) + 12, String(i + 1), "start", "strong");
  }

  // Points spread evenly over the logarithm of frequency.
  function sampled(curve, n = N_ROWS) {
    const { frequency_hz: fs } = curve;
    if (fs.length <= n) return fs.map((_, i) => i);
    const picked = [];
    for (let k = 0; k < n; k += 1) {
      const wanted = fs[0] * (fs[fs.length - 1] / fs[0]) ** (k / (n - 1));
      let best = 0;
      fs.forEach((f, i) => {
        if (Math.abs(Math.log(f / wanted)) < Math.abs(Math.log(fs[best] / wanted))) best = i;
      });
      if (!picked.includes(best)) picked.push(best);
    }
    return picked;
  }

  const digits = (value) => Number(value.toPrecision(3)).toString();

  function table(curve, i) {
    const head = element("tr", {}, ["plot.f", "plot.measured", "plot.modelled"].map((key) => element("th", { scope: "col", class: "n" }, say(key))));
    const body = sampled(curve).map((k) =>
      element("tr", {},
        element("td", { class: "n" }, digits(curve.frequency_hz[k])),
        element("td", { class: "n" }, digits(curve.measured_ohm[k])),
        element("td", { class: "n" }, curve.modelled_ohm ? digits(curve.modelled_ohm[k]) : "–")));
    return element("table", {}, element("caption", {}, `${i + 1}: ${curve.name}`), element("thead", {}, head), element("tbody", {}, body));
  }

  function figure(curves) {
    const picture = draw(curves, say("plot.title", { names: curves.map((curve) => curve.name).join(", ") }));
    if (picture === null) return null;
    const key = curves.map((curve, i) => `${i + 1}: ${curve.name}`).join("; ");
    return element("figure", { class: "curves" },
      picture,
      element("figcaption", {}, say("plot.key", { key })),
      element("details", {}, element("summary", {}, say("plot.as_table")), element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("plot.as_table") }, curves.map(table))));
  }

  return { logTicks, linearTicks, sampled, peakHz, figure };
})();
