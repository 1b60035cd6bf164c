"use strict";

// What sockets look like, by shape. These stand inside labels that say the same in words.
const drawSockets = (() => {
  const { ornament, line, path, circle, rect, label } = pen;
  const WIDTH = 150;
  const HEIGHT = 92;

  // A socket that takes a thick plug and a three-pin one alike.
  function wideSocket(x, y) {
    return [
      circle(x, y, 17),
      circle(x, y, 6, "hole"),
      circle(x - 10, y - 5, 2, "hole"),
      circle(x + 10, y - 5, 2, "hole"),
      circle(x, y + 11, 2, "hole"),
    ];
  }

  function twoInputs() {
    return ornament(
      WIDTH, HEIGHT,
      rect(6, 14, 138, 62, "part", 6),
      wideSocket(34, 46), wideSocket(76, 46),
      circle(114, 34, 8), line(114, 34, 119, 28), circle(114, 58, 8), line(114, 58, 109, 52),
      label(34, 26, "1", "middle"), label(76, 26, "2", "middle"),
      path("M144 45h6", "wire"),
    );
  }

  function smallHole(x, y) {
    return [circle(x, y, 9), circle(x, y, 4, "hole")];
  }

  function lineIn() {
    return ornament(
      WIDTH, HEIGHT,
      rect(40, 6, 40, 80, "part", 3),
      smallHole(60, 22), smallHole(60, 46), smallHole(60, 70),
      // Waves with an arrow into them: line in; out of them: line out; a microphone.
      path("M92 14a10 10 0 0 1 0 16M97 10a16 16 0 0 1 0 24", "thin"), path("M124 22h-14m5-5l-5 5 5 5", "thin"),
      path("M92 38a10 10 0 0 1 0 16M97 34a16 16 0 0 1 0 24", "thin"), path("M108 46h14m-5-5l5 5-5 5", "thin"),
      rect(92, 60, 8, 13, "thin", 4), path("M89 68a7 7 0 0 0 14 0M96 75v7", "thin"),
      circle(60, 22, 13, "now"),
    );
  }

  function headset() {
    return ornament(
      WIDTH, HEIGHT,
      path("M6 70h84v-40H6", "part"), smallHole(70, 50),
      path("M28 58v-8a12 12 0 0 1 24 0v8", "thin"), rect(25, 54, 6, 10, "thin", 2), rect(49, 54, 6, 10, "thin", 2), path("M30 64q4 6 10 3", "thin"),
      // The plug that fits has four contacts.
      path("M98 50l5-3h37v6h-37z", "part"), line(106, 47, 106, 53), line(115, 47, 115, 53), line(124, 47, 124, 53),
    );
  }

  function microphone() {
    return ornament(
      WIDTH, HEIGHT,
      path("M6 70h84v-40H6", "part"), smallHole(70, 50),
      rect(32, 36, 10, 17, "thin", 5), path("M28 47a9 9 0 0 0 18 0M37 56v7", "thin"),
      path("M98 50l5-3h37v6h-37z", "part"), line(106, 47, 106, 53), line(118, 47, 118, 53),
    );
  }

  function recorder() {
    return ornament(
      WIDTH, HEIGHT,
      rect(50, 22, 48, 66, "part", 5), rect(57, 44, 34, 18, "thin", 2),
      path("M62 22l-9-14M86 22l9-14", "part"), circle(53, 8, 5), circle(95, 8, 5),
      circle(66, 74, 4), circle(82, 74, 4),
      smallHole(50, 52), path("M20 52h16m-5-5l5 5-5 5", "thin"),
    );
  }

  function unsure() {
    return ornament(WIDTH, HEIGHT, circle(75, 46, 30), label(75, 57, "?", "middle", "large"));
  }

  return { "two-inputs": twoInputs, "line-in": lineIn, headset, microphone, recorder, unsure };
})();
