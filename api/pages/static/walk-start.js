// Where a walk begins: the walks on this device, a new one, and what it is for.

import { courseOf, leftOut, purposesOf } from "./walk-course.js";
import { canonical, h } from "./walk-controls.js";
import { age, button, cropText, go, keeping, now, page, say, show, texts } from "./walk-frame.js";
import * as store from "./walk-store.js";

const PATIENCE = 15000; // ms that a list is waited for

/** The list for a crop: the server's as it is now, else the one that this device kept. */
export async function listFor(crop) {
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

/** The start. `said` is what to say above it, null for nothing. */
export async function showStart(said = null) {
  now.walk = null;
  await store.tidy(Date.now());
  const mine = (await store.walks()).filter((one) => one.unit === page.unit);
  const open = mine.filter((one) => !one.finished).reverse();
  const done = mine.filter((one) => one.finished).reverse().slice(0, 5);
  show("",
    h("h1", { tabindex: "-1" }, say(texts.title, { unit: page.unit })),
    said,
    open.map((one) => button([say(texts.goOn, { when: age(one.begun) }), h("small", {}, ` ${cropText(one.crop)}`)], () => go.open(one), false, { class: "wide-button" })),
    page.may.record ? form() : h("p", { class: "lead" }, texts.noRight),
    button(texts.keepOthers, keepOthers),
    done.length ? h("h2", {}, texts.earlier) : null,
    done.map((one) => button(
      `${new Date(one.finished).toLocaleString(document.documentElement.lang)} · ${cropText(one.crop)} · ${one.sent ? texts.sent : texts.waits}`,
      () => go.open(one), true, { class: "plain wide-button" })),
  );
  await go.waiting();
}

function form() {
  const options = (some, chosen) => some.map((one) => h("option", { value: one.id, selected: one.id === chosen }, one.text));
  const states = [["as-found", texts.asFound], ...(page.may.correct ? [["as-left", texts.asLeft]] : [])];
  return h("form", { class: "stack", on: { submit: begin } },
    h("h2", {}, texts.begin),
    h("label", {}, texts.crop, h("select", { name: "crop" }, options(page.crops, page.crop))),
    h("label", {}, texts.header, h("select", { name: "header" }, h("option", { value: "" }, texts.notKnown), options(page.headers, page.header))),
    h("fieldset", { class: "picks two" }, h("legend", {}, texts.state), states.map(([value, text]) =>
      h("label", { class: "pick" }, h("input", { type: "radio", name: "state", value, checked: value === "as-found" }), h("span", {}, h("b", {}, text))))),
    h("label", {}, texts.by, h("input", { name: "by", value: page.who, required: true, maxlength: 80, autocomplete: "name" })),
    h("label", {}, texts.hours, h("input", { name: "hours", inputmode: "decimal", autocomplete: "off" })),
    h("button", {}, texts.beginNow));
}

async function begin(event) {
  event.preventDefault();
  const said = Object.fromEntries([...new FormData(event.target)].map(([name, value]) => [name, value.trim()]));
  if (!readableHours(said.hours)) return showStart(h("p", { class: "wrong" }, texts.badHours));
  const own = event.target.querySelector("form > button");
  own.disabled = true; // one press begins one walk, however long a weak signal takes
  own.textContent = texts.fetching;
  const list = await listFor(said.crop);
  if (!list) return showStart(h("p", { class: "wrong" }, texts.noList));
  const walk = {
    id: crypto.randomUUID(), unit: page.unit, ...said, purpose: "whole", begun: Date.now(), at: "", finished: 0, undo: null,
    rulebook: list.rulebook, known: list.newest?.number ?? 0,
  };
  const kept = await keeping(async () => {
    await store.keepList("walk", walk.id, list);
    await store.keepWalk(walk);
  });
  if (!kept) return showStart();
  await go.load(walk);
  return purposesOf(walk, list).size > 1 ? showPurposes() : go.open(walk);
}

function readableHours(text) {
  return text === "" || canonical({ form: "number", units: [], lowest: 0, highest: 60000 }, text, "") !== undefined;
}

async function keepOthers(event) {
  const own = event.currentTarget;
  own.disabled = true;
  let number = 0;
  for (const one of page.crops) if (await listFor(one.id)) number += 1;
  own.textContent = say(texts.keptLists, { number, of: page.crops.length });
}

/** What the walk is for: how much each purpose asks for, and what it leaves unknown. */
export async function showPurposes() {
  const { walk, list, answers } = now;
  const purposes = purposesOf(walk, list);
  const choose = async (purpose) => {
    const changed = { ...now.walk, purpose, at: "" };
    if (await keeping(() => store.keepWalk(changed))) await go.open(changed);
  };
  const names = { whole: texts.wholeMachine, changeover: texts.changeover, open: texts.openOnes };
  show("",
    h("h1", { tabindex: "-1" }, texts.purpose),
    h("p", { class: "hint" }, texts.purposeJudged),
    [...purposes].map(([purpose, asked]) => {
      const steps = courseOf({ ...walk, purpose }, list).filter((one) => one.asked);
      const left = leftOut({ ...walk, purpose }, list, answers);
      return h("section", { class: "purpose" },
        button(names[purpose], () => choose(purpose), walk.purpose !== purpose || purposes.size === 1,
          { class: walk.purpose === purpose ? "wide-button" : "plain wide-button", "aria-describedby": `about-${purpose}` }),
        h("div", { id: `about-${purpose}` },
          h("p", {}, say(texts.purposeAsks, { number: asked.size, steps: steps.length })),
          left ? h("p", {}, h("b", {}, say(texts.purposeLeaves, { number: left }))) : null));
    }),
    purposes.has("changeover") ? null : h("p", { class: "hint" }, walk.header ? texts.noChangeover : texts.noHeader),
  );
  await go.waiting();
}
