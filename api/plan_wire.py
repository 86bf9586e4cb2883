"""Plans, changeovers and what-ifs as plain values for JSON; the same shape for the command line and for HTTP."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from api.wire import counts_json, fact_json, shown, station_title, title_of
from audit.intake.setups import HEADER_KEYS, JOB_KEYS, UNIT_KEYS, VALUE_SECTIONS
from audit.measures import CANONICAL, dimension_of, from_canonical, to_canonical
from audit.nouns.fact import Fact
from audit.nouns.finding import Finding, Report
from audit.nouns.plan import Asked, Branch, Change, Conflict, Lock, Plan, Planned, WorkStep
from audit.nouns.proof import Machine
from audit.nouns.quantity import SIDES, Form, Quantity, Role, Sided, Value, When
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.nouns.vocabulary import on_card
from audit.sentence import sentence
from audit.sheet import Question, make_sheet

if TYPE_CHECKING:
    from audit.planning.whatif import WhatIf

Plain = dict[str, Any]

STOPPED = ("engine-off", "key-out", "wait-stopped", "header-stop", "feeder-stop")
"""Cautions before any work on the stopped machine."""
RESTART = ("guards-back", "all-clear")
"""Cautions before the engine is started again."""
RUNNING = "engine-must-run"
"""Caution wherever the engine runs for the work."""
LAST = "manual"
"""What stands once, at the end."""
_TOLD_ONCE = frozenset((*STOPPED, *RESTART, LAST))
LATEST = datetime(9999, 1, 1, tzinfo=UTC).timestamp()


def out_of_time_after(seconds: float) -> Callable[[], bool]:
    """What a planner asks while it searches: whether the time it was given is over."""
    end = time.monotonic() + seconds
    return lambda: time.monotonic() > end


def planned_json(planned: Planned, rulebook: Rulebook) -> Plain:
    """A setup's audit in short and the work that puts it right; a branch for each way an undecided build may be."""
    report = planned.before
    teller = _Teller(report, rulebook)
    return {
        "unit": report.unit,
        "card": report.card,
        "crop": report.crop,
        "header_kind": report.header_kind,
        "rulebook": {"digest": report.digest},
        "builds": dict(report.builds),
        "found": {
            "clearance": report.clearance.value,
            "counts": counts_json(report.counts),
            "findings": [teller.finding(finding) for finding in report.findings],
        },
        "locks": {
            "leave": list(planned.locks.leave),
            "lacking": list(planned.locks.lacking),
            "people": planned.locks.people,
            "minutes": planned.locks.minutes,
        },
        "branches": [teller.branch(branch) for branch in planned.branches],
    }


def changeover_json(planned: Planned, from_crop: str, rulebook: Rulebook) -> Plain:
    """The work from one crop to another; what was wrong before is part of it."""
    return {"from_crop": from_crop, **planned_json(planned, rulebook)}


def whatif_json(what: WhatIf, before: Setup, after: Setup, rulebook: Rulebook) -> Plain:
    """What some changes would do: to facts, to findings, and to the work."""
    names = on_card(rulebook.machines[before.unit.card], rulebook.vocabulary)
    found = [_by_question(planned.before) for planned in (what.before, what.after)]
    return {
        "changes": [
            {
                "quantity": name,
                "meaning": quantity.meaning,
                "unit": quantity.unit,
                "before": values_json(before.values.get(name), quantity),
                "after": values_json(after.values.get(name), quantity),
            }
            for name, quantity in names.items()
            if before.values.get(name) != after.values.get(name)
        ],
        "facts": [_fact_pair(was, would, names) for was, would in what.facts],
        "gone": _not_in(what.before.before, found[1], rulebook),
        "new": _not_in(what.after.before, found[0], rulebook),
        "before": planned_json(what.before, rulebook),
        "after": planned_json(what.after, rulebook),
    }


def _by_question(report: Report) -> dict[Asked, Verdict]:
    return {(finding.rule, finding.on): finding.verdict for finding in report.findings}


def _not_in(report: Report, others: Mapping[Asked, Verdict], rulebook: Rulebook) -> list[Plain]:
    """Findings that another report has not, or has with the other verdict."""
    teller = _Teller(report, rulebook)
    return [teller.finding(one) for one in report.findings if others.get((one.rule, one.on)) is not one.verdict]


