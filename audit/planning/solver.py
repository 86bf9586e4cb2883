"""Finds the cheapest choice of one option for each quantity such that every constraint holds.

The bare solver does not scale to a whole machine; the problem's shape does. Constraints on one quantity prune its
options; what is left falls into small groups that share neither a constraint nor work whose doing is still open; each
group is searched on its own, options in order of cost, and cut off as soon as it costs more than the best found.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

from constraint import Constraint, OptimizedBacktrackingSolver, Problem

from audit.nouns.quantity import Sided, Value


class Option(NamedTuple):
    """One way in which a quantity may end up.

    Attributes:
        tasks: set of tasks it takes, everything that they call for included.
        by: number of the task that brings it about; -1 for as found.
        moved: 1 if something is moved or brought right.   change: how far, in millionths of its range.
        needs: tasks that some other quantity's option must call for: a reading is taken again only then.
    """

    value: Value | Sided
    tasks: int = 0
    by: int = -1
    moved: int = 0
    change: int = 0
    needs: int = 0


Cost = tuple[int, int, int, int]
"""Seconds, parts, moves, and change."""

Choice = tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Demand:
    """A constraint on some quantities; ``holds`` takes their options in order. ``cures``: tasks that matter to it."""

    scope: tuple[str, ...]
    holds: Callable[[Choice], bool]
    cures: int = 0


@dataclass(frozen=True, slots=True)
class Solution:
    """The cheapest choice; ``proven`` is False where time ran out before that was certain."""

    options: Mapping[str, Option]
    tasks: int
    cost: Cost
    proven: bool


def cheapest(
    options: Mapping[str, Sequence[Option]],
    demands: Sequence[Demand],
    price: Callable[[int], tuple[int, int]],
    out_of_time: Callable[[], bool],
    given: int = 0,
) -> Solution | None:
    """The cheapest choice, None where there is none. Among equals the same one is found every time.

    Args:
        options: by quantity, in order of preference.
        demands: what must hold.
        price: seconds and parts of a set of tasks; what is in the set is paid once.
        given: tasks that are done in any case.
        out_of_time: asked during the search; once it says so, the best found so far is returned unproven.

    Raises: OutOfTime: before any choice was found.
    """
    left = _pruned(options, demands)
    if left is None:
        return None
    forced = given | _forced(left)
    _drop_dominated(left, demands, forced)
    chosen: dict[str, Option] = {}
    proven, tasks = True, forced
    for names, inside in _groups(left, demands, forced):
        if len(names) == 1:
            name = names[0]
            able = [option for option in left[name] if not option.needs & ~forced]
            if not able:
                return None
            alone = able[0] if len(able) == 1 else min(able, key=lambda option: _cost(option, price, forced))
            best: Mapping[str, Option] | None = {name: alone}
        else:
            best, finished = _search(names, left, inside, price, forced, out_of_time)
            proven = proven and finished
        if best is None:
            return None
        for name, option in best.items():
            chosen[name] = option
            tasks |= option.tasks
    seconds, parts = price(tasks)
    moved = sum(option.moved for option in chosen.values())
    change = sum(option.change for option in chosen.values())
    return Solution(chosen, tasks, (seconds, parts, moved, change), proven)


Left = dict[str, list[Option]]

_MOST_TRIED = 256


def _cost(option: Option, price: Callable[[int], tuple[int, int]], forced: int) -> Cost:
    seconds, parts = price(option.tasks & ~forced)
    return seconds, parts, option.moved, option.change


def _pruned(options: Mapping[str, Sequence[Option]], demands: Sequence[Demand]) -> Left | None:
    """Options that pass every demand on their quantity alone; None if one has none left."""
    alone: dict[str, list[Demand]] = {}
    for demand in demands:
        if len(demand.scope) == 1:
            alone.setdefault(demand.scope[0], []).append(demand)
        elif not demand.scope and not demand.holds(()):
            return None
    left: Left = {}
    for name, some in options.items():
        tests = alone.get(name, ())
        found = [option for option in some if all(test.holds((option,)) for test in tests)] if tests else list(some)
        if not found:
            return None
        left[name] = found
    for demand in demands:
        if len(demand.scope) > 1 and not _drop_unknown(left, demand):
            return None
    return left


def _drop_unknown(left: Left, demand: Demand) -> bool:
    """Drops leaving a quantity unknown where a demand can't hold so; False if nothing else is left."""
    for name in demand.scope:
        first = left[name][0]
        if first.value is not None:
            continue
        others = [[first] if other == name else left[other] for other in demand.scope]
        size = 1
        for some in others:
            size *= len(some)
        if size <= _MOST_TRIED and not any(demand.holds(chosen) for chosen in product(*others)):
            left[name] = left[name][1:]
            if not left[name]:
                return False
    return True


