// The controls of one thing, big enough for gloves: a choice, yes or no, a number with its unit, a time.

import { readNumber } from "./judge.js";

/** An element. `on` has listeners; null and false children are left out. */
export function h(tag, attributes = {}, ...children) {
  const found = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") for (const [event, act] of Object.entries(value)) found.addEventListener(event, act);
    else if (value === true) found.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) found.setAttribute(name, value);
  }
  found.append(...children.flat().filter((one) => one !== null && one !== undefined && one !== false));
  return found;
}

/** A drawing that came as text of our own. */
export function drawing(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  const found = document.importNode(parsed, true);
  found.setAttribute("aria-hidden", "true");
  return found;
}

/** What one side's answer is in canonical form; null for none, undefined for what can't be read or is impossible. */
export function canonical(thing, side, unit) {
  if (side === null || side === undefined || side === "") return null;
  if (thing.form === "time") return Date.parse(side) / 1000;
  if (thing.form !== "number") return side;
  const value = readNumber(side);
  if (value === null || Number.isNaN(value)) return undefined;
  const by = thing.units.find((one) => one.id === unit) ?? { factor: 1, offset: 0 };
  const found = value * by.factor + by.offset;
  const low = thing.lowest !== null && found < thing.lowest - 1e-9 * Math.abs(thing.lowest);
  const high = thing.highest !== null && found > thing.highest + 1e-9 * Math.abs(thing.highest);
  return low || high ? undefined : found;
}

/** What one side's answer is in a setup. */
export function written(thing, side, unit) {
  if (side === null || side === undefined || side === "") return null;
  if (thing.form === "time") return new Date(side).toISOString();
  if (thing.form !== "number") return side;
  return unit ? `${side.trim()} ${unit}` : side.trim();
}

/** The controls of a thing for its answer; `changed(answer)` is called with every change. */
export function controls(thing, answer, texts, changed) {
  const names = thing.sided ? [texts.left, texts.right_side] : [""];
  const sides = answer.sides.length ? answer.sides : names.map(() => null);
  const unit = answer.unit || (thing.units[0]?.id ?? "");
  const state = { sides: [...sides], unit };
  const tell = () => changed({ sides: [...state.sides], unit: state.unit, unknown: false });
  const set = (n) => (value) => {
    state.sides[n] = value;
    tell();
  };
  const one = { word: choice, yes_no: yesNo, number, time }[thing.form];
  const columns = names.map((name, n) => one(thing, name, n, state, texts, set(n)));
  const unitControl =
    thing.form === "number" && thing.units.length > 1 ? unitChoice(thing, state, texts, tell) : unitSign(thing);
  return h("div", { class: "controls" }, h("div", { class: thing.sided ? "sides" : "side" }, columns), unitControl);
}

/** A radio button that is as large as its label. */
export function radio(name, value, checked, act, ...label) {
  return h(
    "label",
    { class: "pick" },
    h("input", { type: "radio", name, value, checked, on: { change: act } }),
    h("span", {}, ...label),
  );
}

function choice(thing, name, n, state, texts, set) {
  const picks = thing.words.map((one) =>
    radio(`side${n}`, one.id, state.sides[n] === one.id, () => set(one.id), h("b", {}, one.text),
      one.picture ? drawing(one.picture) : null, one.meaning ? h("small", {}, one.meaning) : null),
  );
  if (!thing.words.length) return openWord(thing, name, n, state, texts, set);
  return h("fieldset", { class: "picks" }, h("legend", {}, name || texts.answer), picks);
}

function openWord(thing, name, n, state, texts, set) {
  return h("label", { class: "entry" }, name || texts.answer,
    h("input", { value: state.sides[n] ?? "", autocomplete: "off", on: { input: (event) => set(event.target.value.trim()) } }));
}

function yesNo(thing, name, n, state, texts, set) {
  return h("fieldset", { class: "picks two" }, h("legend", {}, name || texts.answer),
    radio(`side${n}`, "yes", state.sides[n] === true, () => set(true), h("b", {}, texts.yes)),
    radio(`side${n}`, "no", state.sides[n] === false, () => set(false), h("b", {}, texts.no)));
}

const SIXTY_FOURTHS = Array.from({ length: 63 }, (_, n) => reduced(n + 1));

function reduced(n) {
  let under = 64;
  while (n % 2 === 0) [n, under] = [n / 2, under / 2];
  return `${n}/${under}`;
}

function number(thing, name, n, state, texts, set) {
  const input = h("input", {
    type: "text", inputmode: "decimal", autocomplete: "off", value: state.sides[n] ?? "", enterkeyhint: "next",
    on: { input: () => set(input.value.trim()) },
  });
  const label = h("label", { class: "entry" }, name || texts.answer, input);
  const inches = h("select", {
    "aria-label": [name, texts.fraction].filter(Boolean).join(", "), class: "fraction", hidden: state.unit !== "in",
    on: {
      change: () => {
        const whole = input.value.trim().split(/[\s/]/)[0];
        const units = /^\d+$/.test(whole) && !input.value.trim().startsWith(`${whole}/`) ? `${whole} ` : "";
        if (inches.value) input.value = units + inches.value;
        set(input.value.trim());
      },
    },
  }, h("option", { value: "" }, texts.fraction), SIXTY_FOURTHS.map((one) => h("option", { value: one }, one)));
  return h("div", {}, label, thing.units.some((one) => one.id === "in") ? inches : null);
}

function unitChoice(thing, state, texts, tell) {
  const act = (event) => {
    state.unit = event.target.value;
    for (const one of document.querySelectorAll(".fraction")) one.hidden = state.unit !== "in";
    tell();
  };
  return h("label", { class: "entry unit" }, texts.unit, h("select", { on: { change: act } },
    thing.units.map((one) => h("option", { value: one.id, selected: one.id === state.unit }, one.sign))));
}

function unitSign(thing) {
  return thing.units.length ? h("p", { class: "hint" }, thing.units[0].sign) : null;
}

function time(thing, name, n, state, texts, set) {
  const input = h("input", {
    type: "datetime-local", value: state.sides[n] ?? "", on: { change: () => set(input.value || null) },
  });
  const now = h("button", { type: "button", class: "plain", on: { click: () => {
    const at = new Date(Date.now() - new Date().getTimezoneOffset() * 60000);
    input.value = at.toISOString().slice(0, 16);
    set(input.value);
  } } }, texts.now);
  return h("div", {}, h("label", { class: "entry" }, texts.when, input), now);
}
