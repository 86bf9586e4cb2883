"""The cheapest correction by one whole integer model, solved by OR-Tools' CP-SAT: a second opinion on the planner.

Nothing of the planner's own search is used: neither its candidate values, nor its probes, nor its solver, nor its way
of taking questions in one by one. The questions are read by the plain reading and written out as tables; what work
does (tasks and what they call for) comes from the work sheet. The model holds every question that hangs together with
one that fails, through quantities that may change; what is left out shares no such quantity with it and is right.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import reduce
from itertools import combinations, product
from operator import or_
from typing import NamedTuple

from ortools.sat.python import cp_model

from audit.conditions import comparisons, limits
from audit.nouns.plan import Locks
from audit.nouns.quantity import Form, Quantity, Role
from audit.nouns.rule import Pointer, Verdict
from audit.planning.tasks import Task, numbers
from audit.planning.worksheet import WorkSheet
from tests.audit.planning.plain import GOOD, Asked, Filled
from tests.audit.planning.positions import Positions, Whole, sides

Cost = tuple[int, int, int, int]
_MILLION = 1_000_000
_BITS = (41, 34, 26, 0)
"""Places of seconds, parts, moves and change in one whole number: each has room for more than a plan can take."""


class Way(NamedTuple):
    """One way in which a quantity may end up.

    Attributes:
        work: set of tasks, everything that they call for included.
        moved, change: as in a plan's cost.
        needs: number of the task that some other quantity must call for, -1 for none.
    """

    value: Whole
    work: int = 0
    moved: int = 0
    change: int = 0
    needs: int = -1


class Reference:
    """Solves setups of one work sheet.

    Args:
        legal: values of a setup that keeps every rule: starting points for looking for edges.
    """

    def __init__(self, worksheet: WorkSheet, legal: Filled) -> None:
        self.worksheet, self.tasks = worksheet, worksheet.tasks
        self.names = worksheet.sheet.names
        self.positions = Positions(worksheet, legal)
        self.asked, self.behind = self.positions.asked, self.positions.behind
        self.cures = {asked: self.cures_of(asked) for asked in self.asked}

    def cures_of(self, asked: Asked) -> int:
        """Tasks that put a broken question right: those that its rule names, and those that move what it is read at.

        A setting that a reading is held to is what was asked for, not what it is read at.
        """
        named = asked.question.rule.cure
        inputs = set(asked.inputs)
        reads = any(self.names[name].role is Role.READING for name in inputs)
        asked_for = {
            limit.name
            for compare in comparisons(asked.question.hold)
            for limit in limits(compare.relation)
            if isinstance(limit, Pointer)
        }
        settings = {name for name in inputs - asked_for if self.names[name].role is Role.SETTING}
        found = 0
        for number, task in enumerate(self.tasks.all):
            by_name = (
                task.key[0] in named
                and not inputs.isdisjoint(task.affects())
                and self.is_on_the_spot(task.key[1], asked.question.on)
            )
            by_setting = reads and not settings.isdisjoint(task.moves)
            found |= (by_name or by_setting) << number
        return found

    def is_on_the_spot(self, place: str, on: str) -> bool:
        """Whether work at a place is work on a component: on itself, or on a drive and one of the shafts it joins."""
        if not place or not on or place == on:
            return True
        for drive in self.worksheet.sheet.card.drives:
            if (drive.id, drive.driven) in ((place, on), (on, place)) or (drive.id, drive.driver) == (on, place):
                return True
        return False

    def solve(self, values: Filled, locks: Locks) -> Cost | None:
        """The least cost of putting a setup right, None if that can't be done."""
        return _Model(self, values, locks).solve()


