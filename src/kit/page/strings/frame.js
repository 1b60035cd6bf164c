"use strict";

// Around the questions, and words that all of them use.
const stringsFrame = {
  "frame.name": "Farcone: measuring kit",
  "frame.kit": "Kit {id}",
  "frame.drivers": "{n|one driver|# drivers}",
  "frame.skip": "Skip to the question",
  "frame.title": "{title} – Farcone kit",
  "frame.title_driver": "{title} – {label} – Farcone kit",
  "frame.back": "Back",
  "frame.on": "Go on",
  "frame.skip_question": "Leave this out",
  "frame.sounding": "Something is sounding. Stop it first, or let it end.",
  "frame.version": "Measuring core {version}, kit {id}.",
  "frame.tested": "Tested on: {tested}",
  "frame.nothing_leaves": "This page sends nothing anywhere. What you record stays in this browser until you save the bundle.",

  "progress.label": "All questions",
  "progress.where": "Question {n} of {all}",
  "progress.setup": "Bench",
  "progress.end": "End",
  "progress.done": "done",
  "progress.here": "you are here",
  "progress.open": "still open",

  "severity.note": "Note",
  "severity.caution": "Caution",
  "severity.redo": "Do again",

  "check.open": "waiting",
  "check.good": "good",
  "check.bad": "not good",

  "chat.what": "For the chat: paste this line to whoever sent you the page.",
  "chat.copy": "Copy the line",
  "chat.copied": "Copied.",
  "chat.selected": "Selected: copy it with your keyboard.",

  "quantity.unit": "Unit of: {label}",
  "quantity.spread": "give or take",
  "quantity.spread_of": "Give or take, for: {label}",
  "quantity.that_is": "Understood: {shown}",
  "quantity.mend": "One entry above is not understood yet. What to type stands beside it.",

  "plot.title": "Impedance against frequency: {names}. The numbers are in the table below.",
  "plot.hertz": "frequency, Hz",
  "plot.key": "Impedance in ohm. Thin line: measured. Thick dashes: the circuit that fits. {key}.",
  "plot.as_table": "The curve as a table",
  "plot.f": "Hz",
  "plot.measured": "measured, Ω",
  "plot.modelled": "circuit, Ω",

  "class.small": "small driver",
  "class.woofer": "woofer",
  "class.tweeter": "tweeter",

  "error.kit_format": "This page was made in the format {found}, but it reads {wanted}. Ask for a new page.",
  "error.not_kept": "The browser could not keep this. Is the disk full? Make room and try again. {why}",
  "error.file_gone": "The recording {path} is no longer in this browser. Make that take again.",
  "error.core": "The measuring core did not start ({why}). Open the page in a current Firefox or Chromium.",
  "error.worklet": "This browser does not let the page record ({why}). Open it in a current Firefox or Chromium, or record by hand.",
  "error.input_gone": "The input was closed. Go back to the browser check and start it again.",
  "error.other_input": "The input is now “{now}”, but the one that was checked is “{was}”. Choose that one, or go back to the input check and check this one.",
  "error.interrupted": "The browser interrupted the sound, perhaps because of a call or because the computer slept. Make the take again.",
  "error.input_dead": "The input stopped delivering sound. Check its cable, and start the browser check again.",
  "error.muted": "The input was muted while it recorded. Look for a mute button on the keyboard, the headset or the system, then make the take again.",
  "error.unplugged": "The input was unplugged while it recorded. Plug it in and start the browser check again.",
};
