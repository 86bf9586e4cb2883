"""The cheapest set of changes after which every asked question of a setup holds.

Only what is wrong is looked at first: the quantities behind the questions that fail, held to those questions and to the
others on the same quantities. What that leaves out can only make a correction dearer, so once its result breaks
nothing else it is the cheapest there is; what it does break is taken in, and the search begins again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import combinations
from operator import or_

from audit.nouns.plan import Lock, Locks
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.planning.candidates import bounds
from audit.planning.choice import Cost, Demand, Option, Row
from audit.planning.probes import Probe
from audit.planning.solver import Solution, cheapest
from audit.planning.tasks import Task, as_set, numbers
from audit.planning.worksheet import Values, WorkSheet

_MILLION = 1_000_000
_MOST_READABLE = 48
"""Values tried for a reading that is brought right; its procedure aims inside its window, not at an edge."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What to change.

    Attributes:
        failing: numbers of the questions that are broken or unknown as found.
        tasks: set of the tasks to do.   chosen: option by quantity that was looked at.
        values: every quantity afterwards.
    """

    failing: tuple[int, ...]
    tasks: int
    chosen: dict[str, Option]
    values: dict[str, Value | Sided]
    cost: Cost
    proven: bool


@dataclass(frozen=True, slots=True)
class Stuck:
    """There is no correction: ``asked`` are the questions that were held to when that became certain."""

    failing: tuple[int, ...]
    asked: tuple[int, ...]


class Case:
    """One setup to be corrected, with what may not be done.

    Args:
        values: as found.
        locks: what may not be done.
        given: tasks that are done in any case.
        freed: quantities that may take any value at no cost: for asking what else is in the way.
    """

    def __init__(
        self, worksheet: WorkSheet, values: Values, locks: Iterable[Lock] = (), given: int = 0,
        freed: frozenset[str] = frozenset(),
    ) -> None:  # fmt: skip
        self.worksheet = worksheet
        self.found = worksheet.filled(values)
        self.locks = tuple(locks)
        self.given = given
        self.freed = freed
        self.banned = banned(worksheet, self.locks)
        self.most = min((float(lock.what) * 60 for lock in self.locks if lock.kind == "minutes"), default=None)
        self.failing = tuple(worksheet.failing(self.found))
        self.broken = frozenset(n for n in self.failing if worksheet.probes[n].is_broken(self.found))
        self.wide = False
        self.kept: dict[tuple[str, bool, bool], list[Option]] = {}

    def correct(self, out_of_time: Callable[[], bool]) -> Correction | Stuck:
        """The cheapest correction. Raises OutOfTime if time ran out before any was found."""
        active = set(self.failing)
        proven = True
        while True:
            solution = self.solve(active, out_of_time)
            if solution is None and not self.wide:
                self.wide = True  # now with what formulas can do without
                self.kept.clear()
                continue
            if solution is None or (self.most is not None and solution.cost[0] > self.most):
                return Stuck(self.failing, tuple(self.asked(active, closed=True)[0]))
            proven = proven and solution.proven
            values, changed, mended = self.after(solution.options, solution.tasks)
            wrong = (mended | set(self.still_failing(values, changed))) - active
            if not wrong:
                return Correction(self.failing, solution.tasks, dict(solution.options), values, solution.cost, proven)
            active |= wrong

    def solve(self, active: Iterable[int], out_of_time: Callable[[], bool], closed: bool = True) -> Solution | None:
        """The cheapest choice for the quantities behind some questions.

        Args:
            closed: hold it also to every other question on those quantities alone.
        """
        asked, options = self.asked(set(active), closed)
        free = {name for name, some in options.items() if len(some) > 1 or some[0].by >= 0}
        demands = [self.demand(number, free) for number in asked]
        return cheapest(
            {name: options[name] for name in sorted(free)}, demands, self.worksheet.tasks.cost, out_of_time, self.given
        )

    def asked(self, active: set[int], closed: bool) -> tuple[list[int], dict[str, list[Option]]]:
        """The questions that a choice is held to, and the options of the quantities behind them."""
        probes, by_input = self.worksheet.probes, self.worksheet.by_input
        looked_at = {name for number in active for name in probes[number].inputs}
        open_ = {name for number in active - self.broken for name in self.to_take(probes[number])}
        options = self.options(looked_at, open_, closed)
        asked = set(active)
        for name in looked_at if closed else ():
            for number in by_input[name]:
                if number not in asked and all(
                    other in looked_at or not self.may_change(other) for other in probes[number].inputs
                ):
                    asked.add(number)
        for number in active:
            self.drop_unknown(probes[number], options)
        return sorted(asked), options

    def to_take(self, probe: Probe) -> Iterable[str]:
        """What may have to be taken to answer a question: what a formula can do without stays as it is."""
        return probe.inputs if self.wide else set(probe.inputs) - probe.optional

    def drop_unknown(self, probe: Probe, options: dict[str, list[Option]]) -> None:
        """What a question can't hold without is not left unknown, if the question is asked whatever is done."""
        if any(len(options[name]) > 1 or self.found[name] is None for name in probe.deciding):
            return
        if not probe.is_asked(self.found):
            return
        for name in probe.needed:
            some = options[name]
            if len(some) > 1 and some[0].value is None:
                options[name] = some[1:]

    def may_change(self, name: str) -> bool:
        """Whether anything on this machine moves a quantity, brings it right or takes it."""
        if name in self.freed or self.found[name] is None:
            return True
        return name in self.worksheet.movable

    def options(self, looked_at: set[str], open_: set[str], closed: bool) -> dict[str, list[Option]]:
        """The options of some quantities; taking a reading answers a question that is open, but mends none."""
        found: dict[str, list[Option]] = {}
        called = 0
        for name in looked_at:
            key = name, name in open_, closed
            if key not in self.kept:
                self.kept[key] = self.options_of(*key)
            found[name] = self.kept[key]
            for option in found[name]:
                called |= option.tasks
        for name in looked_at:
            take = self.worksheet.tasks.takers.get(name)
            if take is not None and called >> take & 1 and self.is_known(name) and not self.banned >> take & 1:
                again = [
                    Option(self.both(name, value), 1 << take, take, needs=1 << take)
                    for value in self.worth(name, closed)
                ]
                found[name] = [*found[name], *again]
        return found

    def options_of(self, name: str, may_take: bool, closed: bool) -> list[Option]:
        tasks, quantity = self.worksheet.tasks, self.worksheet.quantity(name)
        as_found = self.found[name]
        found = [Option(as_found)]
        if name in self.freed and quantity.role is Role.EVENT:
            return [*found, Option(self.worksheet.time_of(name), moved=1)]
        if name in self.freed:
            return found + [Option(self.both(name, value), moved=1) for value in self.worth(name, closed)]
        remedies = [n for n in tasks.remedies.get(name, ()) if not tasks.closure[n] & self.banned]
        if quantity.role is Role.EVENT:
            time = self.worksheet.time_of(name)
            return found + [Option(time, tasks.closure[n], n, 1) for n in remedies]
        take = tasks.takers.get(name)
        able = list(remedies)
        if take is not None and not self.banned & tasks.closure[take]:
            mends = self.is_known(name) and self.measuring_mends(name, take)
            if mends or (may_take and not self.is_known(name)):
                values = [*self.known_side(name), *self.worth(name, closed)]
                found += [Option(self.both(name, value), tasks.closure[take], take) for value in values]
            able += [take] if mends else []
        if remedies and as_found is not None and quantity.role is not Role.JOB:  # what nobody knows is looked at first
            work = [(n, tasks.closure[n]) for n in remedies] + self.together(name, able)
            for value in self.worth(name, closed):
                whole = (value, value) if quantity.sided else value
                if quantity.role is Role.SETTING and whole == as_found:
                    continue
                change = self.change(quantity, as_found, whole) if quantity.role is Role.SETTING else 0
                found += [Option(whole, some, n, 1, change) for n, some in work]
        return found

    def together(self, name: str, able: Sequence[int]) -> list[tuple[int, int]]:
        """Sets of tasks that bring a quantity right together, each the cure of a broken question that no other cures.

        Returns: the first task of each set, and the set with all that it calls for.
        """
        closure, cures = self.worksheet.tasks.closure, self.worksheet.cures
        broken = [cures[n] for n in self.worksheet.by_input.get(name, ()) if n in self.broken]
        found = []
        for size in range(2, min(len(able), len(broken)) + 1):
            for some in combinations(able, size):
                cured = [{place for place, cure in enumerate(broken) if closure[n] & cure} for n in some]
                if all(own - set().union(*(other for other in cured if other is not own)) for own in cured):
                    found.append((some[0], reduce(or_, [closure[n] for n in some])))
        return found

    def measuring_mends(self, name: str, take: int) -> bool:
        """Whether measuring a known reading again answers a question on it.

        It mends a broken one if its rule says so. An open one it answers if a procedure measures several readings at
        once: taken together anew, they agree.
        """
        worksheet = self.worksheet
        asking = [n for n in worksheet.by_input.get(name, ()) if n in self.failing]
        several = bool(worksheet.tasks.all[take].measures)
        return any(worksheet.cures[n] >> take & 1 if n in self.broken else several for n in asking)

    def worth(self, name: str, closed: bool) -> list[Value]:
        """Candidate values of one side; if ``closed``, those that pass the questions on this quantity alone."""
        worksheet = self.worksheet
        sided = worksheet.quantity(name).sided
        alone = [n for n in worksheet.by_input[name] if closed and len(worksheet.probes[n].inputs) == 1]
        tried = worksheet.candidates.of(name, self.found, worksheet.movable)
        found = [
            value for value in tried
            if all(worksheet.probes[n][(value, value) if sided else value] for n in alone)
        ]  # fmt: skip
        if (
            alone
            and worksheet.quantity(name).form is Form.NUMBER
            and (worksheet.quantity(name).role is not Role.SETTING or self.found[name] is None)
        ):
            found = _from_the_middle(found)
        joint = len(alone) < len(worksheet.by_input[name])
        if worksheet.quantity(name).role is not Role.SETTING and not joint:
            return found[:1]
        return found[:_MOST_READABLE] if worksheet.quantity(name).role is not Role.SETTING else found

    def is_known(self, name: str) -> bool:
        value = self.found[name]
        return value is not None and not (isinstance(value, tuple) and None in value)

    def known_side(self, name: str) -> list[Value]:
        """The side that is known of a quantity of which the other is not: the likeliest value of that one too."""
        as_found = self.found[name]
        if self.is_known(name) or not isinstance(as_found, tuple):
            return []
        return [side for side in as_found if side is not None]

    def both(self, name: str, value: Value) -> Value | Sided:
        """A value for what is not known of a quantity: a side that is known stays."""
        if not self.worksheet.quantity(name).sided:
            return value
        as_found = self.found[name]
        if isinstance(as_found, tuple) and not self.is_known(name):
            left, right = as_found
            return (value if left is None else left), (value if right is None else right)
        return value, value

    def change(self, quantity: Quantity, before: Value | Sided, after: Value | Sided) -> int:
        """How far a setting moves, in millionths of its range; a word, or one not known, counts in full."""
        befores = before if isinstance(before, tuple) else (before,)
        afters = after if isinstance(after, tuple) else (after,)
        low, high = bounds(quantity) if quantity.form is Form.NUMBER else (0.0, 0.0)
        shares = [
            abs(a - b) / (high - low) if isinstance(a, float) and isinstance(b, float) and high > low
            else float(a != b)
            for a, b in zip(afters, befores, strict=False)
        ]  # fmt: skip
        return round(_MILLION * sum(shares) / len(shares))

    def demand(self, number: int, free: set[str]) -> Demand:
        """A question as a constraint on the options of its quantities."""
        probe = self.worksheet.probes[number]
        base = [self.found[name] for name in probe.inputs]
        places = [place for place, name in enumerate(probe.inputs) if name in free]

        def filled(chosen: Row) -> Row:
            row = base.copy()
            for place, value in zip(places, chosen, strict=True):
                row[place] = value
            return tuple(row)

        def holds(chosen: Row) -> bool:
            row = filled(chosen)
            return probe[row if len(row) != 1 else row[0]]

        scope = tuple(probe.inputs[place] for place in places)
        whole = len(places) == len(base) > 1
        held = probe.__getitem__ if whole else holds
        if number not in self.broken:
            return Demand(scope, held)
        return Demand(scope, held, self.worksheet.cures[number], lambda chosen: not probe.asked(*filled(chosen)))

    def after(self, chosen: Mapping[str, Option], tasks: int) -> tuple[dict[str, Value | Sided], set[str], set[int]]:
        """Every quantity once the tasks are done (as chosen, events recorded, readings right), and which changed.

        Also the numbers of the questions that a reading, though known, would have failed as found: what mends it
        beside is to be counted as a move like any other.
        """
        worksheet = self.worksheet
        values = dict(self.found)
        values.update({name: option.value for name, option in chosen.items()})
        touched: dict[str, None] = {}
        recorded: list[str] = []
        for number in numbers(tasks):
            task = worksheet.tasks.all[number]
            for name in task.records:
                values[name] = worksheet.time_of(name)
                recorded.append(name)
            for name in (*task.brings, *task.measures):
                if name not in chosen or chosen[name].by < 0:
                    touched[name] = None
        mended: set[int] = set()
        for name in sorted(touched):
            mended |= self.settle(name, values)
        names = {*chosen, *touched, *recorded}
        return values, {name for name in names if values[name] != self.found[name]}, mended

    def settle(self, name: str, values: dict[str, Value | Sided]) -> set[int]:
        """Gives a reading that was brought right or taken anew a value that is right, as found if that is.

        Returns: the questions that it failed as found, if it was known.
        """
        worksheet = self.worksheet
        asking = [(number, worksheet.probes[number]) for number in worksheet.by_input.get(name, ())]
        as_found = values[name]
        failed = {number for number, probe in asking if not probe.suits(values)}
        if not failed:
            return failed
        for value in worksheet.candidates.of(name, values, frozenset()):
            values[name] = self.both(name, value)
            if all(probe.suits(values) for _, probe in asking):
                return failed if self.is_known(name) else set()
        values[name] = as_found
        return failed

    def still_failing(self, values: Values, changed: Iterable[str]) -> list[int]:
        """Questions that fail after a correction, among those that look at something it changed."""
        worksheet = self.worksheet
        asked = {number for name in changed for number in worksheet.by_input.get(name, ())} | set(self.failing)
        return [number for number in sorted(asked) if not worksheet.probes[number].suits(values)]


