"use strict";

// Line drawings as SVG. Everything is told by shape, number and word; colour only repeats it.
const pen = (() => {
  const NAMESPACE = "http://www.w3.org/2000/svg";

  function shape(name, attributes = {}, ...children) {
    const made = document.createElementNS(NAMESPACE, name);
    for (const [key, value] of Object.entries(attributes)) {
      if (value !== null && value !== undefined) made.setAttribute(key, String(value));
    }
    made.append(...children.flat(Infinity).filter(Boolean));
    return made;
  }

  function sheet(width, height, title, ...children) {
    return shape(
      "svg",
      { viewBox: `0 0 ${width} ${height}`, class: "drawing", role: "img", "aria-label": title, focusable: "false" },
      children,
    );
  }

  // A drawing inside a label that says the same in words.
  function ornament(width, height, ...children) {
    return shape("svg", { viewBox: `0 0 ${width} ${height}`, class: "ornament", "aria-hidden": "true", focusable: "false" }, children);
  }

  const line = (x1, y1, x2, y2, kind = "wire") => shape("line", { x1, y1, x2, y2, class: kind });
  const path = (d, kind = "wire") => shape("path", { d, class: kind });
  const circle = (cx, cy, r, kind = "part") => shape("circle", { cx, cy, r, class: kind });
  const rect = (x, y, width, height, kind = "part", rx = 3) => shape("rect", { x, y, width, height, rx, class: kind });
  const ellipse = (cx, cy, rx, ry, kind = "part") => shape("ellipse", { cx, cy, rx, ry, class: kind });

  function label(x, y, text, anchor = "start", kind = "word") {
    return shape("text", { x, y, "text-anchor": anchor, class: kind }, document.createTextNode(text));
  }

  // The node that all grounds meet at: a filled dot and the word.
  function ground(x, y, side = "below") {
    const word = say("draw.ground");
    const text = side === "below" ? label(x, y + 20, word, "middle", "strong") : label(x + 12, y + 5, word, "start", "strong");
    return [circle(x, y, 6.5, "dot"), text];
  }

  // A measuring clip with the number of its input.
  function clip(x, y, number, isMoved = false) {
    return [
      isMoved ? circle(x, y, 17, "now") : null,
      circle(x, y, 9.5, "clip"),
      label(x, y + 4.5, number, "middle", "strong"),
    ];
  }

  function head(x, y, angle) {
    const at = (turn, length) => [x + length * Math.cos(angle + turn), y + length * Math.sin(angle + turn)];
    const [ax, ay] = at(Math.PI - 0.42, 8);
    const [bx, by] = at(Math.PI + 0.42, 8);
    return path(`M${ax.toFixed(1)} ${ay.toFixed(1)}L${x} ${y}L${bx.toFixed(1)} ${by.toFixed(1)}`, "head");
  }

  function arrow(x1, y1, x2, y2, kind = "measure") {
    return [line(x1, y1, x2, y2, kind), head(x2, y2, Math.atan2(y2 - y1, x2 - x1))];
  }

  // A dimension: arrows at both ends.
  function span(x1, y1, x2, y2) {
    const angle = Math.atan2(y2 - y1, x2 - x1);
    return [line(x1, y1, x2, y2, "measure"), head(x2, y2, angle), head(x1, y1, angle + Math.PI)];
  }

  return { shape, sheet, ornament, line, path, circle, rect, ellipse, label, ground, clip, arrow, span };
})();
