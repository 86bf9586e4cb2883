"""Finds the cheapest choice of one option for each quantity such that every constraint holds.

The bare solver does not scale to a whole machine; the problem's shape does. Constraints on one quantity prune its
options; what is left falls into small groups that share neither a constraint nor work whose doing is still open; each
group is searched on its own, options in order of cost, and cut off as soon as it costs more than the best found.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from constraint import Constraint, OptimizedBacktrackingSolver, Problem

from audit.nouns.quantity import Sided, Value


@dataclass(frozen=True, slots=True)
class Option:
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


Cost = tuple[int, int, int, int, int]
"""Seconds, parts, moves, change, and order of preference of the options chosen."""

Choice = tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Demand:
    """A constraint on some quantities, all of which must have a value; ``holds`` takes their options in order."""

    scope: tuple[str, ...]
    holds: Callable[[Choice], bool]


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
) -> Solution | None:
    """The cheapest choice, None where there is none.

    Args:
        options: by quantity, in order of preference; among equally cheap choices the earlier options win.
        demands: what must hold.
        price: seconds and parts of a set of tasks; what is in the set is paid once.
        out_of_time: asked during the search; once it says so, the best found so far is returned unproven.

    Raises: OutOfTime: before any choice was found.
    """
    left = _pruned(options, demands)
    if left is None:
        return None
    forced = 0
    for some in left.values():
        shared = -1
        for _, option in some:
            shared &= option.tasks & ~option.needs
        forced |= shared
    chosen: dict[str, Option] = {}
    preference, proven, tasks = 0, True, forced
    for names, inside in _groups(left, demands, forced):
        if len(names) == 1:
            name = names[0]
            place, option = min(
                (one for one in left[name] if not one[1].needs & ~forced),
                key=lambda one: (*price(one[1].tasks & ~forced), one[1].moved, one[1].change, one[0]),
                default=(0, None),
            )
            if option is None:
                return None
            best: Mapping[str, tuple[int, Option]] | None = {name: (place, option)}
        else:
            best, finished = _search(names, left, inside, price, forced, out_of_time)
            proven = proven and finished
        if best is None:
            return None
        for name, (place, option) in best.items():
            chosen[name] = option
            preference += place
            tasks |= option.tasks
    seconds, parts = price(tasks)
    moved = sum(option.moved for option in chosen.values())
    change = sum(option.change for option in chosen.values())
    return Solution(chosen, tasks, (seconds, parts, moved, change, preference), proven)


Left = dict[str, list[tuple[int, Option]]]


def _pruned(options: Mapping[str, Sequence[Option]], demands: Sequence[Demand]) -> Left | None:
    """Options that pass every demand on their quantity alone, with their places; None if one has none left."""
    alone: dict[str, list[Demand]] = {}
    for demand in demands:
        if len(demand.scope) == 1:
            alone.setdefault(demand.scope[0], []).append(demand)
        elif not demand.scope and not demand.holds(()):
            return None
    left: Left = {}
    for name, some in options.items():
        tests = alone.get(name, ())
        found = [
            (place, option) for place, option in enumerate(some) if all(test.holds((option,)) for test in tests)
        ]
        if not found:
            return None
        left[name] = found
    return left


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
        for _, option in some:
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
    """Refuses what already costs more than the best found, and readings taken again without need."""

    def __init__(
        self, price: Callable[[int], tuple[int, int]], forced: int, out_of_time: Callable[[], bool], size: int
    ) -> None:
        self.price, self.forced, self.out_of_time, self.size = price, forced, out_of_time, size
        self.best: tuple[Cost, tuple[int, ...]] | None = None
        self.tried = 0

    def __call__(
        self, variables: Sequence[str], domains: Any, assignments: dict[str, tuple[int, Option]],
        forwardcheck: bool = False,
    ) -> bool:  # fmt: skip
        self.tried += 1
        if self.tried % 256 == 0 and self.out_of_time():
            raise OutOfTime
        tasks, needs, moved, change, preference = 0, 0, 0, 0, 0
        for place, option in assignments.values():
            tasks |= option.tasks
            moved += option.moved
            change += option.change
            preference += place
            needs |= option.needs
        if needs and len(assignments) == self.size and not self.supplied(assignments, needs):
            return False
        if self.best is None:
            return True
        cost = (*self.price(tasks & ~self.forced), moved, change, preference)
        return cost <= self.best[0]

    def supplied(self, assignments: Mapping[str, tuple[int, Option]], needs: int) -> bool:
        given = self.forced
        for _, option in assignments.values():
            given |= option.tasks & ~option.needs
        return not needs & ~given

    def cost(self, assignments: Mapping[str, tuple[int, Option]]) -> Cost:
        tasks, moved, change, preference = 0, 0, 0, 0
        for place, option in assignments.values():
            tasks |= option.tasks
            moved += option.moved
            change += option.change
            preference += place
        return (*self.price(tasks & ~self.forced), moved, change, preference)


class _Holds(Constraint):
    """One demand, asked when all its quantities have an option."""

    def __init__(self, demand: Demand) -> None:
        self.demand = demand

    def __call__(
        self, variables: Sequence[str], domains: Any, assignments: dict[str, tuple[int, Option]],
        forwardcheck: bool = False,
    ) -> bool:  # fmt: skip
        options = []
        for name in self.demand.scope:
            found = assignments.get(name)
            if found is None:
                return True
            options.append(found[1])
        return self.demand.holds(tuple(options))


def _search(
    names: list[str], left: Left, demands: list[Demand], price: Callable[[int], tuple[int, int]], forced: int,
    out_of_time: Callable[[], bool],
) -> tuple[Mapping[str, tuple[int, Option]] | None, bool]:  # fmt: skip
    """The best choice for one group, and whether the search went to its end."""
    problem = Problem(OptimizedBacktrackingSolver(forwardcheck=False))
    for name in names:
        by_cost = sorted(
            left[name],
            key=lambda one: (*price(one[1].tasks & ~forced), one[1].moved, one[1].change, one[0]),
            reverse=True,  # the solver takes values from the end
        )
        problem.addVariable(name, by_cost)
    bound = _Bound(price, forced, out_of_time, len(names))
    for demand in demands:
        problem.addConstraint(_Holds(demand), demand.scope)
    problem.addConstraint(bound, names)
    best: Mapping[str, tuple[int, Option]] | None = None
    try:
        for found in problem.getSolutionIter():
            key = bound.cost(found), tuple(found[name][0] for name in names)
            if bound.best is None or key < bound.best:
                bound.best, best = key, dict(found)
    except OutOfTime:
        if best is None:
            raise
        return best, False
    return best, True
