// The course of a walk: what it asks for, in which steps, and which things are seen together in one look.

import { truth, verdict } from "./judge.js";
import { canonical } from "./walk-controls.js";

const MOST = 6; // things of one look on a screen

/** Canonical values of a walk by name, as far as they can be read. */
export function valuesOf(walk, list, answers) {
  const values = settledOf(walk, list);
  for (const thing of thingsOf(list)) {
    const answer = answers.get(thing.name);
    if (!answer || answer.unknown) continue;
    const sides = answer.sides.map((one) => canonical(thing, one, answer.unit) ?? null);
    if (sides.some((one) => one !== null)) values[thing.name] = thing.sided ? sides : sides[0];
  }
  return values;
}

/** Values that stand before anything is looked at. */
function settledOf(walk, list) {
  return { ...list.values, "job.header_kind": walk.header || null };
}

export function thingsOf(list) {
  return list.stations.flatMap((station) => station.things);
}

export function sidedOf(list) {
  return new Set(thingsOf(list).filter((one) => one.sided).map((one) => one.name));
}

/** Names of things that some rule asks for with this crop, header and build; the rest may be left out. */
function neededOf(walk, list) {
  const settled = settledOf(walk, list);
  const sided = sidedOf(list);
  const asked = list.rules.filter((one) => one.given === null || truth(one.given, settled, sided) !== false);
  const behind = new Set(asked.flatMap((one) => one.behind));
  return new Set(thingsOf(list).map((one) => one.name).filter((name) => behind.has(name)));
}

/** What a walk may be for, with the names that each asks for; a walk round the whole machine first. */
export function purposesOf(walk, list) {
  const needed = neededOf(walk, list);
  const among = (names) => names && new Set(names.filter((one) => needed.has(one)));
  const known = list.purposes ?? { open: null, changeover: {} };
  const found = [["whole", needed], ["changeover", among(known.changeover[walk.header])], ["open", among(known.open)]];
  return new Map(found.filter(([, names]) => names));
}

/** Names that a walk asks for; all that rules need where its purpose says nothing of this list. */
export function askedOf(walk, list) {
  const purposes = purposesOf(walk, list);
  return purposes.get(walk.purpose) ?? purposes.get("whole");
}

/** How many things that rules ask for are open and no part of a walk. */
export function leftOut(walk, list, answers) {
  const asked = askedOf(walk, list);
  const whole = purposesOf(walk, list).get("whole");
  return thingsOf(list).filter((one) => whole.has(one.name) && !asked.has(one.name) && !settled(one, answers.get(one.name))).length;
}

/** Whether an answer holds something. */
export function answered(answer) {
  return Boolean(answer && !answer.unknown && answer.sides.some((one) => one !== null && one !== ""));
}

/** Sides of a thing, by number, of which nobody said anything. */
export function openSides(thing, answer) {
  if (answer?.unknown) return [];
  return (thing.sided ? [0, 1] : [0]).filter((side) => (answer?.sides[side] ?? "") === "");
}

/** Whether something was said of all of a thing, be it that nobody can tell. */
export function settled(thing, answer) {
  return openSides(thing, answer).length === 0;
}

/** Whether an answer holds something that can't be read, or is impossible. */
export function unreadable(thing, answer) {
  return answered(answer) && answer.sides.some((one) => canonical(thing, one, answer.unit) === undefined);
}

/** The one answer by which a thing is in order: every rule that can be judged by it alone is kept, and none would be by
 *  any other. Undefined where there is no such answer, or more than one. */
export function orderOf(thing, walk, list, sided) {
  const settledValues = settledOf(walk, list);
  const rules = list.rules.filter((one) => one.hold !== null && one.behind.includes(thing.name));
  const right = possible(thing).filter((answer) => {
    const values = { ...settledValues, [thing.name]: thing.sided ? [answer, answer] : answer };
    const verdicts = rules.map((one) => verdict(one, values, sided));
    return verdicts.includes("kept") && !verdicts.includes("broken");
  });
  return right.length === 1 ? right[0] : undefined;
}

function possible(thing) {
  if (thing.form === "yes_no") return [true, false];
  return thing.form === "word" ? thing.words.map((one) => one.id) : [];
}

/** The steps of a walk, in order: [{key, station, things, orders, look, asked, place, count}]. A look's things come as one
 *  step at their station, `look` is its title and `orders` what is in order for each; any other step is one thing. */
export function courseOf(walk, list) {
  const asked = askedOf(walk, list);
  const sided = sidedOf(list);
  return list.stations.flatMap((station) => {
    const looks = looksAt(station, walk, list, asked, sided);
    const together = new Set(looks.flatMap((one) => one.things));
    const alone = station.things
      .filter((one) => !together.has(one))
      .map((one) => ({ key: one.name, station, things: [one], orders: [], look: "", asked: asked.has(one.name) }));
    const steps = [...looks, ...alone];
    const count = steps.filter((one) => one.asked).length;
    let place = 0;
    return steps.map((one) => ({ ...one, place: one.asked ? (place += 1) : 0, count }));
  });
}

function looksAt(station, walk, list, asked, sided) {
  return (list.looks ?? []).flatMap((look) => {
    const seen = station.things
      .filter((one) => one.look === look.id && asked.has(one.name))
      .map((thing) => ({ thing, order: orderOf(thing, walk, list, sided) }))
      .filter((one) => one.order !== undefined);
    if (seen.length < 2) return [];
    const screens = Math.ceil(seen.length / MOST);
    const size = Math.ceil(seen.length / screens);
    return Array.from({ length: screens }, (_, n) => {
      const some = seen.slice(n * size, (n + 1) * size);
      const title = screens > 1 ? `${look.title} (${n + 1}/${screens})` : look.title;
      return {
        key: `${station.id} ${look.id} ${n + 1}`, station, things: some.map((one) => one.thing),
        orders: some.map((one) => one.order), look: title, asked: true,
      };
    });
  });
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

/** Rules that are broken by what was answered so far, the worst first. */
export function brokenNow(list, answers, values) {
  const sided = sidedOf(list);
  const seen = new Set();
  for (const thing of thingsOf(list)) {
    if (!answered(answers.get(thing.name))) continue;
    for (const one of judged(thing, list, values, sided).here) if (one.verdict === "broken") seen.add(one.rule);
  }
  const order = ["high", "serious", "medium", "low"];
  return [...seen].sort((one, other) => order.indexOf(one.level) - order.indexOf(other.level));
}

/** A thing's name, with that of its component. */
export function label(thing) {
  return thing.title ? `${thing.meaning} (${thing.title})` : thing.meaning;
}

/** The text of an answer that is a word or yes and no. */
export function answerText(thing, answer, texts) {
  if (thing.form === "yes_no") return answer ? texts.yes : texts.no;
  return thing.words.find((one) => one.id === answer)?.text ?? answer;
}
