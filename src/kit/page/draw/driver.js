"use strict";

// The driver itself: what to measure on it and what to do with it.
const drawDriver = (() => {
  const { sheet, ornament, line, path, circle, rect, ellipse, label, span, arrow } = pen;

  // Seen from the front: flange, surround, cone, dust cap, screws.
  function front(cx, cy, r, nScrews = 4) {
    const screws = [];
    for (let i = 0; i < nScrews; i += 1) {
      const angle = Math.PI / 4 + (2 * Math.PI * i) / nScrews;
      screws.push(circle(cx + r * 0.91 * Math.cos(angle), cy + r * 0.91 * Math.sin(angle), r * 0.04, "hole"));
    }
    return [circle(cx, cy, r), circle(cx, cy, r * 0.8, "thin"), circle(cx, cy, r * 0.62, "thin"), circle(cx, cy, r * 0.22, "thin"), screws];
  }

  // Cut through the middle, face up: flange, surround, cone, basket, magnet.
  function section(cx, top, w) {
    const half = w / 2;
    return [
      path(`M${cx - half} ${top}h${w * 0.14}M${cx + half} ${top}h${-w * 0.14}`, "bold"),
      path(`M${cx - half * 0.72} ${top}q${w * 0.05} ${-w * 0.09} ${w * 0.1} 0L${cx - half * 0.2} ${top + w * 0.2}M${cx + half * 0.72} ${top}q${-w * 0.05} ${-w * 0.09} ${-w * 0.1} 0L${cx + half * 0.2} ${top + w * 0.2}`, "wire"),
      path(`M${cx - half * 0.2} ${top + w * 0.2}q${half * 0.2} ${-w * 0.08} ${half * 0.4} 0`, "thin"),
      path(`M${cx - half * 0.78} ${top}L${cx - half * 0.42} ${top + w * 0.28}h${half * 0.84}L${cx + half * 0.78} ${top}`, "part open"),
      rect(cx - half * 0.46, top + w * 0.28, half * 0.92, w * 0.15, "part", 1),
    ];
  }

  function coneDiameter() {
    const cx = 96;
    const cy = 104;
    const r = 88;
    const middle = r * 0.71;
    return sheet(
      340, 214, say("draw.cone"),
      front(cx, cy, r), circle(cx, cy, middle, "guide"),
      span(cx - middle, cy, cx + middle, cy),
      line(cx - middle, cy - 10, cx - middle, cy + 10, "measure"), line(cx + middle, cy - 10, cx + middle, cy + 10, "measure"),
      label(cx, 208, say("draw.from_the_front"), "middle", "faint"),
      section(264, 78, 138),
      line(264 - 44, 62, 264 - 44, 40, "measure"), line(264 + 44, 62, 264 + 44, 40, "measure"), span(264 - 44, 44, 264 + 44, 44),
      label(264, 34, say("draw.middle_to_middle"), "middle"),
      label(264, 160, say("draw.cut_open"), "middle", "faint"),
    );
  }

  // One mounting dimension, or none, drawn strongly.
  function mounting(which) {
    const cx = 84;
    const cy = 92;
    const r = 78;
    const sx = 254;
    const top = 40;
    const w = 150;
    const across = (radius, y) => [
      line(cx - radius, cy, cx - radius, y + 4, "guide"), line(cx + radius, cy, cx + radius, y + 4, "guide"), span(cx - radius, y, cx + radius, y),
    ];
    const marks = {
      flange: () => across(r, 190),
      cutout: () => [across(r * 0.8, 190), path(`M${sx - w * 0.4} ${top + 3}v-26M${sx + w * 0.4} ${top + 3}v-26`, "guide"), span(sx - w * 0.4, top - 18, sx + w * 0.4, top - 18)],
      screw_circle: () => [circle(cx, cy, r * 0.91, "guide"), span(cx - r * 0.91 * Math.SQRT1_2, cy - r * 0.91 * Math.SQRT1_2, cx + r * 0.91 * Math.SQRT1_2, cy + r * 0.91 * Math.SQRT1_2)],
      depth: () => [line(sx + 40, top + w * 0.43, sx + 84, top + w * 0.43, "guide"), line(sx + 60, top + 2, sx + 84, top + 2, "guide"), span(sx + 80, top + 2, sx + 80, top + w * 0.43)],
      magnet: () => [line(sx - w * 0.23, 106, sx - w * 0.23, 132, "guide"), line(sx + w * 0.23, 106, sx + w * 0.23, 132, "guide"), span(sx - w * 0.23, 126, sx + w * 0.23, 126)],
      screws: () => [0, 1, 2, 3].map((i) => circle(cx + r * 0.91 * Math.cos(Math.PI / 4 + (Math.PI * i) / 2), cy + r * 0.91 * Math.sin(Math.PI / 4 + (Math.PI * i) / 2), 9, "now")),
    };
    return sheet(
      340, 206, which === null ? say("draw.mounting") : say("draw.mounting_one", { what: say(`mounting.${which}`) }),
      front(cx, cy, r), section(sx, top, w), which === null ? null : marks[which](),
    );
  }

  function tap() {
    return sheet(
      340, 160, say("draw.tap"),
      front(120, 82, 74),
      // A finger.
      path("M322 8L168 70q-12 8-6 17t18 2L332 30", "part"),
      path("M152 68q-9 14 0 28M143 62q-13 20 0 40", "thin"),
    );
  }

  // Clamped by its frame, axis level, free all around.
  function clamped() {
    return sheet(
      340, 180, say("draw.clamped"),
      line(10, 164, 330, 164, "bold"),
      rect(150, 136, 48, 28), rect(157, 102, 10, 40), rect(180, 102, 10, 40),
      path("M178 34V110h-9V34z", "part"), path("M178 46L214 58V86L178 98", "part open"), rect(214, 54, 22, 36, "part", 1),
      path("M169 46L186 60V84L169 98", "thin"),
      arrow(150, 72, 40, 72), label(95, 62, say("draw.free_space"), "middle"),
      arrow(244, 72, 318, 72), label(284, 62, say("draw.free_space"), "middle"),
      label(246, 112, say("draw.axis_level"), "start", "faint"),
      label(142, 154, say("draw.clamp"), "end", "faint"),
    );
  }

  function remount() {
    return sheet(
      340, 120, say("draw.remount"),
      [60, 170, 280].map((x, i) => [
        rect(x - 22, 84, 44, 18), i === 1 ? front(x, 34, 28) : front(x, 56, 28),
        label(x, 117, say(`draw.remount_${i + 1}`), "middle", "faint"),
      ]),
      arrow(96, 60, 134, 46), arrow(206, 46, 244, 60),
    );
  }

  // Where a mass goes: in pairs, opposite each other, close to the dust cap.
  function mass() {
    const cx = 100;
    const cy = 92;
    const coin = (x, y) => [circle(x, y, 13, "clip"), circle(x, y, 9, "thin")];
    return sheet(
      340, 186, say("draw.mass"),
      front(cx, cy, 84), coin(cx - 36, cy), coin(cx + 36, cy), line(cx - 36, cy, cx + 36, cy, "guide"),
      section(262, 70, 140), ellipse(236, 92, 10, 3, "clip"), ellipse(288, 92, 10, 3, "clip"),
      label(262, 154, say("draw.opposite"), "middle", "faint"), label(262, 171, say("draw.with_putty"), "middle", "faint"),
    );
  }

  // Upside down on the box: the magnet outside, the cone facing in.
  function testBox() {
    return sheet(
      340, 190, say("draw.box"),
      path("M100 84v92h140V84", "bold"), path("M106 84v86h128V84", "thin"),
      line(84, 84, 118, 84, "bold"), line(222, 84, 256, 84, "bold"),
      path("M104 76h12M224 76h12", "guide"),
      path("M118 74L148 48h44L222 74z", "part open"), rect(146, 24, 48, 24, "part", 1), path("M120 74L156 52h28L220 74", "wire"),
      label(170, 132, say("draw.air_inside"), "middle"),
      label(264, 88, say("draw.gasket"), "start", "faint"), label(204, 36, say("draw.magnet_outside"), "start", "faint"),
    );
  }

  const photo = {
    wiring: () => ornament(150, 92, rect(20, 10, 110, 72, "part", 5), path("M36 60h20v-24h30v24h26", "wire"), rect(58, 30, 26, 12), circle(112, 60, 5, "dot")),
    label: () => ornament(150, 92, circle(75, 46, 40), circle(75, 46, 26, "thin"), rect(58, 36, 34, 20, "thin"), line(63, 43, 87, 43, "thin"), line(63, 49, 80, 49, "thin")),
    ruler: () => ornament(
      150, 92, front(75, 46, 42), rect(28, 40, 94, 14, "clip"),
      [36, 46, 56, 66, 76, 86, 96, 106, 116].map((x, i) => line(x, 40, x, i % 2 === 0 ? 47 : 44, "thin")),
    ),
  };

  return { coneDiameter, mounting, tap, clamped, remount, mass, testBox, photo };
})();
