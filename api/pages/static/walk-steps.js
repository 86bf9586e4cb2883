// One thing at a time: what to look at, how, what is right, the controls, and what the published rules say of the answer.

import { truth, verdict } from "./judge.js";
import { canonical, controls, h } from "./walk-controls.js";

/** Canonical values of a walk by name, as far as they can be read. */
export function valuesOf(walk, list, answers) {
  const values = { ...list.values, "job.header_kind": walk.header || null };
  for (const thing of thingsOf(list)) {
    const answer = answers.get(thing.name);
    if (!answer || answer.unknown) continue;
    const sides = answer.sides.map((one) => canonical(thing, one, answer.unit) ?? null);
    if (sides.some((one) => one !== null)) values[thing.name] = thing.sided ? sides : sides[0];
  }
  return values;
}

export function thingsOf(list) {
  return list.stations.flatMap((station) => station.things);
}

export function sidedOf(list) {
  return new Set(thingsOf(list).filter((one) => one.sided).map((one) => one.name));
}

/** Names of what some rule asks for with this crop, header and build; the rest may be left out. */
export function neededOf(walk, list) {
  const settled = { ...list.values, "job.header_kind": walk.header || null };
  const sided = sidedOf(list);
  const asked = list.rules.filter((one) => one.given === null || truth(one.given, settled, sided) !== false);
  return new Set(asked.flatMap((one) => one.behind));
}

/** What is right for a thing, in words, by the rules that ask for it now. */
export function rightOf(thing, list, values, sided) {
  const found = list.rules
    .filter((one) => thing.name in one.wanted && (one.given === null || truth(one.given, values, sided) !== false))
    .map((one) => one.wanted[thing.name]);
  return [...new Set(found)];
}

/** Verdicts of the rules that a thing has a part in: [{rule, verdict}], and how many only the server can judge. */
export function judged(thing, list, values, sided) {
  const found = list.rules.filter((one) => one.behind.includes(thing.name));
  const here = found.filter((one) => one.hold !== null).map((rule) => ({ rule, verdict: verdict(rule, values, sided) }));
  const elsewhere = found.filter((one) => one.hold === null && (one.given === null || truth(one.given, values, sided) !== false));
  return { here: here.filter((one) => one.verdict !== "not asked"), elsewhere: elsewhere.length };
}

/** Whether an answer holds something. */
export function answered(answer) {
  return Boolean(answer && !answer.unknown && answer.sides.some((one) => one !== null && one !== ""));
}

/** Whether an answer holds something that can't be read, or is impossible. */
export function unreadable(thing, answer) {
  return answered(answer) && answer.sides.some((one) => canonical(thing, one, answer.unit) === undefined);
}

/** A thing's name, with that of its component. */
export function label(thing) {
  return thing.title ? `${thing.meaning} (${thing.title})` : thing.meaning;
}

/** Rules that are broken by what was answered so far, the worst first. */
export function brokenNow(list, answers, values) {
  const sided = sidedOf(list);
  const seen = new Map();
  for (const thing of thingsOf(list)) {
    if (!answered(answers.get(thing.name))) continue;
    for (const one of judged(thing, list, values, sided).here) if (one.verdict === "broken") seen.set(one.rule.no, one.rule);
  }
  const order = ["high", "serious", "medium", "low"];
  return [...seen.values()].sort((one, other) => order.indexOf(one.level) - order.indexOf(other.level));
}