def _from_the_middle(values: list[Value]) -> list[Value]:
    """Numbers in order of their distance from the middle of them all: there, readings agree best with each other."""
    found = [value for value in values if isinstance(value, float)]
    middle = (min(found, default=0.0) + max(found, default=0.0)) / 2
    return [*sorted(found, key=lambda value: (abs(value - middle), value))]


def as_locks(locks: Locks) -> tuple[Lock, ...]:
    """Locks one by one."""
    found = [Lock("leave", name) for name in locks.leave] + [Lock("lacking", name) for name in locks.lacking]
    if locks.people is not None:
        found.append(Lock("people", str(locks.people)))
    if locks.minutes is not None:
        found.append(Lock("minutes", f"{locks.minutes:g}"))
    return tuple(found)


def banned(worksheet: WorkSheet, locks: Iterable[Lock]) -> int:
    """Set of the tasks that locks forbid."""
    found = 0
    for lock in locks:
        kept = worksheet.tasks.locked.get(lock)
        if kept is None:
            kept = worksheet.tasks.locked[lock] = as_set(
                number for number, task in enumerate(worksheet.tasks.all) if _forbids(lock, task)
            )
        found |= kept
    return found


def _forbids(lock: Lock, task: Task) -> bool:
    if lock.kind == "leave":
        names = task.affects()
        parts = (name.partition(".")[0] for name in names)
        return lock.what in (*task.key, task.station, *names, *parts)
    if lock.kind == "lacking":
        return lock.what.casefold() in (name.casefold() for name in (*task.tools, *task.parts))
    return lock.kind == "people" and task.people > int(lock.what)
