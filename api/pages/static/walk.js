// The walk round a machine: opens it, goes through its steps, keeps what was answered, and sends what waits.

import { answered, courseOf, unreadable, valuesOf } from "./walk-course.js";
import { h } from "./walk-controls.js";
import { showFinished } from "./walk-finished.js";
import { ALONE, age, answerWith, go, keepAnswers, keeping, now, page, say, show, texts } from "./walk-frame.js";
import { lookView, undoLine } from "./walk-looks.js";
import { progress, showList, showSummary } from "./walk-overview.js";
import { takePhoto } from "./walk-photos.js";
import { sendAll, waiting } from "./walk-send.js";
import { listFor, showPurposes, showStart } from "./walk-start.js";
import { stepView } from "./walk-steps.js";
import * as store from "./walk-store.js";

const view = document.getElementById("walk");
const bar = document.getElementById("unsent");
const ready = document.getElementById("ready");
const AGAIN = 15000; // ms after which sending is tried again

let retry = 0;
let ended = ""; // how sending ended last

// ---- what waits

async function showWaiting() {
  const left = await waiting();
  const oldest = left.length ? left[0].finished : 0;
  const begun = now.walk && !now.walk.finished ? [...now.answers.values()].filter((one) => answered(one) || one.unknown).length : 0;
  bar.replaceChildren(
    ...[
      begun ? h("span", {}, say(texts.onDevice, { number: begun })) : null,
      left.length ? h("span", {}, say(texts.oldest, { age: age(oldest) })) : begun ? null : h("span", {}, texts.allSent),
      left.length ? h("button", { type: "button", on: { click: send } }, say(texts.sendNow, { number: left.length })) : null,
      ended === "no-signal" && left.length ? h("span", {}, texts.noSignal) : null,
      ended === "sign-in" ? h("a", { class: "button plain", href: `/sign-in?next=${encodeURIComponent(location.pathname)}` }, texts.signIn) : null,
    ].filter(Boolean),
  );
}

/** Sends what waits, and tries again later where there was no signal. */
async function send() {
  clearTimeout(retry);
  ended = await sendAll(() => showWaiting());
  if (ended === "no-signal" || ended === "busy") retry = setTimeout(send, AGAIN);
  await showWaiting();
  if (now.walk?.finished) {
    now.walk = (await store.walkOf(now.walk.id)) ?? now.walk;
    await showFinished();
  }
}

// ---- the walk

/** Takes up a walk with its list and its answers. */
async function load(found) {
  now.walk = (await store.walkOf(found.id)) ?? found;
  now.list = await store.listOf("walk", now.walk.id);
  now.answers = await store.answersOf(now.walk.id);
  now.steps = courseOf(now.walk, now.list);
}

async function open_(found) {
  await load(found);
  if (now.walk.finished) return showFinished();
  return showStep(placeOf(now.walk.at));
}

/** The place of a step; of the first that is asked for where there is none with that key. */
function placeOf(key) {
  const at = now.steps.findIndex((one) => one.key === key);
  return at < 0 ? next(-1, 1) : at;
}

/** The next place of a step that is asked for or was answered, in a direction; outside the list where there is none. */
function next(from, by) {
  const passed = (step) => !step.asked && !step.things.some((one) => now.answers.has(one.name));
  let at = from + by;
  while (at >= 0 && at < now.steps.length && passed(now.steps[at])) at += by;
  return at;
}

async function showStep(at) {
  if (at < 0) return showStart();
  if (at >= now.steps.length) return showSummary();
  const step = now.steps[at];
  if (now.walk.at !== step.key) await keeping(() => store.keepWalk((now.walk = { ...now.walk, at: step.key })));
  const act = { back: () => showStep(next(at, -1)), list: () => showList(at), next: () => showStep(next(at, 1)) };
  if (!step.look) return showThing(step, step.things[0], act);
  show(step.key, head(at), lookView(step, { ...act, open: (thing) => showThing(step, thing, { ...act, back: again, next: again }) }));
  function again() {
    return showStep(at);
  }
  return showWaiting();
}

