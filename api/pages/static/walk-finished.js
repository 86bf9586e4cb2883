// A walk that is finished: whether the server has it, what it said, and what can be done if it did not take it.

import { h } from "./walk-controls.js";
import { button, go, keeping, now, say, show, texts } from "./walk-frame.js";
import * as store from "./walk-store.js";

export async function showFinished() {
  const { walk } = now;
  const between = walk.setup ? walk.setup.number - walk.known - 1 : 0;
  const openAgain = async () => {
    const again = { ...walk, finished: 0, body: "" };
    delete again.refused;
    if (await keeping(() => store.keepWalk(again))) await go.open(again);
  };
  const retry = async () => {
    const again = { ...walk };
    delete again.refused;
    if (await keeping(() => store.keepWalk(again))) await go.send();
  };
  const save = async () => {
    const address = URL.createObjectURL(await store.exported(walk));
    h("a", { href: address, download: `${walk.unit}-${new Date(walk.finished).toISOString().slice(0, 10)}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
  };
  show("",
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
      walk.refused && !walk.setup ? button(texts.openAgain, openAgain, false) : null,
      walk.refused ? button(texts.tryAgain, retry) : null,
      button(texts.toFile, save),
      button(texts.toStart, () => go.start())),
  );
  await go.waiting();
}
