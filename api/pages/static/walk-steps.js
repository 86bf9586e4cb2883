// One thing at a time: what to look at, how, what is right, the controls, and what the published rules say of the answer.

import { answered, judged, rightOf, sidedOf, unreadable } from "./walk-course.js";
import { controls, h } from "./walk-controls.js";
import { bottom, button, say, texts } from "./walk-frame.js";

/** The judgement as it is shown below the controls. */
export function judgement(thing, answer, list, values) {
  if (unreadable(thing, answer)) {
    const range = thing.range ? say(texts.impossible, { range: thing.range }) : texts.unreadable;
    return [h("p", { class: "wrong" }, range)];
  }
  if (!answered(answer)) return answer?.unknown ? [h("p", {}, texts.unknownNoted)] : [];
  const { here, elsewhere } = judged(thing, list, values, sidedOf(list));
  const broken = here.filter((one) => one.verdict === "broken");
  const open = here.filter((one) => one.verdict === "unknown").length;
  const found = brokenLines(broken, thing);
  if (!broken.length && here.some((one) => one.verdict === "kept")) found.push(h("p", { class: "kept" }, "✓ ", texts.kept));
  if (open) found.push(h("p", { class: "hint" }, say(texts.open, { number: open })));
  if (elsewhere) found.push(h("p", { class: "hint" }, say(texts.elsewhere, { number: elsewhere })));
  return found;
}

/** Rules that an answer breaks, as they are shown beside it. */
export function brokenLines(broken, thing) {
  return broken.map(({ rule }) =>
    h("div", { class: "broken" },
      h("p", {}, h("span", { class: `level ${rule.level}` }, texts[rule.level]), " ", h("b", {}, rule.title)),
      rule.wanted[thing.name] ? h("p", {}, texts.rightIs, " ", h("b", {}, rule.wanted[thing.name])) : null,
      rule.people ? h("p", {}, h("span", { class: "tag" }, texts.people)) : null),
  );
}

/** Where on the walk a step is. */
export function whereabouts(step) {
  const place = step.station.title || texts.job;
  return h("p", { class: "where" }, step.asked ? say(texts.place, { station: place, place: step.place, count: step.count }) : place,
    step.asked ? null : [" ", h("span", { class: "tag" }, texts.optional)]);
}

/** What must hold of the engine, and what is to be heeded. */
export function cautions(things) {
  const [first] = things;
  if (!["setting", "reading"].includes(first.role)) return null;
  const engine = { stopped: texts.engineOff, running: texts.engineRuns, "at work": texts.atWork }[first.when];
  const said = new Set(things.flatMap((one) => one.cautions));
  return h("div", { class: "caution" }, h("p", {}, h("b", {}, engine)), [...said].map((one) => h("p", {}, one)));
}

/** The view of one thing. `act` has: changed(answer part), now(), unknown(), note(text), photo(file), back(), next(), list(). */
export function stepView(step, thing, list, answer, values, act) {
  const right = rightOf(thing, list, values, sidedOf(list));
  const status = h("div", { class: "verdicts", role: "status", "aria-live": "polite" }, judgement(thing, answer, list, values));
  const changed = async (part) => {
    await act.changed(part);
    const now = act.now();
    status.replaceChildren(...judgement(thing, now.answer, list, now.values));
    unknown.setAttribute("aria-pressed", "false");
  };
  const unknown = button(texts.cantTell, act.unknown, true, { "aria-pressed": String(Boolean(answer?.unknown)) });
  return [
    whereabouts(step),
    h("h1", { tabindex: "-1" }, thing.meaning),
    thing.title && !thing.meaning.toLowerCase().includes(thing.title.toLowerCase()) ? h("p", { class: "part" }, thing.title) : null,
    cautions([thing]),
    thing.how ? h("p", {}, h("b", {}, texts.how, " "), thing.how) : null,
    right.length ? h("p", { class: "right" }, h("b", {}, texts.right, " "), right.join("; ")) : null,
    thing.last ? h("p", { class: "hint" }, texts.last, " ", lastText(thing), ` (${thing.last.when})`) : null,
    entered(controls(thing, answer ?? { sides: [], unit: "" }, texts, changed), act),
    status,
    h("div", { class: "row" }, unknown, photoControl(act)),
    h("div", { class: "photos", id: "photos" }),
    noteControl(answer, act),
    bottom(button(texts.back, act.back), button(texts.list, act.list), button(texts.next, act.next, false)),
  ];
}

/** Controls in which the keyboard's own key for what is next leads on: to the other side, then to the next step. */
function entered(box, act) {
  box.addEventListener("keydown", (event) => {
    const written = [...box.querySelectorAll("input:not([type=radio])")];
    const at = written.indexOf(event.target);
    if (event.key !== "Enter" || at < 0) return;
    event.preventDefault();
    if (written[at + 1]) written[at + 1].focus();
    else act.next();
  });
  return box;
}

function lastText(thing) {
  const sides = thing.last.shown;
  if (sides.length === 1 || sides[0] === sides[1]) return sides[0];
  return `${texts.left} ${sides[0] || "?"}, ${texts.right_side} ${sides[1] || "?"}`;
}

function photoControl(act) {
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", class: "file",
    on: { change: () => input.files[0] && act.photo(input.files[0]) } });
  return h("label", { class: "button plain photo" }, texts.photo, input);
}

function noteControl(answer, act) {
  const area = h("textarea", { rows: 2, maxlength: 2000, on: { input: () => act.note(area.value) } }, answer?.note ?? "");
  return h("details", { open: Boolean(answer?.note) }, h("summary", {}, texts.note), h("label", {}, texts.noteLabel, area));
}