class _Model:
    def __init__(self, reference: Reference, values: Filled, locks: Locks) -> None:
        self.reference, self.tasks, self.names = reference, reference.tasks, reference.names
        self.found: dict[str, Whole] = {
            name: None if values.get(name) == (None, None) else values.get(name) for name in reference.behind
        }
        self.most = None if locks.minutes is None else int(locks.minutes * 60)
        self.banned = sum(forbidden(task, locks) << number for number, task in enumerate(self.tasks.all))
        self.verdicts = {asked: asked.on(self.found) for asked in reference.asked}
        self.failing = [asked for asked, verdict in self.verdicts.items() if verdict not in GOOD]
        self.ways: dict[str, list[Way]] = {}

    def solve(self) -> Cost | None:
        inside = self.connected()
        if any(inside.isdisjoint(asked.inputs) for asked in self.failing):
            return None  # nothing behind it may change
        model = cp_model.CpModel()
        picks: dict[str, list[tuple[Way, cp_model.IntVar]]] = {}
        for name in sorted(inside):
            ways = [way for way in self.ways[name] if self.passes_alone(name, way)]
            picks[name] = [(way, model.new_bool_var("")) for way in ways]
            model.add_exactly_one([pick for _, pick in picks[name]])
        for name in picks:
            self.supply(model, picks, name)
        self.tables(model, picks)
        done: dict[int, cp_model.IntVar] = {}
        for some in picks.values():
            for way, pick in some:
                for number in numbers(way.work):
                    if number not in done:
                        done[number] = model.new_bool_var("")
                    model.add_implication(pick, done[number])
        members = [(self.tasks.all[number], task) for number, task in done.items()]
        picked = [one for some in picks.values() for one in some]
        totals = [
            total([(task, round(about.minutes * 60)) for about, task in members]),
            total([(task, len(about.parts)) for about, task in members]),
            total([(pick, way.moved) for way, pick in picked]),
            total([(pick, way.change) for way, pick in picked]),
        ]
        if self.most is not None:
            model.add(totals[0] <= self.most)
        model.minimize(sum(part * (1 << bits) for part, bits in zip(totals, _BITS, strict=True)))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        status = solver.solve(model)
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        seconds, parts, moved, change = (solver.value(part) for part in totals)
        return seconds, parts, moved, change

    def connected(self) -> set[str]:
        """Quantities that may change and hang together with a failing question; makes their ways."""
        inside: set[str] = set()
        called = 0
        while True:
            before = len(inside), called
            todo = set(self.failing)
            for name in inside:
                todo.update(self.reference.behind[name])
            for asked in todo:
                for name in asked.inputs:
                    if name not in self.ways:
                        self.ways[name] = self.ways_of(name)
                    if len(self.ways[name]) > 1 or self.may_be_taken_again(name, called):
                        inside.add(name)
            for name in inside:
                for way in self.ways[name]:
                    called |= way.work
            if (len(inside), called) == before:
                break
        for name in sorted(inside):
            if self.may_be_taken_again(name, called):
                take = self.tasks.takers[name]
                self.ways[name] = self.ways[name] + [
                    Way(whole, 1 << take, needs=take) for whole in self.wholes(name, keep_known=False)
                ]
            elif self.is_brought_beside(name):
                self.ways[name] = self.ways[name] + [
                    Way(whole, 1 << task, needs=task)
                    for task in self.tasks.remedies.get(name, ()) if called >> task & 1
                    for whole in self.wholes(name, keep_known=False)
                ]  # fmt: skip
        return inside

    def is_known(self, name: str) -> bool:
        value = self.found[name]
        return value is not None and not (isinstance(value, tuple) and None in value)

    def is_brought_beside(self, name: str) -> bool:
        """Whether a reading that nobody knows is asked for by nothing yet: work that brings it right then settles it."""
        return (
            self.names[name].role is Role.READING
            and self.found[name] is None
            and all(self.verdicts[asked] in GOOD for asked in self.reference.behind[name])
        )

    def may_be_taken_again(self, name: str, called: int) -> bool:
        take = self.tasks.takers.get(name, -1)
        return take >= 0 and bool(called >> take & 1) and self.is_known(name)

    def ways_of(self, name: str) -> list[Way]:
        """As found; looked at, where it is not known; by each procedure that changes it, to each value."""
        quantity, as_found = self.names[name], self.found[name]
        found = [Way(as_found)]
        if quantity.role is Role.BUILD:
            return found
        remedies = [n for n in self.tasks.remedies.get(name, ()) if not self.tasks.closure[n] & self.banned]
        if quantity.role is Role.EVENT:
            time = self.reference.worksheet.time_of(name)
            return found + [Way(time, self.tasks.closure[n], 1) for n in remedies]
        able = set(remedies)
        take = self.tasks.takers.get(name, -1)
        if take >= 0 and not self.tasks.closure[take] & self.banned:
            if not self.is_known(name):
                found += [Way(whole, self.tasks.closure[take]) for whole in self.wholes(name, keep_known=True)]
            elif self.measured_again(name, take):
                found += [Way(whole, self.tasks.closure[take]) for whole in self.wholes(name, keep_known=False)]
                able.add(take)
        if remedies and as_found is not None and quantity.role is not Role.JOB:
            for whole in self.wholes(name, keep_known=False):
                if quantity.role is Role.SETTING and whole == as_found:
                    continue
                change = self.change(quantity, as_found, whole) if quantity.role is Role.SETTING else 0
                found += [Way(whole, work, 1, change) for work in self.unions(name, able, remedies)]
        return found

    def unions(self, name: str, able: set[int], remedies: Sequence[int]) -> set[int]:
        """Work that brings a quantity right: any tasks that do, as many as there are broken questions on it."""
        broken = sum(self.verdicts[asked] is Verdict.BROKEN for asked in self.reference.behind[name])
        return {
            reduce(or_, [self.tasks.closure[n] for n in some])
            for size in range(1, max(1, broken) + 1)
            for some in combinations(sorted(able), size)
            if not set(some).isdisjoint(remedies)
        }

    def measured_again(self, name: str, take: int) -> bool:
        """Whether a procedure that measures a known reading is named by a broken question's rule, or answers an open one."""
        if self.tasks.all[take].taking:
            return False
        verdicts = [(asked, self.verdicts[asked]) for asked in self.reference.behind[name]]
        return any(
            verdict is Verdict.UNKNOWN or (verdict is Verdict.BROKEN and self.reference.cures[asked] >> take & 1)
            for asked, verdict in verdicts
        )

    def wholes(self, name: str, keep_known: bool) -> Iterator[Whole]:
        """Values of a quantity, both sides the same, or the known side as found."""
        as_found = self.found[name]
        for value in self.reference.positions.values_of(name, self.found):
            if not self.names[name].sided:
                yield value
            elif keep_known and isinstance(as_found, tuple):
                yield tuple(value if side is None else side for side in as_found)  # type: ignore[misc]
            else:
                yield value, value

    def change(self, quantity: Quantity, before: Whole, after: Whole) -> int:
        """How far a setting moves, in millionths of its range; a word, or one not known, in full."""
        low, high = self.reference.positions.span(quantity.name) if quantity.form is Form.NUMBER else (0.0, 0.0)
        shares = [
            abs(a - b) / (high - low) if isinstance(a, float) and isinstance(b, float) else float(a != b)
            for a, b in zip(sides(after), sides(before), strict=True)
        ]
        return round(_MILLION * sum(shares) / len(shares))

    def passes_alone(self, name: str, way: Way) -> bool:
        """Whether a way passes the questions on which no other quantity may change."""
        for asked in self.reference.behind[name]:
            if any(other != name and len(self.ways.get(other, ())) != 1 for other in asked.inputs):
                continue
            row = tuple([way.value if other == name else self.found[other] for other in asked.inputs])
            verdict = asked.verdict(row)
            if verdict not in GOOD:
                return False
            if (
                self.verdicts[asked] is Verdict.BROKEN
                and verdict is Verdict.KEPT
                and not way.work & self.reference.cures[asked]
            ):
                return False
        return True

    def supply(
        self, model: cp_model.CpModel, picks: Mapping[str, list[tuple[Way, cp_model.IntVar]]], name: str
    ) -> None:
        """A reading is taken again only if something else calls for that."""
        for way, pick in picks[name]:
            if way.needs >= 0:
                callers = [
                    other
                    for some in picks.values()
                    for caller, other in some
                    if caller.needs < 0 and caller.work >> way.needs & 1
                ]
                model.add_bool_or([pick.negated(), *callers])

    def tables(self, model: cp_model.CpModel, picks: Mapping[str, list[tuple[Way, cp_model.IntVar]]]) -> None:
        """Each question on two or more quantities that may change, as a table of their values."""
        places: dict[str, tuple[cp_model.IntVar, list[Whole]]] = {}

        def place_of(name: str) -> tuple[cp_model.IntVar, list[Whole]]:
            if name not in places:
                values = list(dict.fromkeys(way.value for way, _ in picks[name]))
                variable = model.new_int_var(0, max(len(values) - 1, 0), "")
                index = {value: place for place, value in enumerate(values)}
                model.add(variable == sum(index[way.value] * pick for way, pick in picks[name]))
                places[name] = variable, values
            return places[name]

        for asked in dict.fromkeys(asked for name in picks for asked in self.reference.behind[name]):
            free = [name for name in asked.inputs if name in picks]
            if len(free) < 2:
                continue
            columns = [place_of(name) for name in free]
            mended = model.new_bool_var("")
            if self.verdicts[asked] is Verdict.BROKEN:
                able = [pick for name in free for way, pick in picks[name] if way.work & self.reference.cures[asked]]
                model.add_bool_or([mended.negated(), *able])
            row = [self.found[name] for name in asked.inputs]
            at = [asked.inputs.index(name) for name in free]
            rows: list[tuple[int, ...]] = []
            for chosen in product(*(range(len(values)) for _, values in columns)):
                for where, (_, values), place in zip(at, columns, chosen, strict=True):
                    row[where] = values[place]
                verdict = asked.verdict(tuple(row))
                if verdict in GOOD:
                    rows.append((*chosen, 1))
                if verdict is Verdict.NOT_ASKED:
                    rows.append((*chosen, 0))
            model.add_allowed_assignments([*(variable for variable, _ in columns), mended], rows)


def total(terms: Sequence[tuple[cp_model.IntVar, int]]) -> cp_model.LinearExpr:
    """The sum of some variables times numbers."""
    return cp_model.LinearExpr.weighted_sum([variable for variable, _ in terms], [number for _, number in terms])


def forbidden(task: Task, locks: Locks) -> bool:
    """Whether locks forbid a task: its procedure, place, station or part, something it changes or needs, people."""
    touched = {*task.key, task.station, *task.affects(), *(name.partition(".")[0] for name in task.affects())}
    things = {thing.casefold() for thing in (*task.tools, *task.parts)}
    return (
        not touched.isdisjoint(locks.leave)
        or not things.isdisjoint(thing.casefold() for thing in locks.lacking)
        or (locks.people is not None and task.people > locks.people)
    )
