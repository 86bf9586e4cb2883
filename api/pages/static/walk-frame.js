// What every screen of the walk-round stands in: its texts, how one is shown, and the walk that is gone through.

import { h } from "./walk-controls.js";
import * as store from "./walk-store.js";

export const page = JSON.parse(document.getElementById("page").textContent);
export const texts = page.texts;
const view = document.getElementById("walk");
const trouble = document.getElementById("trouble");

/** The walk that is gone through, with its list, its answers by name and the steps it is gone through in. */
export const now = { walk: null, list: null, answers: new Map(), steps: [] };

/** The screens, by name, so that each can lead to any other; `walk.js` puts them in. */
export const go = {};

export function say(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

/** Shows a screen. `step` is the key of the step it is about, '' for none. */
export function show(step, ...children) {
  view.replaceChildren(...children.flat(3).filter(Boolean));
  view.dataset.step = step;
  window.scrollTo(0, 0);
  view.querySelector("h1")?.focus();
}

let last = Promise.resolve();

/** Does something that keeps an answer, once all before it is kept; says so where it could not, and then nothing moves
 *  on. What is kept must be made inside `act`, so that it stands on the answers before it. */
export function keeping(act) {
  last = last.then(() => attempt(act));
  return last;
}

async function attempt(act) {
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

/** Keeps answers, all of them or none, and with them what of the walk changes. */
export async function keepAnswers(answers, part = {}) {
  const walk = { ...now.walk, ...part };
  await store.keepAnswers(answers, walk);
  now.walk = walk;
  for (const one of answers) now.answers.set(one.name, one);
  await go.waiting();
}

/** Of an answer that was given by itself: no time of a look, and no sides that were taken in it. */
export const ALONE = { look: "", looked: [] };

/** An answer to a thing with some of it changed. What is answered by itself belongs to no look any more. */
export function answerWith(name, part) {
  const blank = { walk: now.walk.id, name, sides: [], unit: "", unknown: false, note: "" };
  return { ...blank, ...now.answers.get(name), ...ALONE, ...part, by: now.walk.by, at: Date.now() };
}

export function age(since) {
  const minutes = Math.round((since - Date.now()) / 60000);
  const [number, unit] = minutes > -90 ? [minutes, "minute"] : minutes > -2880 ? [Math.round(minutes / 60), "hour"] : [Math.round(minutes / 1440), "day"];
  return new Intl.RelativeTimeFormat(document.documentElement.lang).format(number, unit);
}

export function cropText(id) {
  return page.crops.find((one) => one.id === id)?.text ?? id;
}

/** The bar at the bottom of a screen, under the thumb. */
export function bottom(...buttons) {
  return h("nav", { class: "bottom", "aria-label": texts.steps }, buttons);
}

export function button(text, act, plain = true, more = {}) {
  return h("button", { type: "button", class: plain ? "plain" : null, ...more, on: { click: act } }, text);
}
