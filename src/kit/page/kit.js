"use strict";

// What the designer asked for, as the page was made with it.
const kit = (() => {
  const FORMAT = "farcone-kit/1";

  function read(text) {
    const found = JSON.parse(text);
    if (found.schema !== FORMAT) throw new Error(say("error.kit_format", { found: String(found.schema), wanted: FORMAT }));
    return Object.freeze(found);
  }

  // Nothing can be put on a tweeter's dome, and its box is closed already.
  const takesLoads = (settings, d) => settings.drivers[d].class !== "tweeter";

  function wantsMass(settings, d) {
    return settings.method !== "test-box" && takesLoads(settings, d);
  }

  function wantsBox(settings, d) {
    return settings.method !== "added-mass" && takesLoads(settings, d);
  }

  // Whether any driver does.
  const some = (settings, wants) => settings.drivers.some((_, d) => wants(settings, d));

  function tweeters(settings) {
    return settings.drivers.filter((driver) => driver.class === "tweeter").length;
  }

  // A file name that every system takes, and that tells whose kit and which driver it is.
  const LONGEST_NAME = 40;
  function bundleName(settings, d) {
    const plain = settings.drivers[d].label.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "");
    return [settings.id, d + 1, plain.slice(0, LONGEST_NAME)].filter((part) => part !== "").join("-") + ".zip";
  }

  return { read, bundleName, wantsMass, wantsBox, some, tweeters };
})();
