"use strict";

// The one table of what the page says. A translation replaces the parts below, entry by entry.
const strings = (() => {
  const table = Object.freeze({
    ...stringsFrame,
    ...stringsSetup,
    ...stringsReadings,
    ...stringsTakes,
    ...stringsResult,
    ...stringsDrawings,
  });

  // `{name}` is replaced by a value; `{n|one take|# takes}` chooses by number, with # standing for it.
  function fill(template, values) {
    return template.replace(/\{(\w+)(?:\|([^|}]*)\|([^}]*))?\}/g, (whole, name, one, many) => {
      const value = values[name];
      if (value === undefined || value === null) {
        throw new Error(`the text "${template}" lacks its value "${name}"`);
      }
      if (one === undefined) return String(value);
      return (value === 1 ? one : many).replace(/#/g, String(value));
    });
  }

  function entry(key) {
    const found = table[key];
    if (found === undefined) throw new Error(`no text is named "${key}"`);
    return found;
  }

  function say(key, values = {}) {
    const found = entry(key);
    if (Array.isArray(found)) throw new Error(`the text "${key}" is a list`);
    return fill(found, values);
  }

  function sayAll(key, values = {}) {
    const found = entry(key);
    if (!Array.isArray(found)) throw new Error(`the text "${key}" is no list`);
    return found.map((template) => fill(template, values));
  }

  function has(key) {
    return table[key] !== undefined;
  }

  return { table, fill, say, sayAll, has };
})();

const { say, sayAll } = strings;
