"use strict";

// The jig: output, sense resistor, what is measured, ground node, and where the inputs' clips go.
const drawWiring = (() => {
  const { sheet, line, path, circle, rect, label, ground, clip, arrow } = pen;
  const TOP = 66;
  const BOTTOM = 196;
  const SOURCE_X = 104;
  const DRIVER_X = 214;

  function box(x, y, width, height, words) {
    return [rect(x, y, width, height), words.map((word, i) => label(x + width / 2, y + 17 + 15 * i, word, "middle"))];
  }

  function output() {
    return [
      box(4, 46, 70, 62, [say("draw.output"), say("draw.left"), say("draw.playing")]),
      line(74, TOP, SOURCE_X, TOP),
      path(`M38 108V${BOTTOM}H${DRIVER_X}`),
    ];
  }

  function sense(ohm) {
    return [
      line(SOURCE_X, TOP, 124, TOP),
      rect(124, TOP - 9, 62, 18),
      label(155, TOP + 5, say("draw.ohm", { ohm }), "middle"),
      label(155, TOP + 26, say("draw.sense"), "middle", "faint"),
      line(186, TOP, DRIVER_X, TOP),
    ];
  }

  // A driver seen from its side: magnet, cone, terminals.
  function driver(x, y) {
    return [
      rect(x - 12, y - 14, 12, 28, "part", 1),
      path(`M${x} ${y - 9}L${x + 16} ${y - 25}V${y + 25}L${x} ${y + 9}Z`, "part"),
      label(x - 16, y - 18, "+", "end", "strong"),
      label(x - 16, y + 28, "−", "end", "strong"),
    ];
  }

  const measured = {
    driver: () => [
      line(DRIVER_X, TOP, DRIVER_X, 116), driver(DRIVER_X + 6, 130), line(DRIVER_X, 144, DRIVER_X, BOTTOM),
      label(DRIVER_X - 20, 134, say("draw.driver"), "end"),
    ],
    resistor: ({ ohm }) => [
      line(DRIVER_X, TOP, DRIVER_X, 104), rect(DRIVER_X - 9, 104, 18, 52), line(DRIVER_X, 156, DRIVER_X, BOTTOM),
      circle(DRIVER_X, 130, 34, "now"),
      label(DRIVER_X - 40, 126, say("draw.known"), "end"),
      label(DRIVER_X - 40, 141, ohm === null ? say("draw.resistor") : say("draw.ohm", { ohm }), "end"),
    ],
    short: () => [
      line(DRIVER_X, TOP, DRIVER_X, BOTTOM), circle(DRIVER_X, 130, 16, "now"),
      path(`M${DRIVER_X - 5} 122l10 8-10 8`, "part"),
      label(DRIVER_X - 22, 126, say("draw.leads"), "end"), label(DRIVER_X - 22, 141, say("draw.together"), "end"),
    ],
    open: () => [
      line(DRIVER_X, TOP, DRIVER_X, 112), line(DRIVER_X, 148, DRIVER_X, BOTTOM), circle(DRIVER_X, 130, 26, "now"),
      label(DRIVER_X - 32, 126, say("draw.leads"), "end"), label(DRIVER_X - 32, 141, say("draw.apart"), "end"),
    ],
  };

  function inputs(atSource) {
    const [firstX, secondX] = atSource ? [SOURCE_X - 14, SOURCE_X + 8] : [SOURCE_X, DRIVER_X];
    return [
      box(262, 12, 74, 96, [say("draw.inputs")]),
      label(330, 51, "1", "end", "strong"), label(330, 93, "2", "end", "strong"),
      label(268, 51, say("draw.source"), "start"), label(268, 93, say("draw.driver_side"), "start"),
      path(`M${firstX} ${TOP - 10}V22H250V46H262`),
      atSource ? path(`M${secondX} ${TOP - 10}V36H240V88H262`) : path(`M${DRIVER_X} ${TOP}H238V88H262`),
      path(`M299 108V${BOTTOM}H${DRIVER_X}`),
      label(293, 146, say("draw.input"), "end", "faint"), label(293, 161, say("draw.grounds"), "end", "faint"),
      clip(firstX, TOP - 10, "1"),
      atSource ? clip(secondX, TOP - 10, "2", true) : clip(secondX, TOP, "2"),
      ground(DRIVER_X, BOTTOM),
    ];
  }

  function oneInput(where) {
    const atSource = where !== "driver";
    return [
      box(262, 40, 74, 44, [say("draw.the_input"), say("draw.one_channel")]),
      atSource ? path(`M${SOURCE_X} ${TOP - 10}V24H250V62H262`) : path(`M${DRIVER_X} ${TOP}H262`),
      path(`M299 84V${BOTTOM}H${DRIVER_X}`),
      label(293, 146, say("draw.input"), "end", "faint"), label(293, 161, say("draw.grounds"), "end", "faint"),
      atSource ? clip(SOURCE_X, TOP - 10, "1", true) : clip(DRIVER_X, TOP, "1", true),
      where === "back" ? arrow(DRIVER_X, TOP - 26, SOURCE_X + 22, TOP - 26) : null,
      ground(DRIVER_X, BOTTOM),
    ];
  }

  // part: driver, resistor, short, open; clip: "driver" or "source" (both on one node); one: null, "source",
  // "driver" or "back".
  function wiring({ ohm, part = "driver", known = null, clipAt = "driver", one = null }) {
    const both = clipAt === "source" ? "same_node" : part;
    return sheet(
      340, 222, say(one === null ? `draw.wiring_${both}` : `draw.wiring_one_${one}`, { ohm }),
      output(), sense(ohm), measured[part]({ ohm: known }),
      one === null ? inputs(clipAt === "source") : oneInput(one),
    );
  }

  // A meter on the driver's terminals, and its probes held together.
  function meter() {
    const dial = (x, words) => [
      rect(x, 18, 78, 84, "part", 6), rect(x + 10, 27, 58, 24, "thin"), circle(x + 39, 76, 15),
      line(x + 39, 76, x + 48, 66), label(x + 39, 44, words, "middle"),
    ];
    return sheet(
      340, 170, say("draw.meter"),
      dial(20, say("draw.probes")), path("M40 102C40 140 56 146 62 142M78 102c0 38-12 44-16 40", "wire"), circle(62, 142, 12, "now"),
      label(62, 165, say("draw.tips"), "middle", "faint"),
      dial(180, say("draw.with_driver")), path("M200 102C200 128 270 116 286 118M238 102C240 150 270 150 286 144"), driver(298, 131),
    );
  }

  return { wiring, meter, driver };
})();