def _forced(left: Left) -> int:
    """Tasks that every option of some quantity calls for."""
    found = 0
    for some in left.values():
        shared = -1
        for option in some:
            shared &= option.tasks & ~option.needs
        found |= shared
    return found


def _drop_dominated(left: Left, demands: Sequence[Demand], forced: int) -> None:
    """Drops options for which another with the same value does all that they do for no more work."""
    wanted = 0  # what some option needs another to call for
    for some in left.values():
        for option in some:
            wanted |= option.needs
    cures = dict.fromkeys(left, wanted)
    for demand in demands:
        for name in demand.scope:
            cures[name] |= demand.cures
    for name, some in left.items():
        best: dict[object, list[Option]] = {}
        for option in some:
            rivals = best.setdefault(option.value, [])
            extra, useful = option.tasks & ~forced, option.tasks & cures[name]
            if not any(
                not rival.tasks & ~forced & ~extra
                and not useful & ~rival.tasks
                and rival.moved <= option.moved
                and rival.change <= option.change
                and not rival.needs
                for rival in rivals
            ):
                rivals.append(option)
        if len(best) < len(some):
            left[name] = [option for rivals in best.values() for option in rivals]


def _groups(left: Left, demands: Sequence[Demand], forced: int) -> list[tuple[list[str], list[Demand]]]:
    """Quantities that must be decided together, with their demands: those that share a demand, or open work."""
    root = {name: name for name in left}

    def find(name: str) -> str:
        while root[name] != name:
            root[name] = root[root[name]]
            name = root[name]
        return name

    joint = [demand for demand in demands if len(demand.scope) > 1]
    for demand in joint:
        first = find(demand.scope[0])
        for name in demand.scope[1:]:
            root[find(name)] = first
    by_task: dict[int, str] = {}
    for name, some in left.items():
        open_work = 0
        for option in some:
            open_work |= option.tasks | option.needs
        open_work &= ~forced
        while open_work:
            low = open_work & -open_work
            open_work ^= low
            if low in by_task:
                root[find(name)] = find(by_task[low])
            else:
                by_task[low] = name
    names: dict[str, list[str]] = {}
    for name in sorted(left):
        names.setdefault(find(name), []).append(name)
    inside: dict[str, list[Demand]] = {}
    for demand in joint:
        inside.setdefault(find(demand.scope[0]), []).append(demand)
    return [(group, inside.get(top, [])) for top, group in names.items()]


class OutOfTime(Exception):
    """Time ran out before any choice was found, or it was certain that there is none."""


