// Sends what waits. Each walk, note and photo has a key of its own, so that sending it twice records it once.

import { label, thingsOf } from "./walk-course.js";
import { base64, keepAnswers, keepPhoto, keepWalk, answersOf, listOf, photosOf, walkOf, walks } from "./walk-store.js";

const PATIENCE = 20000; // ms that an answer is waited for

/** Why sending ended: 'done', 'no-signal', 'sign-in' or 'busy' where another window of this device is at it. */
export async function sendAll(tell) {
  if (navigator.locks) {
    const found = await navigator.locks.request("setup-audit-send", { ifAvailable: true }, (lock) =>
      lock ? eachWalk(tell) : "busy",
    );
    return found;
  }
  return eachWalk(tell);
}

/** Walks that are finished and not yet wholly with the server. */
export async function waiting() {
  return (await walks()).filter((walk) => walk.finished && !walk.sent);
}

async function eachWalk(tell) {
  for (const { id } of await waiting()) {
    const walk = await walkOf(id);
    const ended = await sendWalk(walk);
    await tell();
    if (ended === "no-signal" || ended === "sign-in") return ended;
  }
  return "done";
}

async function sendWalk(walk) {
  const unit = encodeURIComponent(walk.unit);
  if (!walk.setup) {
    if (walk.refused) return "refused";
    const answer = await post(`/units/${unit}/setups`, walk.id, walk.body, { "Content-Type": "application/json" });
    if (typeof answer === "string") return answer;
    const content = await answer.json().catch(() => null);
    if (answer.status !== 201 || content === null) return refuse(walk, answer.status, content);
    walk.setup = { id: content.setup.id, number: content.setup.number };
    walk.outcome = { clearance: content.audit.clearance, rulebook: content.audit.rulebook?.digest ?? "" };
    await keepWalk(walk);
  }
  const ended = (await sendNotes(walk, unit)) ?? (await sendPhotos(walk, unit));
  if (ended) return ended;
  const left = [...(await answersOf(walk.id)).values()].some((one) => one.note && !one.noteSent);
  const photos = (await photosOf(walk.id)).some((one) => !one.sent);
  if (!left && !photos) {
    walk.sent = Date.now();
    delete walk.refused;
    await keepWalk(walk);
  }
  return "sent";
}

async function sendNotes(walk, unit) {
  for (const answer of (await answersOf(walk.id)).values()) {
    if (!answer.note || answer.noteSent) continue;
    const key = `${walk.id}-${answer.name}`;
    const body = JSON.stringify({ quantity: answer.name, text: answer.note });
    const path = `/units/${unit}/setups/${walk.setup.id}/notes`;
    const reply = await post(path, key, body, { "Content-Type": "application/json" });
    if (typeof reply === "string") return reply;
    if (reply.status !== 201) return refuse(walk, reply.status, await reply.json().catch(() => null));
    await keepAnswers([{ ...answer, noteSent: true }]);
  }
  return null;
}

async function sendPhotos(walk, unit) {
  for (const photo of await photosOf(walk.id)) {
    if (photo.sent) continue;
    const path = `/units/${unit}/setups/${walk.setup.id}/photos?quantity=${encodeURIComponent(photo.name)}`;
    const digest = base64(Uint8Array.from(photo.sha256.match(/../g), (pair) => parseInt(pair, 16)));
    const headers = { "Content-Type": photo.media, "Content-Digest": `sha-256=:${digest}:` };
    const reply = await post(path, photo.id, photo.bytes, headers);
    if (typeof reply === "string") return reply;
    if (reply.status !== 201) return refuse(walk, reply.status, await reply.json().catch(() => null));
    await keepPhoto({ ...photo, bytes: null, sent: true }); // the server has it, whole by its digest
  }
  return null;
}

/** The server's answer, or why there is none that counts. A failed request proves that there is no signal; the browser's
 *  own word on it does not. */
async function post(path, key, body, headers) {
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST", body, headers: { ...headers, "Idempotency-Key": key }, signal: AbortSignal.timeout(PATIENCE),
      redirect: "error",
    });
  } catch {
    return "no-signal";
  }
  if (answer.status === 401) return "sign-in";
  return answer.status === 429 || answer.status >= 500 ? "no-signal" : answer;
}

async function refuse(walk, status, content) {
  const list = await listOf("walk", walk.id);
  const problems = (content?.problems ?? []).map((one) => [`${named(one.path, list)}:`, one.message, one.advice].filter((part) => part && part !== ":").join(" "));
  walk.refused = { status, detail: content?.detail ?? content?.title ?? String(status), problems };
  await keepWalk(walk);
  return "refused";
}

/** What a place in a setup is called where the walk asked for it; else the place itself. */
function named(path = "", list) {
  const thing = list && thingsOf(list).find((one) => {
    const place = `${one.section === "header" ? "job/header" : one.section === "fitted" ? "unit/fitted" : one.section}/${one.key ?? one.name}`;
    return path === place || path.startsWith(`${place}/`);
  });
  return thing ? label(thing) : path;
}
