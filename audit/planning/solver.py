"""Finds the cheapest choice of one option for each quantity such that every demand holds.

The bare solver does not scale to a whole machine; the problem's shape does. Demands on one quantity prune its options;
what is left falls into small groups that share neither a demand nor work whose doing is still open. In a group work is
chosen first: options that differ in value only are one course, courses are tried in order of cost and cut off as soon
as they cost more than the best found, and of values only whether some fit together is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from constraint import Constraint, OptimizedBacktrackingSolver, Problem

from audit.planning.choice import Cost, Demand, Option, Price
from audit.planning.courses import Course, Left, Numbered, courses_of, drop_dominated, forced, groups
from audit.planning.domains import Domains, Sets


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
    price: Price,
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
    made = courses_of(options, demands)
    if made is None:
        return None
    joint = [demand for demand in demands if len(demand.scope) > 1]
    found = _choose(*made, joint, price, given, _Clock(out_of_time))
    if found is None:
        return None
    chosen, tasks, proven = found
    seconds, parts = price(tasks)
    moved = sum(option.moved for option in chosen.values())
    change = sum(option.change for option in chosen.values())
    return Solution(chosen, tasks, (seconds, parts, moved, change), proven)


class OutOfTime(Exception):
    """Time ran out before any choice was found, or it was certain that there is none."""


class _Clock:
    """Asks now and then whether time is up, by a count of work done."""

    def __init__(self, out_of_time: Callable[[], bool]) -> None:
        self.out_of_time, self.ticks = out_of_time, 0

    def __call__(self) -> None:
        self.ticks += 1
        if self.ticks % _TICKS == 0 and self.out_of_time():
            raise OutOfTime


_TICKS = 128


def _choose(
    left: Left, values: Numbered, demands: Sequence[Demand], price: Price, given: int, clock: _Clock
) -> tuple[dict[str, Option], int, bool] | None:
    """The cheapest choice with its tasks, and whether that is certain; None if there is none."""
    done = given | forced(left)
    drop_dominated(left, demands, done)
    chosen: dict[str, Option] = {}
    proven, tasks = True, done
    for names, inside in groups(left, demands, done):
        if len(names) == 1:
            name = names[0]
            able = [course for course in left[name] if not course.needs & ~done]
            if not able:
                return None
            best = able[0] if len(able) == 1 else min(able, key=lambda course: course.cost(price, done))
            chosen[name] = best.option(values[name][(best.values & -best.values).bit_length() - 1])
        else:
            found = _group({name: left[name] for name in names}, values, inside, price, done, clock)
            if found is None:
                return None
            chosen.update(found[0])
            proven = proven and found[1]
    for option in chosen.values():
        tasks |= option.tasks
    return chosen, tasks, proven


def _group(
    left: Left, values: Numbered, demands: list[Demand], price: Price, done: int, clock: _Clock
) -> tuple[Mapping[str, Option], bool] | None:
    """The best choice for one group, and whether the search went to its end; None if there is none."""
    search = _Search(left, values, demands, price, done, clock)
    fitting = search.begin()
    if fitting is None:
        return None
    if forced(fitting) & ~done:  # work that turns out to be needed is paid first; what shared only that is then apart
        found = _choose(fitting, values, demands, price, done, clock)
        return None if found is None else (found[0], found[2])
    problem = Problem(_InOrder(search))
    for name, courses in search.courses.items():
        problem.addVariable(name, courses[::-1])  # the solver takes them from the end
    problem.addConstraint(search, [*search.courses])
    proven = True
    try:
        for _ in problem.getSolutionIter():  # type: ignore[no-untyped-call]
            if search.is_least():
                break
    except OutOfTime:
        if search.best is None:
            raise
        proven = False
    return None if search.best is None else (search.best, proven)


class _InOrder(OptimizedBacktrackingSolver):
    """Decides part by part; in each first what may be left unknown, then the quantities on which most demands look."""

    def __init__(self, search: _Search) -> None:
        super().__init__(forwardcheck=False)  # type: ignore[no-untyped-call]
        self.search = search

    def getSortedVariables(self, domains: Any, vconstraints: Any) -> list[str]:
        """Overrides the solver's order: chosen last, these would be tried in full for every failure before them."""
        found = self.search.domains

        def key(name: str) -> tuple[int, bool, int, int]:
            place = found.place[name]
            known, demands = found.values[place][0] is not None, found.around[place].bit_count()
            return found.part_of[place], known, -demands, len(domains[name])

        return sorted(domains, key=key)