class _Bound(Constraint):
    """Refuses what can't cost less than the best found, and readings taken again without need."""

    def __init__(
        self, names: Sequence[str], left: Left, price: Callable[[int], tuple[int, int]], forced: int,
        out_of_time: Callable[[], bool],
    ) -> None:  # fmt: skip
        self.price, self.forced, self.out_of_time, self.size = price, forced, out_of_time, len(names)
        # whatever is still to be chosen adds at least this much
        self.least = {name: (min(o.moved for o in left[name]), min(o.change for o in left[name])) for name in names}
        self.least_moved = sum(moved for moved, _ in self.least.values())
        self.least_change = sum(change for _, change in self.least.values())
        # no choice costs less than this: some quantity's cheapest option alone costs so many seconds
        seconds = max(min(price(option.tasks & ~forced)[0] for option in left[name]) for name in names)
        self.floor: Cost = (seconds, 0, self.least_moved, self.least_change)
        self.best: Cost | None = None
        self.tried = 0

    def __call__(
        self, variables: Sequence[str], domains: Any, assignments: dict[str, Option], forwardcheck: bool = False
    ) -> bool:
        self.tried += 1
        if self.tried % 256 == 0 and self.out_of_time():
            raise OutOfTime
        if self.best is None and len(assignments) < self.size:
            return True
        if len(assignments) == self.size and not self.supplied(assignments):
            return False
        return self.best is None or self.cost(assignments) < self.best

    def supplied(self, assignments: Mapping[str, Option]) -> bool:
        """Whether every reading that is taken again is called for by something else."""
        needs, given = 0, self.forced
        for option in assignments.values():
            needs |= option.needs
            given |= option.tasks & ~option.needs
        return not needs & ~given

    def cost(self, assignments: Mapping[str, Option]) -> Cost:
        """The least that a choice begun like this can cost."""
        tasks, moved, change = 0, self.least_moved, self.least_change
        for name, option in assignments.items():
            least = self.least[name]
            tasks |= option.tasks
            moved += option.moved - least[0]
            change += option.change - least[1]
        seconds, parts = self.price(tasks & ~self.forced)
        return seconds, parts, moved, change


class _Holds(Constraint):
    """One demand, asked when all its quantities have an option."""

    def __init__(self, demand: Demand) -> None:
        self.demand = demand

    def __call__(
        self, variables: Sequence[str], domains: Any, assignments: dict[str, Option], forwardcheck: bool = False
    ) -> bool:
        options = []
        missing = 0
        for name in self.demand.scope:
            found = assignments.get(name)
            if found is None:
                missing += 1
            else:
                options.append(found)
        if not missing:
            return self.demand.holds(tuple(options))
        if missing == 1 and forwardcheck:  # hides the values of the last one that would fail
            return bool(self.forwardCheck(variables, domains, assignments))
        return True


class _InOrder(OptimizedBacktrackingSolver):
    """Chooses first what may be left unknown, then the quantities on which most demands look."""

    def __init__(self, first: frozenset[str]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.first = first

    def getSortedVariables(self, domains: Any, vconstraints: Any) -> list[str]:
        """Overrides the solver's order: chosen last, these would be tried in full for every failure before them."""
        return sorted(domains, key=lambda name: (name not in self.first, -len(vconstraints[name]), len(domains[name])))


def _search(
    names: list[str], left: Left, demands: list[Demand], price: Callable[[int], tuple[int, int]], forced: int,
    out_of_time: Callable[[], bool],
) -> tuple[Mapping[str, Option] | None, bool]:  # fmt: skip
    """The best choice for one group, and whether the search went to its end."""
    problem = Problem(_InOrder(frozenset(name for name in names if left[name][0].value is None)))
    for name in names:
        some = sorted(left[name], key=lambda option: _cost(option, price, forced))
        some.reverse()  # the solver takes values from the end
        problem.addVariable(name, some)
    bound = _Bound(names, left, price, forced, out_of_time)
    problem.addConstraint(bound, names)  # first: what costs too much need not be looked at further
    for demand in demands:
        problem.addConstraint(_Holds(demand), demand.scope)
    best: Mapping[str, Option] | None = None
    try:
        for found in problem.getSolutionIter():  # type: ignore[no-untyped-call]
            best, bound.best = found, bound.cost(found)
            if bound.best <= bound.floor:
                break
    except OutOfTime:
        if best is None:
            raise
        return best, False
    return best, True
