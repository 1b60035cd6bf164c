"use strict";

// Elements from names, attributes and children. Text is only ever set as text, so nothing that was typed becomes markup.
const dom = (() => {
  function append(parent, children) {
    for (const child of children.flat(Infinity)) {
      if (child === null || child === undefined || child === false) continue;
      parent.append(child);
    }
    return parent;
  }

  function element(name, attributes = {}, ...children) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
      if (value === null || value === undefined || value === false) continue;
      if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
      else if (value === true) made.setAttribute(key, "");
      else made.setAttribute(key, String(value));
    }
    return append(made, children);
  }

  function replace(parent, ...children) {
    parent.replaceChildren();
    return append(parent, children);
  }

  let counter = 0;
  // Labels and hints are tied to their fields by ids, which have to be unique in the page.
  function freshId(stem) {
    counter += 1;
    return `${stem}-${counter}`;
  }

  function paragraphs(texts, attributes = {}) {
    return texts.map((text) => element("p", attributes, text));
  }

  function list(texts, attributes = {}) {
    return element("ul", attributes, texts.map((text) => element("li", {}, text)));
  }

  function numbered(texts, attributes = {}) {
    return element("ol", { class: "todo", ...attributes }, texts.map((text) => element("li", {}, text)));
  }

  return { element, replace, append, freshId, paragraphs, list, numbered };
})();

const { element } = dom;
