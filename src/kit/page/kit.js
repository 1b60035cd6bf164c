"use strict";

// What the designer asked for, as the page was made with it.
const kit = (() => {
  const FORMAT = "farcone-kit/1";

  function read(text) {
    const found = JSON.parse(text);
    if (found.schema !== FORMAT) throw new Error(say("error.kit_format", { found: String(found.schema), wanted: FORMAT }));
    return Object.freeze(found);
  }

  function wantsMass(settings) {
    return settings.method !== "test-box";
  }

  function wantsBox(settings) {
    return settings.method === "test-box" || settings.method === "both";
  }

  function tweeters(settings) {
    return settings.drivers.filter((driver) => driver.class === "tweeter").length;
  }

  return { read, wantsMass, wantsBox, tweeters };
})();