/** One thing; what is next and before it is said by `around`. */
async function showThing(step, thing, around) {
  const name = thing.name;
  let unkept = {}; // what could not be kept is tried again with whatever is kept next
  const keep = async (part) => {
    const wanted = () => ({ ...unkept, ...part() });
    const kept = await keeping(() => keepAnswers([answerWith(name, wanted())]));
    unkept = kept ? {} : wanted();
    return kept;
  };
  /** Whether all that was answered here is kept. */
  const settled = async () => {
    await keeping(() => {}); // the last key may still be on its way
    return Object.keys(unkept).length ? keep(() => ({})) : true;
  };
  /** The way to where all answers can be seen and sent; what could not be kept is said, and stands there as not answered. */
  const leaving = (to) => async () => {
    await settled();
    return to();
  };
  const act = {
    ...around,
    back: leaving(around.back),
    list: leaving(around.list),
    changed: (part) => keep(() => ({ ...ALONE, ...part })),
    now: () => ({ answer: now.answers.get(name), values: valuesOf(now.walk, now.list, now.answers) }),
    unknown: async () => {
      if (await keep(() => ({ ...ALONE, sides: [], unit: "", unknown: true }))) await around.next();
    },
    note: (note) => keep(() => {
      const { look = "", looked = [] } = now.answers.get(name) ?? {};
      return { note, look, looked };
    }),
    photo: async (file) => {
      if (await keeping(() => takePhoto(now.walk, file, name))) await showPhotos(name);
    },
    next: async () => {
      if (!(await settled())) return null;
      if (unreadable(thing, now.answers.get(name))) return view.querySelector(".controls input")?.focus();
      return around.next();
    },
  };
  show(name, head(now.steps.indexOf(step)), stepView(step, thing, now.list, now.answers.get(name), act.now().values, act));
  await showPhotos(name);
  await showWaiting();
}

/** What stands above a step: how far the walk is, and right after a look, or on it, how that is taken back. */
function head(at) {
  const { undo } = now.walk;
  const taken = undo && now.steps.findIndex((one) => one.key === undo.key);
  const old = Date.parse(now.list.until) < Date.now() ? h("p", { class: "caution" }, texts.oldList) : null;
  return [progress(), undo && (taken === at || next(taken, 1) === at) ? undoLine() : null, old];
}

// ---- photos

async function showPhotos(name) {
  const place = document.getElementById("photos");
  if (!place) return;
  const mine = (await store.photosOf(now.walk.id)).filter((one) => one.name === name);
  place.replaceChildren(...mine.filter((one) => one.bytes).map((one, n) => {
    const address = URL.createObjectURL(new Blob([one.bytes], { type: one.media }));
    const drop = async () => (await keeping(() => store.dropPhoto(one.id))) && showPhotos(name);
    return h("figure", {}, h("img", { src: address, alt: say(texts.photoOf, { number: n + 1 }), on: { load: () => URL.revokeObjectURL(address) } }),
      h("button", { type: "button", class: "plain", on: { click: drop } }, texts.dropPhoto));
  }));
}

// ---- the screens, by name

Object.assign(go, {
  start: showStart, open: open_, load, purposes: showPurposes, waiting: showWaiting, send, finished: showFinished,
  at: showStep,
  last: () => showStep(next(now.steps.length, -1)),
  step: (key) => showStep(placeOf(key)),
  after: (step) => showStep(next(now.steps.indexOf(step), 1)),
});

// ---- the worker, and the events on which what waits is sent

async function beReady() {
  if (!("serviceWorker" in navigator)) {
    ready.textContent = texts.notSafe;
    return;
  }
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.from === page.scope) ready.textContent = event.data.whole ? texts.ready : texts.notReady;
  });
  try {
    await navigator.serviceWorker.register(page.worker, { scope: page.scope });
    const found = await navigator.serviceWorker.ready;
    found.active.postMessage({ keep: [page.scope, ...page.kept], from: page.scope });
  } catch {
    ready.textContent = texts.notReady;
  }
  await store.askToKeep();
}

/** Where a browser keeps nothing, as on an address without HTTPS: says so, and leads to the form that needs none of it. */
function showPlainForm(why) {
  show("",
    h("h1", { tabindex: "-1" }, say(texts.title, { unit: page.unit })),
    h("p", { class: "wrong" }, why),
    h("p", {}, texts.formInstead),
    h("p", {}, h("a", { class: "button", href: page.form }, texts.toForm)));
  bar.remove();
}

async function begin() {
  let all;
  try {
    all = await store.walks();
  } catch {
    return showPlainForm(texts.keepsNothing);
  }
  // the event may come before the network does
  window.addEventListener("online", () => send().then(() => setTimeout(send, 2000)));
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  const going = all.filter((one) => one.unit === page.unit && !one.finished).pop();
  await (going ? open_(going) : showStart());
  view.removeAttribute("aria-busy");
  if (page.crop && page.may.record && !(await store.listOf(page.unit, page.crop))) await listFor(page.crop);
  beReady(); // it says that all is kept, so the list is kept before
  return send();
}

await (window.isSecureContext ? begin() : showPlainForm(texts.noHttps));
view.removeAttribute("aria-busy");
