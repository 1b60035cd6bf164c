"use strict";

// Photos, the result and the bundle.
const stringsResult = {
  "photos.title": "Three photos",
  "photos.short": "Photos",
  "photos.on": "Go on",
  "photos.why": "They help to find what numbers do not tell. Each is made smaller and saved anew, so that the place and time it was taken are gone.",
  "photos.wiring": "The wiring",
  "photos.wiring_hint": "Driver, resistor and all clips in one picture.",
  "photos.label": "The label",
  "photos.label_hint": "Whatever is printed on the magnet or the frame.",
  "photos.ruler": "A ruler across the cone",
  "photos.ruler_hint": "From straight above, so that the marks can be read.",
  "photos.choose": "Choose a photo: {what}",
  "photos.remove": "Remove it",
  "photos.alt": "Your photo: {what}",
  "photos.size": "Kept, {kilobytes} kB.",
  "photos.unreadable": "This browser cannot read that picture. Save it as JPEG or PNG and try again.",

  "result.title": "The result",
  "result.short": "Result and bundle",
  "result.on": "Done with this driver: go on",
  "result.working": "Working it out …",
  "result.good": "All good",
  "result.good_then": "Once the bundle is saved, you can take it apart.",
  "result.usable": "It can be used",
  "result.usable_then": "Read what was noticed. What is easily mended is best mended now. Then save the bundle, and you can take it apart.",
  "result.redo": "Not yet: something has to be done again",
  "result.redo_then": "Leave it wired, and go back to what is named below.",
  "result.back_to": "Go back to: {title}",
  "result.notes": "{n|One note|# notes} for whoever reads it",
  "result.save_first": "Save the bundle first: it is what you send back.",

  "bundle.title": "Save the bundle",
  "bundle.what": "One file with all recordings, photos and answers of this driver. Send it back as an attachment or by any file service, unchanged.",
  "bundle.save": "Save the bundle of {label}",
  "bundle.working": "Packing …",
  "bundle.saved": "Saved as {name}, {megabytes} MB. Look in your downloads.",
  "bundle.large": "It is larger than 20 MB, which some mail does not take. Use a file service.",

  "end.title": "Done. Thank you!",
  "end.short": "Done",
  "end.what": [
    "Send the saved files to whoever sent you this page. If one got lost, save it again below.",
    "Leave the wiring as it is until they answer, if you can.",
  ],
  "end.keep": "Everything stays in this browser until you clear its data or begin again on the first page.",
};