def _fact_pair(was: Fact, would: Fact, names: Mapping[str, Quantity]) -> Plain:
    before, after = fact_json(was, names), fact_json(would, names)
    return {
        "name": was.name,
        "meaning": was.meaning,
        "unit": was.unit,
        "before": {"value": was.value, "shown": before["shown"], "why_unknown": was.why_unknown},
        "after": {"value": would.value, "shown": after["shown"], "why_unknown": would.why_unknown},
    }


def in_sentence(text: str) -> str:
    """A title inside a sentence; what begins with a capital for another reason keeps it."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def values_json(value: Value | Sided, quantity: Quantity) -> list[Plain]:
    """Each side's canonical value with what a reader sees; one entry without a side where both are one."""
    sides = zip(SIDES, value, strict=True) if isinstance(value, tuple) else (("", value),)
    return [{"side": side, "value": one, "shown": shown(one, quantity)} for side, one in sides]


class _Teller:
    """Names, titles and cautions for what is planned on one machine."""

    def __init__(self, report: Report, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.card, self.crop = rulebook.machines[report.card], report.crop
        self.names = on_card(self.card, rulebook.vocabulary)
        self.found = {(finding.rule, finding.on): finding for finding in report.findings}

    def finding(self, finding: Finding) -> Plain:
        """A finding in short."""
        return {
            "rule": finding.rule,
            "title": self.rulebook.rules[finding.rule].title,
            "on": finding.on,
            "on_title": title_of(self.card, finding.on),
            "verdict": finding.verdict.value,
            "level": finding.risk.level.name.lower(),
            "holds_start": finding.holds_start,
            "danger_to_people": finding.risk.people,
        }

    def branch(self, branch: Branch) -> Plain:
        outcome = branch.outcome
        return {
            "builds": {name.removeprefix("build."): choice for name, choice in branch.builds},
            "plan": self.plan(outcome) if isinstance(outcome, Plan) else None,
            "conflict": self.conflict(outcome) if isinstance(outcome, Conflict) else None,
        }

    def plan(self, plan: Plan) -> Plain:
        return {
            "steps": [self.step(number, step, plan.steps) for number, step in enumerate(plan.steps, 1)],
            "header_kind": plan.values.get("job.header_kind") or "",
            "minutes": plan.minutes,
            "people": plan.people,
            "parts": plan.parts,
            "tools": list(plan.tools),
            "parts_needed": list(plan.parts_needed),
            "moves": plan.moves,
            "change": plan.change,
            "proven": plan.proven,
            "safety": {
                "stopped": self.cautions(STOPPED),
                "restart": self.cautions(RESTART),
                "last": self.rulebook.cautions[LAST],
            },
        }

    def step(self, number: int, step: WorkStep, steps: Sequence[WorkStep]) -> Plain:
        procedure = self.rulebook.procedures.get(step.procedure)
        of_station = procedure is not None and not (procedure.moves or procedure.brings)
        on = "" if of_station else step.on  # a preparation is done on a station, which may be called like a part
        taken = self.names.get(step.on) if procedure is None else None
        special = [RUNNING] if step.when is When.RUNNING else []
        special += [key for key in (procedure.cautions if procedure else ()) if key not in _TOLD_ONCE]
        return {
            "number": number,
            "procedure": step.procedure,
            "title": procedure.title if procedure else taken.meaning if taken else step.on,
            "on": on,
            "on_title": title_of(self.card, on),
            "station": {"id": step.station, "title": station_title(self.card, step.station)},
            "when": step.when.value,
            "minutes": step.minutes,
            "people": step.people,
            "tools": list(step.tools),
            "parts": list(step.parts),
            "changes": [self.change(change) for change in step.changes],
            "records": [{"event": name, "meaning": self.names[name].meaning} for name in step.records],
            "clears": [self.finding(self.found[asked]) for asked in step.clears if asked in self.found],
            "because": [
                {
                    "procedure": key,
                    "title": self.rulebook.procedures[key].title,
                    "steps": [n for n, other in enumerate(steps, 1) if other.procedure == key and n != number],
                }
                for key in step.because
            ],
            "otherwise": [{"procedure": k, "title": self.rulebook.procedures[k].title} for k in step.otherwise],
            "steps": [{"do": one.do, "trap": one.trap} for one in procedure.steps] if procedure else [],
            "safe": self.cautions(procedure.safe if procedure else ()),
            "cautions": self.cautions(dict.fromkeys(special)),
        }

    def change(self, change: Change) -> Plain:
        quantity = self.names[change.quantity]
        return {
            "quantity": change.quantity,
            "meaning": quantity.meaning,
            "role": quantity.role.value,
            "how": quantity.how,
            "taken": change.taken,
            "unit": quantity.unit,
            "before": values_json(change.before, quantity),
            "after": values_json(change.after, quantity),
            "right": [self.in_words(text) for text in change.right],
        }

    def in_words(self, text: str) -> str:
        """What is right, with the meaning of a computed value for its name where the text begins with one."""
        name, _, rest = text.partition(" ")
        return f"{in_sentence(self.names[name].meaning)} {rest}" if name in self.names and rest else text

    def cautions(self, keys: Iterable[str]) -> list[str]:
        return [self.rulebook.cautions[key] for key in keys]

    def conflict(self, conflict: Conflict) -> Plain:
        sheet = make_sheet(self.rulebook, self.card, self.rulebook.crops[self.crop])
        asked = {(question.rule.id, question.on): question for question in sheet.questions}
        return {
            "rules": [self.question(asked[one]) for one in conflict.rules],
            "locks": [self.lock(lock) for lock in conflict.locks],
            "fixed": [
                {
                    "quantity": name,
                    "meaning": self.names[name].meaning,
                    "unit": self.names[name].unit,
                    "value": values_json(value, self.names[name]),
                }
                for name, value in conflict.fixed
            ],
            "releases": [[self.lock(lock) for lock in release] for release in conflict.releases],
        }

    def question(self, question: Question) -> Plain:
        """A rule as it is asked of this machine, in words."""
        return {
            "rule": question.rule.id,
            "title": question.rule.title,
            "on": question.on,
            "on_title": title_of(self.card, question.on),
            "given": sentence(question.given) if question.given else "",
            "hold": sentence(question.hold),
        }

    def lock(self, lock: Lock) -> Plain:
        """A lock as it stands, and what giving it up would mean."""
        if lock.kind == "leave":
            title = self.title(lock.what)
            says, opens = f"{title} stays as it is", f"{title} may be changed after all"
        elif lock.kind == "lacking":
            says, opens = f"no {lock.what} on hand", f"{lock.what} is on hand"
        elif lock.kind == "people":
            says, opens = f"at most {lock.what} {'person' if lock.what == '1' else 'people'}", "more people help"
        else:
            says, opens = f"at most {lock.what} minutes", "more minutes are given"
        return {"kind": lock.kind, "what": lock.what, "says": says, "opens": opens}

    def title(self, name: str) -> str:
        """What a lock names, in words, with the name as it was written."""
        if name in self.names:
            return f"{self.names[name].meaning} [{name}]"
        procedure = self.rulebook.procedures.get(name)
        title = title_of(self.card, name) or (procedure.title if procedure else station_title(self.card, name))
        return title if title == name else f"{title} [{name}]"


def setup_json(machine: Machine, values: Mapping[str, Value | Sided], rulebook: Rulebook) -> Plain:
    """A setup that the audit reads back to exactly these values."""
    names = on_card(rulebook.machines[machine.card], rulebook.vocabulary)
    fitted = {name.removeprefix("build."): choice for name, choice in machine.builds}

    def keyed(keys: Mapping[str, str]) -> Plain:
        known = {key: values.get(name) for key, name in keys.items() if name in names}
        return {key: written(value, names[keys[key]]) for key, value in known.items() if value is not None}

    def section(role: Role) -> Plain:
        return {
            name: written(value, names[name])
            for name, value in sorted(values.items())
            if name in names and names[name].role is role and value is not None
        }

    return {
        "unit": {"id": "unit-00", "card": machine.card, **keyed(UNIT_KEYS), "fitted": fitted},
        "job": {"crop": machine.crop, **keyed(JOB_KEYS), "header": {**keyed(HEADER_KEYS), "kind": machine.header_kind}},
        **{name: section(role) for name, role in VALUE_SECTIONS.items()},
    }


def written(value: Value | Sided, quantity: Quantity) -> Any:
    """A value as it stands in a setup; numbers in the display unit if that reads back exactly, else canonical."""
    if isinstance(value, tuple):
        return {side: written(one, quantity) for side, one in zip(SIDES, value, strict=True)}
    if isinstance(value, bool) or not isinstance(value, float):
        return value
    if quantity.form is Form.TIME:
        return datetime.fromtimestamp(min(value, LATEST), UTC).isoformat().replace("+00:00", "Z")
    dimension = dimension_of(quantity.unit)
    number = from_canonical(value, quantity.unit)
    if quantity.unit == "1":
        return number
    if to_canonical(number, quantity.unit, dimension) == value:
        return f"{number!r} {quantity.unit}"
    return {"value": value, "unit": CANONICAL[dimension]}
