"use strict";

// The measuring core: unpacked from the page, and asked one question at a time.
const core = (() => {
  let ready = null;

  async function unpack() {
    if (document.readyState === "loading") {
      await new Promise((resolve) => document.addEventListener("DOMContentLoaded", resolve, { once: true }));
    }
    const packed = Uint8Array.from(atob(document.getElementById("core").textContent.trim()), (letter) => letter.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
    const bytes = await new Response(stream).arrayBuffer();
    const module = await WebAssembly.compile(bytes);
    const instance = await WebAssembly.instantiate(module, refusing(WebAssembly.Module.imports(module)));
    return instance.exports;
  }

  // What the core's ZIP library would want for encryption, which nothing here uses.
  function refusing(wanted) {
    const imports = {};
    for (const { module: from, name } of wanted) {
      imports[from] ??= {};
      imports[from][name] = () => { throw new Error(`the core asked for ${name}`); };
    }
    return imports;
  }

  function load() {
    ready ??= unpack();
    return ready;
  }

  // A request and an answer are framed alike: length of the JSON (four bytes, little endian), the JSON, and behind it the blobs, whose
  // lengths stand in the JSON's "blobs".
  function frame(head, blobs) {
    const json = new TextEncoder().encode(JSON.stringify({ ...head, blobs: blobs.map((blob) => blob.byteLength) }));
    const all = new Uint8Array(4 + json.length + blobs.reduce((sum, blob) => sum + blob.byteLength, 0));
    new DataView(all.buffer).setUint32(0, json.length, true);
    all.set(json, 4);
    let at = 4 + json.length;
    for (const blob of blobs) {
      all.set(asBytes(blob), at);
      at += blob.byteLength;
    }
    return all;
  }

  function asBytes(blob) {
    return blob instanceof Uint8Array ? blob : new Uint8Array(blob.buffer, blob.byteOffset, blob.byteLength);
  }

  function unframe(all) {
    const nJson = new DataView(all.buffer, all.byteOffset).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(all.subarray(4, 4 + nJson)));
    let at = 4 + nJson;
    const blobs = (head.blobs ?? []).map((n) => {
      const blob = all.slice(at, at + n);
      at += n;
      return blob;
    });
    return { head, blobs };
  }

  // The library's errors are written as parts of longer lines; here each stands by itself.
  const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?…]$/.test(text) ? "" : ".");

  async function call(op, args = {}, blobs = []) {
    const exports = await load();
    const request = frame({ op, args }, blobs);
    const into = exports.farcone_room(request.length);
    // Memory may have grown meanwhile, so its buffer is asked for anew each time.
    new Uint8Array(exports.memory.buffer, into, request.length).set(request);
    const at = exports.farcone_answer();
    const { head, blobs: answered } = unframe(new Uint8Array(exports.memory.buffer, at, exports.farcone_length()));
    if (head.error !== undefined) throw new Error(sentence(head.error));
    return { ...head.result, blobs: answered };
  }

  return { load, call, frame, unframe, sentence };
})();
