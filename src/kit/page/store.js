"use strict";

// Where everything is kept so that a reload or a crash loses nothing: one database a kit, with the page's state and the files.
const store = (() => {
  let database = null;
  let memory = null;

  function asked(request) {
    return new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  }

  // Resolves to false where the browser keeps nothing (some private windows); all is then held in memory only.
  async function open(kitId) {
    try {
      const request = indexedDB.open(`farcone-kit-${kitId}`, 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("state");
        request.result.createObjectStore("files");
      };
      database = await asked(request);
      return true;
    } catch {
      memory = { state: new Map(), files: new Map() };
      return false;
    }
  }

  async function write(room, changes) {
    if (memory !== null) {
      for (const [key, value] of changes) memory[room].set(key, value);
      return;
    }
    const transaction = database.transaction(room, "readwrite", { durability: "strict" });
    for (const [key, value] of changes) transaction.objectStore(room).put(value, key);
    await new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(new Error(say("error.not_kept", { why: transaction.error?.message ?? "" })));
    });
  }

  async function read(room, key) {
    if (memory !== null) return memory[room].get(key);
    return asked(database.transaction(room).objectStore(room).get(key));
  }

  async function clear() {
    if (memory !== null) {
      memory.state.clear();
      memory.files.clear();
      return;
    }
    const transaction = database.transaction(["state", "files"], "readwrite");
    transaction.objectStore("state").clear();
    transaction.objectStore("files").clear();
    await new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error);
    });
  }

  const fileKey = (driver, path) => `${driver}/${path}`;

  return {
    open,
    clear,
    loadState: () => read("state", "state"),
    saveState: (state) => write("state", [["state", structuredClone(state)]]),
    saveFile: (driver, path, bytes) => write("files", [[fileKey(driver, path), bytes]]),
    loadFile: (driver, path) => read("files", fileKey(driver, path)),
  };
})();

// Two tabs with one kit would write over each other's answers.
const onlyTab = (() => {
  async function hold(kitId) {
    if (!navigator.locks) return true;
    try {
      return await new Promise((resolve, reject) => {
        navigator.locks
          .request(`farcone-kit-${kitId}`, { ifAvailable: true }, (lock) => {
            resolve(lock !== null);
            // Held as long as the page lives.
            return lock === null ? undefined : new Promise(() => {});
          })
          .catch(reject);
      });
    } catch {
      return true;
    }
  }

  return { hold };
})();