/** The judgement as it is shown below the controls. */
export function judgement(thing, answer, list, values, texts, say) {
  if (unreadable(thing, answer)) {
    const range = thing.range ? say(texts.impossible, { range: thing.range }) : texts.unreadable;
    return [h("p", { class: "wrong" }, range)];
  }
  if (!answered(answer)) return answer?.unknown ? [h("p", {}, texts.unknownNoted)] : [];
  const { here, elsewhere } = judged(thing, list, values, sidedOf(list));
  const broken = here.filter((one) => one.verdict === "broken");
  const open = here.filter((one) => one.verdict === "unknown").length;
  const found = broken.map(({ rule }) =>
    h("div", { class: "broken" },
      h("p", {}, h("span", { class: `level ${rule.level}` }, texts[rule.level]), " ", h("b", {}, rule.title)),
      rule.wanted[thing.name] ? h("p", {}, texts.rightIs, " ", h("b", {}, rule.wanted[thing.name])) : null,
      rule.people ? h("p", {}, h("span", { class: "tag" }, texts.people)) : null),
  );
  if (!broken.length && here.some((one) => one.verdict === "kept")) found.push(h("p", { class: "kept" }, "✓ ", texts.kept));
  if (open) found.push(h("p", { class: "hint" }, say(texts.open, { number: open })));
  if (elsewhere) found.push(h("p", { class: "hint" }, say(texts.elsewhere, { number: elsewhere })));
  return found;
}

/** The view of one thing. `act` has: changed(answer part), unknown(), note(text), photo(file), back(), next(), list(). */
export function stepView(step, walk, list, answer, values, texts, say, act) {
  const { thing, station, place, count, needed } = step;
  const right = rightOf(thing, list, values, sidedOf(list));
  const engine = { stopped: texts.engineOff, running: texts.engineRuns, "at work": texts.atWork }[thing.when];
  const status = h("div", { class: "verdicts", role: "status", "aria-live": "polite" },
    judgement(thing, answer, list, values, texts, say));
  const changed = async (part) => {
    await act.changed(part);
    const now = act.now();
    status.replaceChildren(...judgement(thing, now.answer, list, now.values, texts, say));
    unknown.setAttribute("aria-pressed", "false");
  };
  const unknown = h("button", { type: "button", class: "plain", "aria-pressed": String(Boolean(answer?.unknown)),
    on: { click: act.unknown } }, texts.cantTell);
  const thingsOnPlace = h("p", { class: "where" }, 
    needed ? say(texts.place, { station: station.title || texts.job, place, count }) : station.title || texts.job,
    needed ? null : [" ", h("span", { class: "tag" }, texts.optional)]);
  return [
    thingsOnPlace,
    h("h1", { tabindex: "-1" }, thing.meaning),
    thing.title && !thing.meaning.toLowerCase().includes(thing.title.toLowerCase()) ? h("p", { class: "part" }, thing.title) : null,
    ["setting", "reading"].includes(thing.role)
      ? h("div", { class: "caution" }, h("p", {}, h("b", {}, engine)), thing.cautions.map((one) => h("p", {}, one)))
      : null,
    thing.how ? h("p", {}, h("b", {}, texts.how, " "), thing.how) : null,
    right.length ? h("p", { class: "right" }, h("b", {}, texts.right, " "), right.join("; ")) : null,
    thing.last ? h("p", { class: "hint" }, texts.last, " ", lastText(thing, texts), ` (${thing.last.when})`) : null,
    controls(thing, answer ?? { sides: [], unit: "" }, texts, changed),
    status,
    h("div", { class: "row" }, unknown, photoControl(act, texts)),
    h("div", { class: "photos", id: "photos" }),
    noteControl(answer, act, texts),
    h("nav", { class: "bottom", "aria-label": texts.steps },
      h("button", { type: "button", class: "plain", on: { click: act.back } }, texts.back),
      h("button", { type: "button", class: "plain", on: { click: act.list } }, texts.list),
      h("button", { type: "button", on: { click: act.next } }, texts.next)),
  ];
}

function lastText(thing, texts) {
  const sides = thing.last.shown;
  if (sides.length === 1 || sides[0] === sides[1]) return sides[0];
  return `${texts.left} ${sides[0] || "?"}, ${texts.right_side} ${sides[1] || "?"}`;
}

function photoControl(act, texts) {
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", class: "file",
    on: { change: () => input.files[0] && act.photo(input.files[0]) } });
  return h("label", { class: "button plain photo" }, texts.photo, input);
}

function noteControl(answer, act, texts) {
  const area = h("textarea", { rows: 2, maxlength: 2000, on: { input: () => act.note(area.value) } }, answer?.note ?? "");
  return h("details", { open: Boolean(answer?.note) }, h("summary", {}, texts.note), h("label", {}, texts.noteLabel, area));
}
