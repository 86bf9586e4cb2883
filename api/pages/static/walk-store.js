// What is kept on the device: lists, walks, answers and photos. Nothing is given up before the server has it.
// Photos are kept as ArrayBuffer, as some browsers lose a Blob in IndexedDB.

const KEPT = 14 * 24 * 3600 * 1000; // ms that a walk which the server has stays in the list

const opened = open();
opened.catch(() => {}); // who asks for something is told

function open() {
  const asked = indexedDB.open("setup-audit-walks", 1);
  asked.onupgradeneeded = () => {
    const base = asked.result;
    base.createObjectStore("lists");
    base.createObjectStore("walks", { keyPath: "id" });
    base.createObjectStore("answers", { keyPath: ["walk", "name"] });
    base.createObjectStore("photos", { keyPath: "id" }).createIndex("walk", "walk");
  };
  return answerOf(asked);
}

/** What a request of the database came to. */
function answerOf(request) {
  return new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
}

/** Does something within a transaction on some stores; what it changed is on the disk once this is done, or none of it.
 *  `act` has a function that gives a store by name, and may wait only for what that store answers. */
async function within(names, act, mode = "readonly") {
  const change = (await opened).transaction(names, mode, { durability: "strict" });
  const ended = new Promise((done, failed) => {
    change.oncomplete = done;
    change.onabort = () => failed(change.error ?? new DOMException("ended", "AbortError"));
  });
  ended.catch(() => {}); // where `act` failed, that is what is told
  let found;
  try {
    found = await act((name) => change.objectStore(name));
  } catch (error) {
    try {
      change.abort();
    } catch {
      // it has ended already
    }
    throw error;
  }
  await ended;
  return found;
}

const ofWalk = (walk) => IDBKeyRange.bound([walk, ""], [walk, "\uffff"]);

/** One of a store by its key. */
const oneOf = (name, key) => within([name], (store) => answerOf(store(name).get(key)));

/** Keeps one thing in a store. */
const keep = (name, thing, key) => within([name], (store) => answerOf(store(name).put(thing, key)), "readwrite");

export async function keepList(unit, crop, list) {
  await keep("lists", list, `${unit} ${crop}`);
}

export async function listOf(unit, crop) {
  return oneOf("lists", `${unit} ${crop}`);
}

export async function keepWalk(walk) {
  await keep("walks", walk);
}

export async function walkOf(id) {
  return oneOf("walks", id);
}

/** Every walk on this device, the oldest first. */
export async function walks() {
  const found = await within(["walks"], (store) => answerOf(store("walks").getAll()));
  return found.sort((one, other) => one.begun - other.begun);
}

/** Keeps answers and, if given, their walk: all of it is on the disk once this is done, or none of it. */
export async function keepAnswers(answers, walk = null) {
  await within(["answers", "walks"], (store) => {
    for (const one of answers) store("answers").put(one);
    if (walk) store("walks").put(walk);
  }, "readwrite");
}

/** Answers of a walk by name. */
export async function answersOf(walk) {
  const found = await within(["answers"], (store) => answerOf(store("answers").getAll(ofWalk(walk))));
  return new Map(found.map((one) => [one.name, one]));
}

export async function keepPhoto(photo) {
  await keep("photos", photo);
}

export async function dropPhoto(id) {
  await within(["photos"], (store) => answerOf(store("photos").delete(id)), "readwrite");
}

export async function photosOf(walk) {
  return within(["photos"], (store) => answerOf(store("photos").index("walk").getAll(walk)));
}

/** Takes a walk off the device, with its answers and photos. */
export async function dropWalk(id) {
  await within(["lists", "walks", "answers", "photos"], async (store) => {
    store("walks").delete(id);
    store("lists").delete(`walk ${id}`);
    store("answers").delete(ofWalk(id));
    for (const key of await answerOf(store("photos").index("walk").getAllKeys(id))) store("photos").delete(key);
  }, "readwrite");
}

/** Takes off what the server has had for long. */
export async function tidy(now) {
  for (const walk of await walks()) if (walk.sent && now - walk.sent > KEPT) await dropWalk(walk.id);
}

/** Asks the browser not to clear what is kept here; whether it said yes. */
export async function askToKeep() {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}

/** Everything of a walk as one file, photos in base64. */
export async function exported(walk) {
  const photos = await photosOf(walk.id);
  const answers = [...(await answersOf(walk.id)).values()];
  const plain = photos.map(({ bytes, ...rest }) => ({ ...rest, base64: bytes ? base64(bytes) : null }));
  return new Blob([JSON.stringify({ walk, answers, photos: plain }, null, 1)], { type: "application/json" });
}

export function base64(bytes) {
  let text = "";
  for (const one of new Uint8Array(bytes)) text += String.fromCharCode(one);
  return btoa(text);
}
