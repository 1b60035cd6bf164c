"use strict";

// Photos are drawn anew and saved as plain JPEG: so large ones become small, and what a camera wrote beside the picture (where and when
// it was taken) is gone.
const photos = (() => {
  // Three of them, some 350 kB each, go through mail with four takes of one input.
  const LONGEST_PX = 1280;
  const QUALITY = 0.82;

  async function reencode(file) {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const brush = canvas.getContext("2d");
    // JPEG knows no transparency.
    brush.fillStyle = "#fff";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
    if (blob === null) throw new Error(say("photos.unreadable"));
    return new Uint8Array(await blob.arrayBuffer());
  }

  async function sha256(bytes) {
    const digest = await crypto.subtle.digest("SHA-256", bytes);
    return Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  // Puts a photo into its slot: `of` is what it shows.
  async function keep(d, of, file) {
    let bytes;
    try {
      bytes = await reencode(file);
    } catch {
      throw new Error(say("photos.unreadable"));
    }
    const driver = state.driver(d);
    driver.counts[`photo-${of}`] = (driver.counts[`photo-${of}`] ?? 0) + 1;
    const path = `photos/${of}-${driver.counts[`photo-${of}`]}.jpg`;
    await store.saveFile(d, path, bytes);
    driver.photos = [...driver.photos.filter((photo) => photo.of !== of), { of, file: path, sha256: await sha256(bytes) }];
    state.outdate(d);
    await state.save();
    return bytes;
  }

  async function drop(d, of) {
    const driver = state.driver(d);
    driver.photos = driver.photos.filter((photo) => photo.of !== of);
    state.outdate(d);
    await state.save();
  }

  return { keep, drop };
})();
