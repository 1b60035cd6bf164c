"use strict";

// Where questions are found by name. A question has `render(context)`, giving its elements, and `missing(context)`, giving null when all is
// there or a sentence that says what is not. Where something has to be made first, `ready(context)` tells whether it was.
const questions = (() => {
  const known = {};

  function add(id, question) {
    known[id] = { missing: () => null, ...question };
  }

  function of(id) {
    return known[id];
  }

  return { add, of, known };
})();
