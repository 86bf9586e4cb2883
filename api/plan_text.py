"""Plans as text for people: the work in walking order, so that a mechanic can do it from the printed page alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from api.plan_wire import in_sentence
from api.text import MARKS, Page

Plain = dict[str, Any]

NOT_AS_EXPECTED = "If a reading is not as expected, write down what it is and plan again."
STATES = {
    "stopped": "With the engine off and everything stopped",
    "running": "With the engine running",
    "at work": "At work in the crop",
}
SIGNS = {True: "Nothing cheaper does it: proven.", False: "The cheapest found. Time ran out before that was proven."}


class PlanPage(Page):
    """Lays plans out for a width; what it takes is what the JSON answers hold."""

    def planned(self, planned: Plain) -> Iterator[str]:
        """The audit in short, then the work, for each way an undecided build may be."""
        yield self.strong(self.machine(planned))
        yield from self.found(planned)
        yield from self.locks(planned["locks"])
        for branch in planned["branches"]:
            yield ""
            yield from self.branch(branch, planned)

    def changeover(self, planned: Plain) -> Iterator[str]:
        """The same for another crop than today's."""
        yield from self.wrapped(f"{_over(planned)}. What was wrong before is part of the work.")
        yield from self.planned(planned)

    def moves(self, planned: Plain) -> Iterator[str]:
        """A sheet for the cab: what moves between two crops on a machine that is in order."""
        yield self.strong(f"{_over(planned)}: {planned['card']}")
        yield from self.wrapped(
            "For a machine that is in order for the first crop; audit it first. "
            f"Judged by rulebook {planned['rulebook']['digest'][:12]}."
        )
        for branch in planned["branches"]:
            yield ""
            yield from self.builds(branch["builds"])
            plan = branch["plan"]
            if plan is None:
                yield from self.conflict(branch["conflict"], planned)
            elif not plan["steps"]:
                yield "Nothing moves between these crops."
            else:
                yield from self.sheet(plan)

    def whatif(self, answer: Plain) -> Iterator[str]:
        """What some changes would do, then the work that would be left."""
        yield self.strong(f"What if, on {self.machine(answer['after'])}")
        for change in answer["changes"]:
            yield from self.wrapped(f"{_named(change)}: {moved(change)}", "  ", "      ")
        if not answer["changes"]:
            yield "  Nothing would differ from what was found."
        yield from self.facts_that_change(answer["facts"])
        for title, key in (("Findings that would be gone", "gone"), ("Findings that would be new", "new")):
            yield self.strong(f"{title}: {len(answer[key]) or 'none'}")
            for finding in answer[key]:
                yield from self.wrapped(f"{self.one_finding(finding)}, {finding['verdict']}", "  ", "      ")
        yield self.strong("The work")
        for label, key in (("as it is", "before"), ("as it would be", "after")):
            audit = answer[key]["found"]["clearance"]
            for branch in answer[key]["branches"]:
                plan = branch["plan"]
                told = summed(plan) if plan else "no plan"
                yield from self.wrapped(f"{label + _in_builds(branch['builds']):<15} {audit}; {told}", "  ", "      ")
        yield ""
        yield from self.planned(answer["after"])

    def facts_that_change(self, facts: list[Plain]) -> Iterator[str]:
        if facts:
            yield self.strong("Computed values that would change")
        for fact in facts:
            was, would = (fact[key]["shown"] or "not known" for key in ("before", "after"))
            yield from self.wrapped(
                f"{in_sentence(fact['meaning'])} [{fact['name']}]: {was} -> {would}", "  ", "      "
            )

    # ------------------------------------------------------------------------------------------------------- the head

    def machine(self, planned: Plain) -> str:
        header = f", {planned['header_kind']}" if planned["header_kind"] else ""
        return f"{planned['unit']}  {planned['card']}, {planned['crop']}{header}"

    def found(self, planned: Plain) -> Iterator[str]:
        found = planned["found"]
        counts, holding = found["counts"], sum(finding["holds_start"] for finding in found["findings"])
        why = f" by {_counted(holding, 'finding')}" if holding else ""
        clearance = self.paint(found["clearance"].upper(), "high" if holding else "")
        yield (
            f"{clearance}{why}: {counts['broken']} broken, {counts['unknown']} not known, {counts['kept']} kept. "
            f"Rulebook {planned['rulebook']['digest'][:12]}."
        )

    def locks(self, locks: Plain) -> Iterator[str]:
        said = [f"{', '.join(locks['leave'])} left as found"] if locks["leave"] else []
        said += [f"no {', no '.join(locks['lacking'])} on hand"] if locks["lacking"] else []
        said += [f"at most {_counted(locks['people'], 'person', 'people')}"] if locks["people"] is not None else []
        said += [f"at most {locks['minutes']:g} minutes"] if locks["minutes"] is not None else []
        if said:
            yield from self.wrapped(f"Asked for: {'; '.join(said)}.", "", "  ")

    def builds(self, builds: Plain) -> Iterator[str]:
        if builds:
            told = " and ".join(f"{name} is {choice}" for name, choice in builds.items())
            yield self.strong(f"If {told}")

    def branch(self, branch: Plain, planned: Plain) -> Iterator[str]:
        yield from self.builds(branch["builds"])
        plan = branch["plan"]
        if plan is None:
            yield from self.conflict(branch["conflict"], planned)
        elif not plan["steps"]:
            yield "Nothing to do: every rule that is asked of this machine is kept."
        else:
            yield from self.wrapped(f"The work: {summed(plan)}. {SIGNS[plan['proven']]}", "", "  ")
            yield from self.take_along(plan)
            yield from self.work(plan)

    def take_along(self, plan: Plain) -> Iterator[str]:
        if plan["tools"]:
            yield from self.wrapped(f"Tools to take along: {', '.join(plan['tools'])}.", "", "  ")
        if plan["parts_needed"]:
            yield from self.wrapped(f"Parts to take along: {', '.join(plan['parts_needed'])}.", "", "  ")

    # ------------------------------------------------------------------------------------------------------- the work

    def work(self, plan: Plain) -> Iterator[str]:
        """Every step in the order in which it is done, with what makes each stretch of work safe."""
        told: dict[str, int] = {}
        for when, stretch in groupby(plan["steps"], key=lambda step: str(step["when"])):
            steps = list(stretch)
            yield ""
            yield self.strong(STATES[when])
            if when == "stopped":
                for caution in _before(plan["safety"], steps):
                    yield from self.wrapped(f"! {caution}", "  ", "    ")
            for station, some in groupby(steps, key=_station):
                yield self.strong(f"  {station}")
                for step in some:
                    yield from self.step(step, told)
            if when == "stopped":
                yield ""
                for caution in plan["safety"]["restart"]:
                    yield from self.wrapped(f"! {caution}", "  ", "    ")
        yield ""
        if any(change["taken"] for step in plan["steps"] for change in step["changes"]):
            yield from self.wrapped(NOT_AS_EXPECTED)
        yield from self.wrapped(plan["safety"]["last"])

    def step(self, step: Plain, told: dict[str, int]) -> Iterator[str]:
        """One step.

        Args:
            told: number of the step that tells a procedure's own steps; filled in here.
        """
        yield from map(
            self.strong, self.wrapped(f"{step['number']}. {titled(step)} ({self.takes(step)})", "  ", "     ")
        )
        for caution in step["cautions"]:
            yield from self.wrapped(f"! {caution}", "     ", "       ")
        for because in step["because"]:
            yield from self.wrapped(_because(because, step["number"]), "     ", "       ")
        for change in step["changes"]:
            yield from self.change(change, alone=not step["procedure"])
        if step["procedure"]:
            first = told.setdefault(step["procedure"], step["number"])
            if first != step["number"]:
                yield f"     How: as told under {first}."
            else:
                yield from self.doing(step)
        for record in step["records"]:
            yield from self.wrapped(
                f"Write down: the time when {in_sentence(record['meaning'])} [{record['event']}].", "     ", "       "
            )
        if step["otherwise"]:
            others = ", or ".join(in_sentence(other["title"]) for other in step["otherwise"])
            yield from self.wrapped(f"If not: {others}; plan again.", "     ", "       ")
        if step["clears"]:
            cleared = "; ".join(self.one_finding(finding) for finding in step["clears"])
            yield from self.wrapped(f"Answers: {cleared}.", "     ", "       ")

    def takes(self, step: Plain) -> str:
        people = _people(step)
        tools = f"; {', '.join(step['tools'])}" if step["tools"] else ""
        parts = f"; parts: {', '.join(step['parts'])}" if step["parts"] else ""
        return f"{step['minutes']:g} min{people}{tools}{parts}"

    def doing(self, step: Plain) -> Iterator[str]:
        for number, one in enumerate(step["steps"], 1):
            trap = f" Otherwise: {one['trap']}" if one["trap"] else ""
            yield from self.wrapped(f"{step['number']}.{number} {one['do']}{trap}", "     ", "         ")

    def change(self, change: Plain, alone: bool) -> Iterator[str]:
        """What is set, brought right or taken; ``alone`` where taking it is the whole step."""
        right = "; ".join(change["right"])
        if change["taken"]:
            expect = right or as_one(change["after"])
            what = f"How: {change['how']}" if alone else f"Take: {_named(change)}. {change['how']}".rstrip()
            if change["how"] or not alone:
                yield from self.wrapped(what, "     ", "       ")
            yield from self.wrapped(f"Expect: {expect}. As found: {as_one(change['before'])}.", "     ", "       ")
            return
        if change["role"] == "setting":
            wanted = f" (wanted: {right})" if right and right != change["after"][0]["shown"] else ""
            told = f"Set: {_named(change)}: {moved(change)}{wanted}"
        else:
            told = f"Bring right: {_named(change)}: {brought(change)}"
        yield from self.wrapped(told, "     ", "       ")

    def sheet(self, plan: Plain) -> Iterator[str]:
        """What is moved, to be ticked off, and what is looked at; each caution where it is first needed."""
        yield from self.wrapped(f"{summed(plan)}. {SIGNS[plan['proven']]}", "", "  ")
        yield from self.take_along(plan)
        said: dict[str, None] = {}
        for when, stretch in groupby(plan["steps"], key=lambda step: str(step["when"])):
            steps = list(stretch)
            yield self.strong(STATES[when])
            if when == "stopped":
                before = [caution for caution in _before(plan["safety"], steps) if caution not in said]
                said |= dict.fromkeys(before)
                told = f"Before any work: {' '.join(before)}" if before else "Again before any work: all of the above."
                yield from self.wrapped(told, "  ", "  ")
            for station, some in groupby(steps, key=_station):
                yield f"  {station}"
                yield from self.ticked(list(some), said)
            if when == "stopped":
                yield from self.wrapped(" ".join(plan["safety"]["restart"]), "  ", "  ")
        yield from self.wrapped(plan["safety"]["last"])

    def ticked(self, steps: list[Plain], said: dict[str, None]) -> Iterator[str]:
        """The steps at one station; ``said`` are the cautions that stand already, filled in here."""
        for step in steps:
            if step["procedure"]:
                moves = [change for change in step["changes"] if _is_move(change)]
                told = "; ".join(f"{change['quantity']} {moved(change)}" for change in moves)
                takes = f"{step['minutes']:g} min{_people(step)}"
                yield from self.wrapped(f"[ ] {titled(step)}{': ' * bool(told)}{told} ({takes})", "    ", "        ")
                for caution in step["cautions"]:
                    if caution not in said:
                        said[caution] = None
                        yield from self.wrapped(f"! {caution}", "        ", "          ")
        looked_at = [in_sentence(step["title"]) for step in steps if not step["procedure"]]
        if looked_at:
            yield from self.wrapped(f"[ ] Look at or take: {'; '.join(looked_at)}.", "    ", "        ")

    # --------------------------------------------------------------------------------------------------------- no plan

    def conflict(self, conflict: Plain, planned: Plain) -> Iterator[str]:
        """Why there is no plan, and what opens one."""
        yield self.strong(self.paint("No plan.", "high") + " These can't all hold together:")
        for rule in conflict["rules"]:
            on = f" - {rule['on_title']}" if rule["on_title"] else ""
            given = f"where {rule['given']}, " if rule["given"] else ""
            yield from self.wrapped(
                f"- {rule['title']}{on}: {given}it must hold that {rule['hold']} [{rule['rule']}]", "  ", "    "
            )
        for lock in conflict["locks"]:
            yield from self.wrapped(f"- asked for: {in_sentence(lock['says'])}", "  ", "    ")
        for fixed in conflict["fixed"]:
            yield from self.wrapped(
                f"- nothing on this machine moves it: {_named(fixed)}: {as_one(fixed['value'])}", "  ", "    "
            )
        for release in conflict["releases"]:
            yield from self.wrapped(
                f"It opens if {' and '.join(in_sentence(lock['opens']) for lock in release)}.", "", "  "
            )
        if not conflict["releases"]:
            yield from self.wrapped(
                f"Nothing that was asked for stands in the way. Look at what was found, and at what card "
                f"{planned['card']} says can be moved for {planned['crop']}.",
                "",
                "  ",
            )

    def one_finding(self, finding: Plain) -> str:
        on = f" - {finding['on_title']}" if finding["on_title"] else ""
        return f"{MARKS[finding['level']]} {finding['level'].upper()} {finding['title']}{on}"


