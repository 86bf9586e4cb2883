// What is kept on the device: lists, walks, answers and photos. Nothing is given up before the server has it.
// Photos are kept as ArrayBuffer, as some browsers lose a Blob in IndexedDB.

import { openDB } from "./idb.js";

const opened = openDB("setup-audit-walks", 1, {
  upgrade(db) {
    db.createObjectStore("lists");
    db.createObjectStore("walks", { keyPath: "id" });
    db.createObjectStore("answers", { keyPath: ["walk", "name"] });
    db.createObjectStore("photos", { keyPath: "id" }).createIndex("walk", "walk");
  },
});

const KEPT = 14 * 24 * 3600 * 1000; // ms that a walk which the server has stays in the list

export async function keepList(unit, crop, list) {
  await (await opened).put("lists", list, `${unit} ${crop}`);
}

export async function listOf(unit, crop) {
  return (await opened).get("lists", `${unit} ${crop}`);
}

export async function keepWalk(walk) {
  await (await opened).put("walks", walk);
}

export async function walkOf(id) {
  return (await opened).get("walks", id);
}

/** Every walk on this device, the oldest first. */
export async function walks() {
  const found = await (await opened).getAll("walks");
  return found.sort((one, other) => one.begun - other.begun);
}

/** Keeps answers and, if given, their walk: all of it is on the disk once this is done, or none of it. */
export async function keepAnswers(answers, walk = null) {
  const change = (await opened).transaction(["answers", "walks"], "readwrite", { durability: "strict" });
  for (const one of answers) change.objectStore("answers").put(one);
  if (walk) change.objectStore("walks").put(walk);
  await change.done;
}

/** Answers of a walk by name. */
export async function answersOf(walk) {
  const range = IDBKeyRange.bound([walk, ""], [walk, "\uffff"]);
  const found = await (await opened).getAll("answers", range);
  return new Map(found.map((one) => [one.name, one]));
}

export async function keepPhoto(photo) {
  const change = (await opened).transaction("photos", "readwrite", { durability: "strict" });
  change.store.put(photo);
  await change.done;
}

export async function dropPhoto(id) {
  await (await opened).delete("photos", id);
}

export async function photosOf(walk) {
  return (await opened).getAllFromIndex("photos", "walk", walk);
}

/** Takes a walk off the device, with its answers and photos. */
export async function dropWalk(id) {
  const change = (await opened).transaction(["lists", "walks", "answers", "photos"], "readwrite");
  change.objectStore("walks").delete(id);
  change.objectStore("lists").delete(`walk ${id}`);
  change.objectStore("answers").delete(IDBKeyRange.bound([id, ""], [id, "\uffff"]));
  for (const key of await change.objectStore("photos").index("walk").getAllKeys(id)) {
    change.objectStore("photos").delete(key);
  }
  await change.done;
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
