// The walk round a machine: begins it, goes through it, sums it up, and sends what waits when there is a signal.

import { sendAll, waiting } from "./walk-send.js";
import { canonical, h } from "./walk-controls.js";
import { takePhoto } from "./walk-photos.js";
import { setupOf } from "./walk-setup.js";
import { answered, brokenNow, judged, label, neededOf, sidedOf, stepView, unreadable, valuesOf } from "./walk-steps.js";
import * as store from "./walk-store.js";

const page = JSON.parse(document.getElementById("page").textContent);
const texts = page.texts;
const view = document.getElementById("walk");
const bar = document.getElementById("unsent");
const trouble = document.getElementById("trouble");
const AGAIN = 15000; // ms after which sending is tried again
const PATIENCE = 10000; // ms that a list is waited for

let walk = null;
let list = null;
let answers = new Map();
let steps = [];
let retry = 0;
let ended = ""; // how sending ended last

function say(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

function show(...children) {
  view.replaceChildren(...children.flat().filter(Boolean));
  view.dataset.step = walk && !walk.finished ? walk.at : "";
  window.scrollTo(0, 0);
  view.querySelector("h1")?.focus();
}

/** Does something that keeps an answer; says so where it could not, and then nothing moves on. */
async function keeping(act) {
  try {
    await act();
    trouble.replaceChildren();
    return true;
  } catch (error) {
    const said = error?.name === "QuotaExceededError" ? texts.full : texts.notKept;
    trouble.replaceChildren(h("p", { class: "wrong" }, said));
    return false;
  }
}

// ---- what waits

async function showWaiting() {
  const left = await waiting();
  const oldest = left.length ? left[0].finished : 0;
  const begun = walk && !walk.finished ? [...answers.values()].filter((one) => answered(one) || one.unknown).length : 0;
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

function age(since) {
  const minutes = Math.round((since - Date.now()) / 60000);
  const [number, unit] = minutes > -90 ? [minutes, "minute"] : minutes > -2880 ? [Math.round(minutes / 60), "hour"] : [Math.round(minutes / 1440), "day"];
  return new Intl.RelativeTimeFormat(document.documentElement.lang).format(number, unit);
}

/** Sends what waits, and tries again later where there was no signal. */
async function send() {
  clearTimeout(retry);
  ended = await sendAll(() => showWaiting());
  if (ended === "no-signal" || ended === "busy") retry = setTimeout(send, AGAIN);
  await showWaiting();
  if (walk?.finished) {
    walk = (await store.walkOf(walk.id)) ?? walk;
    await showFinished();
  }
}

// ---- the list

async function listFor(crop) {
  try {
    const answer = await fetch(`${page.list}?crop=${encodeURIComponent(crop)}`, { signal: AbortSignal.timeout(PATIENCE), redirect: "error" });
    if (answer.ok) {
      const found = await answer.json();
      await keeping(() => store.keepList(page.unit, crop, found));
      return found;
    }
  } catch {
    // no signal; the one that was kept stands
  }
  return store.listOf(page.unit, crop);
}

function tellOfAge(found) {
  return Date.parse(found.until) < Date.now() ? h("p", { class: "caution" }, texts.oldList) : null;
}

// ---- the start

async function showStart(said = null) {
  walk = null;
  await store.tidy(Date.now());
  const mine = (await store.walks()).filter((one) => one.unit === page.unit);
  const open = mine.filter((one) => !one.finished).reverse();
  const done = mine.filter((one) => one.finished).reverse().slice(0, 5);
  const field = (name) => view.querySelector(`[name="${name}"]`);
  const begin = async (event) => {
    event.preventDefault();
    const found = await listFor(field("crop").value);
    if (!found) return showStart(h("p", { class: "wrong" }, texts.noList));
    const fresh = {
      id: crypto.randomUUID(), unit: page.unit, crop: field("crop").value, header: field("header").value,
      state: view.querySelector('[name="state"]:checked').value, by: field("by").value.trim(),
      hours: field("hours").value.trim(), begun: Date.now(), at: "", finished: 0, rulebook: found.rulebook,
      known: found.newest?.number ?? 0,
    };
    if (!readableHours(fresh.hours)) return showStart(h("p", { class: "wrong" }, texts.badHours));
    const kept = await keeping(async () => {
      await store.keepList("walk", fresh.id, found);
      await store.keepWalk(fresh);
    });
    if (kept) await open_(fresh);
  };
  const options = (some, chosen) => some.map((one) => h("option", { value: one.id, selected: one.id === chosen }, one.text));
  show(
    h("h1", { tabindex: "-1" }, say(texts.title, { unit: page.unit })),
    said,
    open.map((one) => h("button", { type: "button", class: "wide-button", on: { click: () => open_(one) } },
      say(texts.goOn, { when: age(one.begun) }), h("small", {}, ` ${cropText(one.crop)}`))),
    page.may.record
      ? h("form", { class: "stack", on: { submit: begin } },
          h("h2", {}, texts.begin),
          h("label", {}, texts.crop, h("select", { name: "crop" }, options(page.crops, page.crop))),
          h("label", {}, texts.header, h("select", { name: "header" }, h("option", { value: "" }, texts.notKnown), options(page.headers, page.header))),
          h("fieldset", { class: "picks two" }, h("legend", {}, texts.state),
            ...[["as-found", texts.asFound], ...(page.may.correct ? [["as-left", texts.asLeft]] : [])].map(([value, text]) =>
              h("label", { class: "pick" }, h("input", { type: "radio", name: "state", value, checked: value === "as-found" }), h("span", {}, h("b", {}, text))))),
          h("label", {}, texts.by, h("input", { name: "by", value: page.who, required: true, maxlength: 80, autocomplete: "name" })),
          h("label", {}, texts.hours, h("input", { name: "hours", inputmode: "decimal", autocomplete: "off" })),
          h("button", {}, texts.beginNow))
      : h("p", { class: "lead" }, texts.noRight),
    h("button", { type: "button", class: "plain", on: { click: keepOthers } }, texts.keepOthers),
    done.length ? h("h2", {}, texts.earlier) : null,
    done.map((one) => h("button", { type: "button", class: "plain wide-button", on: { click: () => open_(one) } },
      `${new Date(one.finished).toLocaleString(document.documentElement.lang)} · ${cropText(one.crop)} · ${one.sent ? texts.sent : texts.waits}`)),
  );
  await showWaiting();
}

function cropText(id) {
  return page.crops.find((one) => one.id === id)?.text ?? id;
}

function readableHours(text) {
  return text === "" || canonical({ form: "number", units: [], lowest: 0, highest: 60000 }, text, "") !== undefined;
}

async function keepOthers(event) {
  event.target.disabled = true;
  let number = 0;
  for (const one of page.crops) if (await listFor(one.id)) number += 1;
  event.target.textContent = say(texts.keptLists, { number, of: page.crops.length });
}

// ---- the walk

async function open_(found) {
  walk = (await store.walkOf(found.id)) ?? found;
  list = await store.listOf("walk", walk.id);
  answers = await store.answersOf(walk.id);
  if (walk.finished) return showFinished();
  const needed = neededOf(walk, list);
  steps = list.stations.flatMap((station) => {
    const asked = station.things.filter((one) => needed.has(one.name));
    return station.things.map((thing) => ({
      thing, station, needed: needed.has(thing.name), place: asked.indexOf(thing) + 1, count: asked.length,
    }));
  });
  const at = steps.findIndex((one) => one.thing.name === walk.at);
  await showStep(at < 0 ? next(-1, 1) : at);
}

/** The next place of a step that is asked for, in a direction; outside the list where there is none. */
function next(from, by) {
  let at = from + by;
  while (at >= 0 && at < steps.length && !steps[at].needed && !answers.has(steps[at].thing.name)) at += by;
  return at;
}

async function showStep(at) {
  if (at < 0) return showStart();
  if (at >= steps.length) return showSummary();
  const step = steps[at];
  const name = step.thing.name;
  walk.at = name;
  await keeping(() => store.keepWalk(walk));
  const keep = (part) => keeping(async () => {
    const blank = { walk: walk.id, name, sides: [], unit: "", unknown: false, note: "" };
    const found = { ...blank, ...answers.get(name), ...part, at: Date.now() };
    await store.keepAnswer(found);
    answers.set(name, found);
    await showWaiting();
  });
  const act = {
    changed: keep,
    now: () => ({ answer: answers.get(name), values: valuesOf(walk, list, answers) }),
    unknown: async () => {
      if (await keep({ sides: [], unit: "", unknown: true })) await showStep(next(at, 1));
    },
    note: (note) => keep({ note }),
    photo: async (file) => {
      if (await keeping(() => takePhoto(walk, file, name))) await showPhotos(name);
    },
    back: () => showStep(next(at, -1)),
    list: () => showList(at),
    next: async () => {
      if (unreadable(step.thing, answers.get(name))) return view.querySelector(".controls input")?.focus();
      const given = answers.get(name);
      if (given && !(await keep({}))) return;
      await showStep(next(at, 1));
    },
  };
  show(
    progress(),
    tellOfAge(list),
    stepView(step, walk, list, answers.get(name), valuesOf(walk, list, answers), texts, say, act),
  );
  await showPhotos(name);
  await showWaiting();
}

function progress() {
  const asked = steps.filter((one) => one.needed);
  const done = asked.filter((one) => settled(one.thing.name)).length;
  return h("div", { class: "progress" }, h("progress", { max: asked.length, value: done, "aria-label": texts.progress }),
    h("span", {}, `${done} / ${asked.length}`));
}

function settled(name) {
  const found = answers.get(name);
  return answered(found) || Boolean(found?.unknown);
}

// ---- photos

async function showPhotos(name) {
  const place = document.getElementById("photos");
  if (!place) return;
  const mine = (await store.photosOf(walk.id)).filter((one) => one.name === name);
  place.replaceChildren(...mine.filter((one) => one.bytes).map((one, n) => {
    const address = URL.createObjectURL(new Blob([one.bytes], { type: one.media }));
    const drop = async () => (await keeping(() => store.dropPhoto(one.id))) && showPhotos(name);
    return h("figure", {}, h("img", { src: address, alt: say(texts.photoOf, { number: n + 1 }), on: { load: () => URL.revokeObjectURL(address) } }),
      h("button", { type: "button", class: "plain", on: { click: drop } }, texts.dropPhoto));
  }));
}

// ---- list and summary

function mark(step, values, sided) {
  const found = answers.get(step.thing.name);
  if (unreadable(step.thing, found)) return ["!", texts.unreadableShort];
  if (answered(found)) {
    const broken = judged(step.thing, list, values, sided).here.some((one) => one.verdict === "broken");
    return broken ? ["■", texts.brokenShort] : ["✓", texts.answered];
  }
  if (found?.unknown) return ["?", texts.cantTell];
  return step.needed ? ["○", texts.toDo] : ["·", texts.optional];
}

function showList(at) {
  const values = valuesOf(walk, list, answers);
  const sided = sidedOf(list);
  show(
    h("h1", { tabindex: "-1" }, texts.list),
    list.stations.map((station) => {
      const own = steps.map((step, n) => [step, n]).filter(([step]) => step.station === station);
      const asked = own.filter(([step]) => step.needed);
      const done = asked.filter(([step]) => settled(step.thing.name)).length;
      return h("details", { open: steps[at]?.station === station, class: "station" },
        h("summary", {}, `${station.title || texts.job} · ${done} / ${asked.length}`),
        h("ul", { class: "lines" }, own.map(([step, n]) => {
          const [sign, word] = mark(step, values, sided);
          return h("li", {}, h("button", { type: "button", class: "plain jump", on: { click: () => showStep(n) } },
            h("span", { "aria-hidden": "true" }, `${sign} `), label(step.thing), h("small", {}, ` ${word}`)));
        })));
    }),
    h("nav", { class: "bottom", "aria-label": texts.steps },
      h("button", { type: "button", class: "plain", on: { click: () => showStep(at) } }, texts.back),
      h("button", { type: "button", on: { click: showSummary } }, texts.summary)),
  );
}

async function showSummary() {
  const asked = steps.filter((one) => one.needed);
  const wrong = steps.filter((one) => unreadable(one.thing, answers.get(one.thing.name)));
  const left = asked.filter((one) => !settled(one.thing.name));
  const unknown = steps.filter((one) => answers.get(one.thing.name)?.unknown);
  const broken = brokenNow(list, answers, valuesOf(walk, list, answers));
  const photos = await store.photosOf(walk.id);
  const jump = (step) => h("li", {}, h("button", { type: "button", class: "plain jump", on: { click: () => showStep(steps.indexOf(step)) } }, label(step.thing)));
  show(
    h("h1", { tabindex: "-1" }, texts.summary),
    h("p", { class: "lead" }, say(texts.sum, { done: asked.length - left.length, of: asked.length, unknown: unknown.length, photos: photos.length })),
    wrong.length ? [h("h2", {}, texts.unreadableShort), h("ul", { class: "lines" }, wrong.map(jump))] : null,
    broken.length
      ? [h("h2", {}, texts.brokenHere), h("ul", { class: "lines" }, broken.map((rule) => h("li", {}, h("span", { class: `level ${rule.level}` }, texts[rule.level]), " ", rule.title)))]
      : null,
    h("p", { class: "hint" }, texts.serverDecides),
    left.length ? h("details", {}, h("summary", {}, say(texts.left_open, { number: left.length })), h("ul", { class: "lines" }, left.map(jump))) : null,
    h("nav", { class: "bottom", "aria-label": texts.steps },
      h("button", { type: "button", class: "plain", on: { click: () => showStep(next(steps.length, -1)) } }, texts.back),
      h("button", { type: "button", class: "plain", on: { click: () => showList(0) } }, texts.list),
      h("button", { type: "button", disabled: wrong.length > 0, on: { click: finish } }, texts.finish)),
  );
  await showWaiting();
}

async function finish() {
  const done = { ...walk, finished: Date.now(), body: JSON.stringify(setupOf(walk, list, answers)) };
  if (!(await keeping(() => store.keepWalk(done)))) return;
  walk = done;
  await showFinished();
  await send();
}

async function showFinished() {
  const between = walk.setup ? walk.setup.number - walk.known - 1 : 0;
  const openAgain = async () => {
    const again = { ...walk, finished: 0, body: "" };
    delete again.refused;
    if (await keeping(() => store.keepWalk(again))) await open_(again);
  };
  const retry = async () => {
    const again = { ...walk };
    delete again.refused;
    if (await keeping(() => store.keepWalk(again))) await send();
  };
  const save = async () => {
    const address = URL.createObjectURL(await store.exported(walk));
    h("a", { href: address, download: `${walk.unit}-${new Date(walk.finished).toISOString().slice(0, 10)}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
  };
  show(
    h("h1", { tabindex: "-1" }, walk.sent ? texts.recorded : walk.setup ? texts.partly : texts.kept_here),
    walk.setup ? h("p", { class: "verdict" }, h("span", { class: `state ${walk.outcome.clearance}` }, texts[walk.outcome.clearance])) : null,
    walk.refused
      ? h("div", { class: "wrong", role: "alert" }, h("p", {}, texts.refused), h("p", {}, walk.refused.detail), h("ul", {}, walk.refused.problems.map((one) => h("li", {}, one))))
      : null,
    !walk.setup && !walk.refused ? h("p", { class: "lead" }, texts.waitsHere) : null,
    between > 0 ? h("p", { class: "caution" }, say(texts.between, { number: between })) : null,
    walk.outcome?.rulebook && walk.outcome.rulebook !== walk.rulebook ? h("p", { class: "caution" }, texts.otherRulebook) : null,
    walk.setup ? h("p", {}, h("a", { class: "button", href: `/unit/${walk.unit}/setups/${walk.setup.id}` }, texts.seeSetup)) : null,
    h("div", { class: "row" },
      walk.refused && !walk.setup ? h("button", { type: "button", on: { click: openAgain } }, texts.openAgain) : null,
      walk.refused ? h("button", { type: "button", class: "plain", on: { click: retry } }, texts.tryAgain) : null,
      h("button", { type: "button", class: "plain", on: { click: save } }, texts.toFile),
      h("button", { type: "button", class: "plain", on: { click: () => showStart() } }, texts.toStart)),
  );
  await showWaiting();
}

// ---- the worker, and the events on which what waits is sent

async function beReady() {
  const place = document.getElementById("ready");
  if (!("serviceWorker" in navigator)) {
    place.textContent = texts.notSafe;
    return;
  }
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.from === page.scope) place.textContent = event.data.whole ? texts.ready : texts.notReady;
  });
  try {
    await navigator.serviceWorker.register(page.worker, { scope: page.scope });
    const found = await navigator.serviceWorker.ready;
    found.active.postMessage({ keep: [page.scope, ...page.kept], from: page.scope });
  } catch {
    place.textContent = texts.notReady;
  }
  await store.askToKeep();
}

// the event may come before the network does
window.addEventListener("online", () => send().then(() => setTimeout(send, 2000)));
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());

const going = (await store.walks()).filter((one) => one.unit === page.unit && !one.finished).pop();
await (going ? open_(going) : showStart());
view.removeAttribute("aria-busy");
if (page.crop && page.may.record && !(await store.listOf(page.unit, page.crop))) await listFor(page.crop);
beReady();  // it says that all is kept, so the list is kept before
await send();