def _over(planned: Plain) -> str:
    """From which crop and header to which."""
    headers = [branch["plan"]["header_kind"] for branch in planned["branches"] if branch["plan"]]
    now, then = (f", {kind}," if kind else "" for kind in (planned["header_kind"], headers[0] if headers else ""))
    return f"Changeover from {planned['from_crop']}{now} to {planned['crop']}{then}".rstrip(",")


def _before(safety: Plain, steps: Iterable[Plain]) -> list[str]:
    """Cautions before a stretch of stopped work: those of all such work, and what its procedures ask for beyond."""
    own = [caution for step in steps for caution in step["safe"] if caution not in safety["restart"]]
    return list(dict.fromkeys((*safety["stopped"], *own)))


def summed(plan: Plain) -> str:
    """The sum of a plan: steps, time, people, parts."""
    if not plan["steps"]:
        return "nothing to do"
    hours = f" ({plan['minutes'] / 60:.1f} h)" if plan["minutes"] >= 60 else ""
    people = "one person" if plan["people"] <= 1 else f"{plan['people']} people"
    parts = f", {_counted(plan['parts'], 'part')}" if plan["parts"] else ", no parts"
    return f"{_counted(len(plan['steps']), 'step')}, {plan['minutes']:g} minutes{hours}, {people}{parts}"


