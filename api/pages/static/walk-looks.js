// Things that are seen in one look: each with its own control, and one button that says of those which nobody has
// answered yet that they are in order. It answers for what stands on the screen and for nothing else, one by one.

import { answered, answerText, judged, openSides, sidedOf, valuesOf } from "./walk-course.js";
import { drawing, h, radio } from "./walk-controls.js";
import { answerWith, bottom, button, go, keepAnswers, keeping, now, say, texts } from "./walk-frame.js";
import { brokenLines, cautions, whereabouts } from "./walk-steps.js";

const UNKNOWN = "?";

/** The view of a look. `act` has: open(thing), back(), next(), list(). */
export function lookView(step, act) {
  const alike = new Set(step.things.map((one) => one.meaning)).size === 1;
  const hows = new Set(step.things.map((one) => one.how));
  const rows = step.things.map((thing, n) => row(thing, { alike, how: hows.size > 1, order: step.orders[n] }, act, refresh));
  const place = h("div", { class: "all" });
  function refresh() {
    place.replaceChildren(...allOf(step, alike));
    for (const one of rows) one.refresh();
  }
  refresh();
  return [
    whereabouts(step),
    h("h1", { tabindex: "-1" }, step.look),
    alike ? h("p", { class: "part" }, step.things[0].meaning) : null,
    cautions(step.things),
    hows.size === 1 && step.things[0].how ? h("p", {}, h("b", {}, texts.how, " "), step.things[0].how) : null,
    alike ? h("p", { class: "right" }, h("b", {}, texts.right, " "), orderText(step.things[0], step.orders[0])) : null,
    rows.map((one) => one.element),
    place,
    bottom(button(texts.back, act.back), button(texts.list, act.list), button(texts.next, act.next, false)),
  ];
}

/** The answers that one press gives, and the button that gives them. */
function allOf(step, alike) {
  const left = step.things.filter((one) => openSides(one, now.answers.get(one.name)).length);
  if (!left.length) return [];
  const text = say(left.length === step.things.length ? texts.allInOrder : texts.restInOrder, { number: left.length });
  const named = left.map((one) => `${nameOf(one, alike)}: ${answerText(one, orderFor(step, one), texts)}`);
  return [
    h("p", { class: "hint", id: "covers" }, say(texts.covers, { who: now.walk.by })),
    h("ul", { class: "hint", id: "covered" }, named.map((one) => h("li", {}, one))),
    button(text, () => takeAll(step), false, { class: "wide-button", "aria-describedby": "covers covered" }),
  ];
}

function orderFor(step, thing) {
  return step.orders[step.things.indexOf(thing)];
}

/** Says of a step's things that they are in order; what is answered already stays as it is, side by side. */
async function takeAll(step) {
  const kept = await keeping(async () => {
    const left = step.things.filter((one) => openSides(one, now.answers.get(one.name)).length);
    if (!left.length) return;
    const look = new Date().toISOString();
    const before = left.map((one) => ({ name: one.name, sides: now.answers.get(one.name)?.sides ?? [] }));
    const taken = left.map((thing) => {
      const answer = now.answers.get(thing.name);
      const looked = openSides(thing, answer);
      const sides = [...(answer?.sides ?? [])];
      for (const side of looked) sides[side] = orderFor(step, thing);
      return answerWith(thing.name, { sides, unknown: false, look, looked });
    });
    await keepAnswers(taken, { undo: { look, key: step.key, title: step.look, before } });
  });
  if (kept) await go.after(step);
}

/** Takes the last look back: what it answered is as it was before; what was answered anew since then stays. */
export async function undoLook() {
  const { key } = now.walk.undo;
  const kept = await keeping(async () => {
    const { look, before } = now.walk.undo ?? { before: [] };
    const still = before.filter((one) => now.answers.get(one.name)?.look === look);
    await keepAnswers(still.map((one) => answerWith(one.name, { sides: one.sides })), { undo: null });
  });
  if (kept) await go.step(key);
}

/** What can be taken back: the last look. */
export function undoLine() {
  const { undo } = now.walk;
  if (!undo) return null;
  return h("div", { class: "undo" },
    h("p", { role: "status" }, say(texts.taken, { number: undo.before.length, title: undo.title })), button(texts.undo, undoLook));
}

function nameOf(thing, alike) {
  if (alike) return thing.title || thing.meaning;
  return thing.title ? `${thing.title}: ${thing.meaning}` : thing.meaning;
}

function orderText(thing, order) {
  const word = thing.words.find((one) => one.id === order);
  return word?.meaning ? `${word.text} (${word.meaning})` : answerText(thing, order, texts);
}

function row(thing, { alike, how, order }, act, changed) {
  const name = nameOf(thing, alike);
  const status = h("div", { role: "status", "aria-live": "polite" });
  const mark = h("span", { class: "mark", "aria-hidden": "true" });
  const choices = thing.form === "yes_no"
    ? [[true, texts.yes, ""], [false, texts.no, ""]]
    : thing.words.map((one) => [one.id, one.text, one.picture]);
  const set = (side) => async (value) => {
    const given = () => {
      const sides = [...(now.answers.get(thing.name)?.sides ?? [])];
      sides[side] = value;
      return { sides: Array.from(sides, (one) => one ?? null), unknown: false };
    };
    const part = () => (value === UNKNOWN ? { sides: [], unknown: true } : given());
    if (await keeping(() => keepAnswers([answerWith(thing.name, part())]))) changed();
    else refresh();
  };
  const inputs = [];
  const picks = (side) => [...choices, [UNKNOWN, texts.cantTell, ""]].map(([value, text, picture]) => {
    const found = radio(`${thing.name} ${side}`, String(value), false, () => set(side)(value), h("b", {}, text), picture ? drawing(picture) : null);
    inputs.push([found.querySelector("input"), side, value]);
    return found;
  });
  const group = (side, shown) =>
    h("fieldset", { class: `picks ${{ 2: "three", 3: "two" }[choices.length] ?? "few"}` }, h("legend", {}, h("span", { class: "unseen" }, shown ? `${name}, ` : name), shown), picks(side));
  const element = h("section", { class: "seen-row", "aria-label": name },
    h("div", { class: "seen-head" }, h("h2", {}, mark, name), button(texts.more, () => act.open(thing), true, { "aria-label": `${texts.more}: ${name}` })),
    how && thing.how ? h("p", { class: "hint" }, thing.how) : null,
    alike ? null : h("p", { class: "hint" }, texts.right, " ", orderText(thing, order)),
    thing.sided
      ? h("div", { class: "sides" }, group(0, texts.left), group(1, texts.right_side))
      : group(0, ""),
    status);
  const refresh = () => {
    const answer = now.answers.get(thing.name);
    for (const [input, side, value] of inputs) input.checked = answer?.unknown ? value === UNKNOWN : answer?.sides[side] === value;
    const values = valuesOf(now.walk, now.list, now.answers);
    const broken = answered(answer) ? judged(thing, now.list, values, sidedOf(now.list)).here.filter((one) => one.verdict === "broken") : [];
    mark.textContent = broken.length ? "■ " : answer?.unknown ? "? " : openSides(thing, answer).length ? "○ " : "✓ ";
    status.replaceChildren(...brokenLines(broken, thing));
  };
  return { element, refresh };
}
