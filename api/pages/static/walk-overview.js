// What the walk holds so far: every station with what is open there, and the summary before it is sent.

import { brokenNow, judged, label, leftOut, purposesOf, answered, settled, sidedOf, unreadable, valuesOf } from "./walk-course.js";
import { h } from "./walk-controls.js";
import { bottom, button, go, keeping, now, say, show, texts } from "./walk-frame.js";
import { undoLine } from "./walk-looks.js";
import { setupOf } from "./walk-setup.js";
import * as store from "./walk-store.js";

/** How far the walk is. */
export function progress() {
  const asked = now.steps.filter((one) => one.asked).flatMap((one) => one.things);
  const done = asked.filter((one) => settled(one, now.answers.get(one.name))).length;
  return h("div", { class: "progress" }, h("progress", { max: asked.length, value: done, "aria-label": texts.progress }),
    h("span", {}, `${done} / ${asked.length}`));
}

/** Things of a step that are open. */
function openOf(step) {
  return step.things.filter((one) => !settled(one, now.answers.get(one.name)));
}

function mark(step, values, sided) {
  const answers = step.things.map((one) => [one, now.answers.get(one.name)]);
  if (answers.some(([thing, one]) => unreadable(thing, one))) return ["!", texts.unreadableShort];
  const broken = answers.some(([thing, one]) => answered(one) && judged(thing, now.list, values, sided).here.some((each) => each.verdict === "broken"));
  if (broken) return ["■", texts.brokenShort];
  const open = openOf(step).length;
  if (open && step.look) return ["○", say(texts.openNumber, { number: open })];
  if (open) return answered(answers[0][1]) ? ["○", texts.oneSide] : step.asked ? ["○", texts.toDo] : ["·", texts.optional];
  return answers.some(([, one]) => one.unknown) ? ["?", texts.cantTell] : ["✓", texts.answered];
}

function line(step, values, sided) {
  const [sign, word] = mark(step, values, sided);
  const name = step.look ? `${step.look}: ${step.things.map((one) => one.title || one.meaning).join(", ")}` : label(step.things[0]);
  return h("li", {}, button([h("span", { "aria-hidden": "true" }, `${sign} `), name, h("small", {}, ` ${word}`)], () => go.step(step.key), true, { class: "plain jump" }));
}

/** Every station with what is open there. */
export function showList(at) {
  const values = valuesOf(now.walk, now.list, now.answers);
  const sided = sidedOf(now.list);
  const purposes = purposesOf(now.walk, now.list);
  const nextOpen = now.steps.find((one) => one.asked && openOf(one).length);
  const names = { whole: texts.wholeMachine, changeover: texts.changeover, open: texts.openOnes };
  show("",
    h("h1", { tabindex: "-1" }, texts.list),
    undoLine(),
    purposes.size > 1 ? button([h("span", {}, `${texts.purposeNow} `), names[now.walk.purpose] ?? names.whole], go.purposes, true, { class: "plain wide-button" }) : null,
    now.list.stations.map((station) => {
      const own = now.steps.filter((one) => one.station === station);
      const asked = own.filter((one) => one.asked);
      const open = asked.filter((one) => openOf(one).length);
      const rest = own.filter((one) => !open.includes(one));
      const number = open.reduce((sum, one) => sum + openOf(one).length, 0);
      if (!own.length) return null;
      return h("details", { open: now.steps[at]?.station === station, class: "station" },
        h("summary", {}, `${station.title || texts.job} · ${asked.length ? (number ? say(texts.openNumber, { number }) : texts.nothingOpen) : texts.optional}`),
        h("ul", { class: "lines" }, open.map((one) => line(one, values, sided))),
        rest.length
          ? h("details", { open: !open.length }, h("summary", {}, say(texts.others, { number: rest.length })),
              h("ul", { class: "lines" }, rest.map((one) => line(one, values, sided))))
          : null);
    }),
    bottom(button(texts.back, () => go.at(at)), nextOpen ? button(texts.nextOpen, () => go.step(nextOpen.key)) : null, button(texts.summary, showSummary, false)),
  );
}

/** What was found and what was not, before it is sent. */
export async function showSummary() {
  const { walk, list, answers, steps } = now;
  const asked = steps.filter((one) => one.asked);
  const things = asked.flatMap((one) => one.things);
  const open = things.filter((one) => !settled(one, answers.get(one.name)));
  const wrong = steps.filter((one) => one.things.some((thing) => unreadable(thing, answers.get(thing.name))));
  const unknown = [...answers.values()].filter((one) => one.unknown);
  const broken = brokenNow(list, answers, valuesOf(walk, list, answers));
  const photos = await store.photosOf(walk.id);
  const outside = leftOut(walk, list, answers);
  const jump = (step) => h("li", {}, button(step.look || label(step.things[0]), () => go.step(step.key), true, { class: "plain jump" }));
  const widen = async () => {
    const wider = { ...now.walk, purpose: "whole", at: "" };
    if (await keeping(() => store.keepWalk(wider))) await go.open(wider);
  };
  show("",
    h("h1", { tabindex: "-1" }, texts.summary),
    h("p", { class: "lead" }, say(texts.sum, { done: things.length - open.length, of: things.length, unknown: unknown.length, photos: photos.length })),
    outside
      ? h("div", { class: "caution" }, h("p", {}, say(texts.outside, { number: outside })), button(texts.goWhole, widen))
      : null,
    wrong.length ? [h("h2", {}, texts.unreadableShort), h("ul", { class: "lines" }, wrong.map(jump))] : null,
    broken.length
      ? [h("h2", {}, texts.brokenHere), h("ul", { class: "lines" }, broken.map((rule) => h("li", {}, h("span", { class: `level ${rule.level}` }, texts[rule.level]), " ", rule.title)))]
      : null,
    h("p", { class: "hint" }, texts.serverDecides),
    open.length
      ? h("details", {}, h("summary", {}, say(texts.left_open, { number: open.length })), h("ul", { class: "lines" }, asked.filter((one) => openOf(one).length).map(jump)))
      : null,
    bottom(button(texts.back, go.last), button(texts.list, () => showList(0)), button(texts.finish, finish, false, { disabled: wrong.length > 0 })),
  );
  await go.waiting();
}

async function finish() {
  const done = { ...now.walk, finished: Date.now(), body: JSON.stringify(setupOf(now.walk, now.list, now.answers)) };
  if (!(await keeping(() => store.keepWalk(done)))) return;
  now.walk = done;
  await go.finished();
  await go.send();
}