def titled(step: Plain) -> str:
    """What is done, and on what."""
    if not step["procedure"]:
        return f"Take: {in_sentence(step['title'])} [{step['on']}]"
    return f"{step['title']} - {step['on_title']}" if step["on_title"] else str(step["title"])


def moved(change: Plain) -> str:
    """'lowered -> raised, both sides'; a side that stays says so."""
    pairs = list(zip(change["before"], change["after"], strict=False))
    if len(change["before"]) != len(change["after"]):
        return f"{as_one(change['before'])} -> {as_one(change['after'])}"
    told = [f"{_shown(was)} -> {_shown(now)}" if was["value"] != now["value"] else f"{_shown(was)}, stays"
            for was, now in pairs]  # fmt: skip
    if len(told) == 1:
        return told[0]
    if len(set(told)) == 1:
        return f"{told[0]}, both sides"
    return "; ".join(f"{now['side']} {one}" for one, (_, now) in zip(told, pairs, strict=True))


def as_one(values: list[Plain]) -> str:
    """Both sides in one text."""
    told = [_shown(one) for one in values]
    if len(told) == 1:
        return told[0]
    return f"{told[0]}, both sides" if len(set(told)) == 1 else ", ".join(f"{v['side']} {_shown(v)}" for v in values)


def brought(change: Plain) -> str:
    """What a reading is as found and what is wanted of it; the value it may come to only where nothing says more."""
    if change["right"]:
        return f"{as_one(change['before'])} as found, wanted {'; '.join(change['right'])}"
    return as_one(change["after"]) if change["before"] == change["after"] else moved(change)


