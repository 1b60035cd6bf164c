"use strict";

// The box that stands there while something sounds: what, how far, and a way to stop at once.
const sounding = (() => {
  let controller = null;

  function isOn() {
    return controller !== null;
  }

  function stop() {
    controller?.abort();
  }

  // Runs `work({signal, onprogress, note})` inside a box in `place`. `big` shows orders in large letters. Resolves to what it returns, or
  // null when it was stopped; what went wrong is shown in the place.
  async function run(place, what, work, { big = null } = {}) {
    if (controller !== null) return null;
    controller = new AbortController();
    const pressed = document.activeElement;
    const bar = element("progress", { max: "1", value: "0", "aria-label": what });
    const words = element("p", { role: "status" }, what);
    const order = big ? element("p", { class: "order", role: "status" }) : null;
    const countdown = big ? element("p", { class: "countdown", "aria-hidden": "true" }) : null;
    const lines = element("ul", {});
    const stopButton = widgets.button(say("take.stop"), stop, "main");
    dom.replace(place, element("div", { class: "sounding" }, words, order, countdown, bar, lines, element("div", { class: "row" }, stopButton, element("span", {}, say("take.stop_key")))));
    stopButton.focus();
    let ordered = null;
    const onprogress = ({ elapsed_s, total_s }) => {
      bar.value = Math.max(0, Math.min(1, elapsed_s / total_s));
      if (!big) return;
      const { id, text, left_s } = big(elapsed_s);
      countdown.textContent = String(left_s);
      if (ordered !== id) {
        ordered = id;
        order.textContent = text;
      }
    };
    const note = (text) => {
      lines.append(element("li", {}, text));
    };
    const now = (text) => {
      words.textContent = text;
      bar.value = 0;
      dom.replace(lines);
    };
    try {
      const result = await work({ signal: controller.signal, onprogress, note, now });
      dom.replace(place);
      return result ?? true;
    } catch (error) {
      if (error instanceof audio.Stopped) dom.replace(place, element("p", { role: "status" }, error.message));
      else {
        state.log(`trouble: ${error.message}`);
        dom.replace(place, widgets.problem(error));
      }
      return null;
    } finally {
      controller = null;
      // The stop button is gone, and the keyboard has to stay where it was.
      if (pressed?.isConnected) pressed.focus();
    }
  }

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") stop();
  });

  return { run, stop, isOn };
})();
