"""Turns a correction into steps that a mechanic can follow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from audit.checking import Surroundings, evaluate
from audit.facts import compute
from audit.nouns.plan import Change, Plan, WorkStep
from audit.nouns.quantity import Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.correction import Case, Correction
from audit.planning.order import in_order
from audit.planning.tasks import Task
from audit.planning.worksheet import WorkSheet


def plan_of(case: Case, correction: Correction, found: Mapping[str, Value | Sided], after: Setup) -> Plan:
    """The plan for a correction.

    Args:
        found: every quantity as found.
        after: the setup after the work.
    """
    worksheet = case.worksheet
    tasks = worksheet.tasks
    order = in_order(
        tasks, correction.tasks, worksheet.follows, worksheet.read_at,
        tuple(station.id for station in worksheet.sheet.card.stations),
    )  # fmt: skip
    steps = _Writer(case, correction, found, after, order).steps()
    members = [tasks.all[number] for number in order]
    seconds, parts, moves, change = correction.cost
    return Plan(
        steps=steps,
        minutes=seconds / 60,
        people=max((task.people for task in members), default=0),
        parts=parts,
        tools=_once(tool for task in members for tool in task.tools),
        parts_needed=_once(part for task in members for part in task.parts),
        moves=moves,
        change=change / 1_000_000,
        proven=correction.proven,
        values=dict(after.values),
    )


def _once(some: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(some))


class _Writer:
    def __init__(
        self, case: Case, correction: Correction, found: Mapping[str, Value | Sided], after: Setup, order: list[int]
    ) -> None:
        self.case, self.correction, self.found, self.after, self.order = case, correction, found, after, order
        self.worksheet: WorkSheet = case.worksheet
        facts = compute(self.worksheet.sheet, after)
        self.around = Surroundings(facts.values, self.worksheet.sheet.names, facts.why_unknown)
        self.owner = self.owners()
        self.clears: dict[int, list[int]] = {}
        for failing in correction.failing:
            inputs = set(self.worksheet.probes[failing].inputs)
            able = [n for n in order if not inputs.isdisjoint(self.changed_by(n))]
            self.clears.setdefault(able[-1] if able else -1, []).append(failing)

    def owners(self) -> dict[str, int]:
        """By quantity that changes, the task that changes it: the one chosen for it, else the first that touches it."""
        found: dict[str, int] = {}
        for name, option in self.correction.chosen.items():
            if option.by >= 0:
                found[name] = option.by
        for number in self.order:
            task = self.worksheet.tasks.all[number]
            for name in task.affects():
                settles = name in task.moves or self.found.get(name) != self.correction.values.get(name)
                if settles and name not in found:
                    found[name] = number
        return found

    def changed_by(self, number: int) -> list[str]:
        return [name for name, owner in self.owner.items() if owner == number]

    def steps(self) -> tuple[WorkStep, ...]:
        called: dict[int, dict[str, None]] = {}
        for number in self.order:
            task = self.worksheet.tasks.all[number]
            keys = [self.worksheet.tasks.number[key] for key in (*task.before, *task.after)]
            for other in (*keys, *(self.worksheet.tasks.takers[name] for name in task.takes)):
                called.setdefault(other, {})[task.key[0]] = None
        return tuple(
            self.step(number, self.worksheet.tasks.all[number], tuple(called.get(number, ()))) for number in self.order
        )

    def step(self, number: int, task: Task, because: tuple[str, ...]) -> WorkStep:
        sheet = self.worksheet.sheet
        names = [name for name in self.changed_by(number) if sheet.names[name].role is not Role.EVENT]
        if task.taking and task.key[1] not in names:
            names = [task.key[1]]
        otherwise: tuple[str, ...] = ()
        if task.taking:
            able = [
                self.worksheet.tasks.all[n]
                for n in self.worksheet.tasks.remedies.get(task.key[1], ())
                if not self.worksheet.tasks.closure[n] & self.case.banned
            ]
            otherwise = _once(other.key[0] for other in sorted(able, key=lambda other: (other.minutes, other.key)))
        questions = [self.worksheet.sheet.questions[n] for n in self.clears.get(number, ())]
        return WorkStep(
            procedure=task.key[0],
            on=task.key[1],
            station=task.station,
            when=task.when,
            minutes=task.minutes,
            people=task.people,
            tools=task.tools,
            parts=task.parts,
            changes=tuple(self.change(name, task.taking or name in task.measures) for name in names),
            records=task.records,
            clears=tuple((question.rule.id, question.on) for question in questions),
            because=because,
            otherwise=otherwise,
        )

    def change(self, name: str, taken: bool) -> Change:
        return Change(name, self.found.get(name), self.after.values.get(name), self.right(name), taken)

    def right(self, name: str) -> tuple[str, ...]:
        """What the questions on a quantity want, in words; where they only ask for a fact behind it, with its name."""
        direct: dict[str, None] = {}
        behind: dict[str, None] = {}
        form, facts = self.worksheet.quantity(name).form, self.worksheet.sheet.by_name
        for number in self.worksheet.by_input.get(name, ()):
            question = self.worksheet.sheet.questions[number]
            if question.given is not None and evaluate(question.given, self.around).truth is not True:
                continue
            for comparison in evaluate(question.hold, self.around).comparisons:
                if comparison.quantity == name:
                    direct[comparison.wanted] = None
                elif comparison.quantity in facts and self.worksheet.quantity(comparison.quantity).form is form:
                    behind[f"{comparison.quantity} {comparison.wanted}"] = None
        return tuple(direct or behind)