def _is_move(change: Plain) -> bool:
    """Whether something ends up elsewhere than before: a setting, or the header."""
    return change["role"] in ("setting", "job") and not change["taken"] and change["before"] != change["after"]


def _people(step: Plain) -> str:
    return f", {step['people']} people" if step["people"] > 1 else ""


def _station(step: Plain) -> str:
    """Where a step is done, as a heading."""
    if step["station"]["title"]:
        return str(step["station"]["title"])
    return "The job" if step["on"].startswith(("job.", "unit.")) else "Anywhere on the machine"


def _shown(one: Plain) -> str:
    return one["shown"] or "not known"


def _named(change: Plain) -> str:
    return f"{in_sentence(change['meaning'])} [{change['quantity']}]"


def _because(because: Plain, number: int) -> str:
    title = in_sentence(because["title"])
    earlier = [n for n in because["steps"] if n < number]
    later = [n for n in because["steps"] if n > number]
    if earlier:
        return f"Because: follows step {earlier[-1]} ({title})."
    return f"Because: goes before step {later[0]} ({title})." if later else f"Because: {title} calls for it."


def _in_builds(builds: Plain) -> str:
    return f", {', '.join(builds.values())}" if builds else ""


def _counted(number: int, noun: str, several: str = "") -> str:
    return f"{number} {noun if number == 1 else several or noun + 's'}"
