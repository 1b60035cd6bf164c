"use strict";

// Pieces that questions are made of.
const widgets = (() => {
  // One of several, each with a drawing or none: [{value, label, hint, drawing}].
  function choices({ legend, name, options, value, onchange }) {
    const group = dom.freshId(name);
    return element("fieldset", { class: "choices" },
      element("legend", {}, legend),
      options.map((option) => {
        const input = element("input", { type: "radio", name: group, value: option.value, onchange: () => onchange(option.value) });
        input.checked = option.value === value;
        return element("label", { class: "choice" },
          input,
          option.drawing ?? null,
          element("span", {}, element("strong", {}, option.label), option.hint ? element("small", {}, option.hint) : null));
      }));
  }

  function tick({ label, value, onchange }) {
    const input = element("input", { type: "checkbox", onchange: () => onchange(input.checked) });
    input.checked = Boolean(value);
    return element("label", { class: "choice plain" }, input, element("span", {}, label));
  }

  function button(label, onclick, kind = null) {
    return element("button", { type: "button", class: kind, onclick }, label);
  }

  function panel(kind, ...children) {
    return element("div", { class: `panel ${kind ?? ""}` }, children);
  }

  function figure(drawing, caption = null) {
    return element("figure", {}, drawing, caption === null ? null : element("figcaption", {}, caption));
  }

  function findings(list) {
    if (list.length === 0) return null;
    return element("ul", { class: "findings" }, list.map((finding) =>
      element("li", { class: finding.severity },
        element("span", { class: "severity" }, say(`severity.${finding.severity}`)),
        finding.message,
        element("span", { class: "advice" }, finding.advice))));
  }

  // [{ok: true|false|null, message, advice}]; null is still open.
  function checks(list) {
    const word = (ok) => (ok === null ? say("check.open") : ok ? say("check.good") : say("check.bad"));
    return element("ul", { class: "checks" }, list.map((check) =>
      element("li", {},
        element("span", { class: `state ${check.ok === true ? "right" : check.ok === false ? "wrong" : ""}` }, word(check.ok)),
        element("span", {}, check.message),
        check.advice && check.ok === false ? element("span", { class: "advice" }, check.advice) : null)));
  }

  // The line for the chat, with a button that copies it.
  function chatLine(text) {
    const copied = element("span", { role: "status" });
    const copy = async () => {
      try {
        await navigator.clipboard.writeText(text);
        copied.textContent = say("chat.copied");
      } catch {
        // Some browsers let no page write to the clipboard: the text is selected, so that the keyboard can copy it.
        getSelection().selectAllChildren(code);
        copied.textContent = say("chat.selected");
      }
    };
    const code = element("code", {}, text);
    return element("div", { class: "chat-part" },
      element("p", {}, say("chat.what")),
      element("div", { class: "chat" }, code, button(say("chat.copy"), copy), copied));
  }

  function problem(error) {
    return panel("redo", element("p", { role: "alert" }, error.message ?? String(error)));
  }

  // Saves bytes as a file of the visitor's.
  function saveFile(name, bytes, type) {
    const address = URL.createObjectURL(new Blob([bytes], { type }));
    const link = element("a", { href: address, download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
  }

  // Takes files by choosing and by dropping.
  function fileDrop({ label, hint, accept, multiple = false, onfiles }) {
    const input = element("input", { type: "file", accept, class: "spoken", tabindex: "-1", "aria-hidden": "true" });
    input.multiple = multiple;
    input.addEventListener("change", () => {
      const files = [...input.files];
      input.value = "";
      if (files.length > 0) onfiles(files);
    });
    const zone = element("div", { class: "drop" },
      hint ? element("p", {}, hint) : null,
      button(label, () => input.click()), input);
    const over = (is) => (event) => {
      event.preventDefault();
      zone.classList.toggle("over", is);
    };
    zone.addEventListener("dragover", over(true));
    zone.addEventListener("dragleave", over(false));
    zone.addEventListener("drop", (event) => {
      over(false)(event);
      const files = [...event.dataTransfer.files];
      if (files.length > 0) onfiles(files);
    });
    return zone;
  }

  return { choices, tick, button, panel, figure, findings, checks, chatLine, problem, saveFile, fileDrop };
})();