class _Search(Constraint):
    """Refuses courses that can't cost less than the best found, and those whose values don't fit together.

    Attributes:
        courses: by quantity, cheapest first.
        best: the best choice found.
    """

    def __init__(
        self, left: Left, values: Numbered, demands: Sequence[Demand], price: Price, done: int, clock: _Clock
    ) -> None:
        self.price, self.done, self.clock = price, done, clock
        self.courses = {
            name: sorted(courses, key=lambda course: course.cost(price, done)) for name, courses in left.items()
        }
        self.domains = Domains({name: values[name] for name in left}, demands, clock)
        every = [*left]
        self.names = [frozenset(every[place] for place in places) for places, _ in self.domains.parts]
        self.tables = (1 << len(demands)) - 1
        self.curing = [
            (1 << number, demand.scope, demand.cures)
            for number, demand in enumerate(demands)
            if demand.cures is not None
        ]
        self.curing_on = {name: [one for one in self.curing if name in one[1]] for name in left}
        self.best: dict[str, Option] | None = None
        self.least: Cost | None = None
        self.floor: Cost = (0, 0, 0, 0)
        # by how many quantities are decided: what is left of all values, and which demands have or may have a cure
        self.path: list[tuple[Sets, int]] = []

    def begin(self) -> Left | None:
        """Thins out values before anything is decided: the courses that are left, None if a quantity has none."""
        whole = [0] * len(self.courses)
        for name, courses in self.courses.items():
            for course in courses:
                whole[self.domains.place[name]] |= course.values
        mended = self.tables
        for bit, scope, cures in self.curing:
            if not self.may_have_cure(scope, cures, {}):
                mended ^= bit
        sets = self.domains.thinned(whole, mended, self.tables)
        if sets is None:
            return None
        self.path, self.floor = [(sets, mended)], self.bound({}, sets)
        return {
            name: [
                course._replace(values=course.values & some)
                for course in courses
                if course.values & (some := sets[self.domains.place[name]])
            ]
            for name, courses in self.courses.items()
        }

    def is_least(self) -> bool:
        """Whether no choice can cost less than the best found."""
        return self.least is not None and self.least <= self.floor

    def __call__(
        self, variables: Sequence[str], domains: Any, assignments: dict[str, Course], forwardcheck: Any = None
    ) -> bool:
        self.clock()
        decided = len(assignments)
        del self.path[decided:]
        before, could = self.path[-1]
        name = next(reversed(assignments))
        place = self.domains.place[name]
        left = before[place] & assignments[name].values
        if not left:
            return False
        mended = self.still_mended(could, name, assignments)
        sets = before.copy()
        sets[place] = left
        todo = could & ~mended | (self.domains.around[place] if left != before[place] else 0)
        thin = self.domains.thinned(sets, mended, todo) if todo else sets
        if thin is None:
            return False
        if self.least is not None and self.bound(assignments, thin) >= self.least:
            return False
        part = self.domains.part_of[place]
        if self.names[part] <= assignments.keys() and self.domains.row(part, thin, mended) is None:
            return False
        self.path.append((thin, mended))
        if decided < len(self.courses):
            return True
        if not self.supplied(assignments):
            return False
        row: dict[int, Any] = {}
        for part in range(len(self.names)):
            row |= self.domains.row(part, thin, mended) or {}
        self.least = self.bound(assignments, thin)
        self.best = {name: assignments[name].option(row[place]) for name, place in self.domains.place.items()}
        return True

    def still_mended(self, could: int, name: str, assignments: Mapping[str, Course]) -> int:
        """Of the demands that had or could have a cure, those of which that is still so now that a course is chosen."""
        course = assignments[name]
        for bit, scope, cures in self.curing_on[name]:
            if could & bit and not course.cures(cures) and not self.may_have_cure(scope, cures, assignments):
                could ^= bit
        return could

    def may_have_cure(self, scope: Sequence[str], cures: int, assignments: Mapping[str, Course]) -> bool:
        """Whether some course in a demand's scope that is chosen, or may still be, is a cure for it."""
        for name in scope:
            course = assignments.get(name)
            if any(one.cures(cures) for one in (self.courses[name] if course is None else (course,))):
                return True
        return False

    def supplied(self, assignments: Mapping[str, Course]) -> bool:
        """Whether every reading that is taken again is called for by something else."""
        needs, given = 0, self.done
        for course in assignments.values():
            needs |= course.needs
            given |= course.tasks & ~course.needs
        return not needs & ~given

    def bound(self, assignments: Mapping[str, Course], sets: Sets) -> Cost:
        """The least that a choice begun like this can cost."""
        tasks, moved, change = 0, 0, 0
        for course in assignments.values():
            tasks |= course.tasks
            moved += course.moved
            change += course.change
        tasks &= ~self.done
        seconds, parts = self.price(tasks)
        for place, (name, courses) in enumerate(self.courses.items()):
            if name not in assignments:
                some = sets[place]
                able = [course for course in courses if course.values & some]
                seconds = max(seconds, min([self.price(tasks | one.tasks & ~self.done)[0] for one in able]))
                moved += min([one.moved for one in able])
                change += min([one.change for one in able])
        return seconds, parts, moved, change
