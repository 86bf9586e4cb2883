"""Courses: what is done about a quantity, whichever value it then takes; and what can be ruled out at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from audit.nouns.quantity import Sided, Value
from audit.planning.choice import Cost, Demand, Option, Price


class Course(NamedTuple):
    """Options of one quantity that differ in value only.

    Attributes:
        values: set of their values, an integer with a bit for each of the quantity's.
        tasks, by, moved, change, needs: as of an option.
    """

    values: int
    tasks: int
    by: int
    moved: int
    change: int
    needs: int

    def cures(self, tasks: int) -> bool:
        """Whether it does one of some tasks, or is a change that takes no work: that mends whatever it touches."""
        return bool(self.tasks & tasks) or (self.by < 0 and bool(self.moved))

    def cost(self, price: Price, forced: int) -> Cost:
        """What it costs where some tasks are done anyway."""
        seconds, parts = price(self.tasks & ~forced)
        return seconds, parts, self.moved, self.change

    def option(self, value: Value | Sided) -> Option:
        """The option with one of its values."""
        return Option(value, self.tasks, self.by, self.moved, self.change, self.needs)


Left = dict[str, list[Course]]
Numbered = Mapping[str, Sequence[Value | Sided]]
"""By quantity its values, in order of preference; bit n stands for the one at place n."""


def courses_of(options: Mapping[str, Sequence[Option]], demands: Sequence[Demand]) -> tuple[Left, Numbered] | None:
    """Courses that pass every demand on their quantity alone, None if a quantity has none; and its values."""
    alone: dict[str, list[Demand]] = {}
    for demand in demands:
        if len(demand.scope) == 1:
            alone.setdefault(demand.scope[0], []).append(demand)
        elif not demand.scope and not demand.suits(()):
            return None
    left: Left = {}
    numbered: dict[str, list[Value | Sided]] = {}
    for name, some in options.items():
        bits: dict[Value | Sided, int] = {}
        sets: dict[tuple[int, int, int, int, int], int] = {}
        for option in some:
            bit = bits.setdefault(option.value, 1 << len(bits))
            sets[option[1:]] = sets.get(option[1:], 0) | bit
        courses = [Course(values, *work) for work, values in sets.items()]
        numbered[name] = [*bits]
        for demand in alone.get(name, ()):
            courses = _passing(demand, courses, numbered[name])
        if not courses:
            return None
        left[name] = courses
    return left, numbered


def _passing(demand: Demand, courses: list[Course], values: Sequence[Value | Sided]) -> list[Course]:
    """Courses with those of their values that a demand on their quantity alone suits."""
    cured, excused, bit = 0, 0, 1
    for value in values:
        if demand.holds((value,)):
            cured |= bit
            if demand.cures is not None and demand.excused((value,)):
                excused |= bit
        bit <<= 1
    found = []
    for course in courses:
        passing = cured if demand.cures is None or course.cures(demand.cures) else excused
        if course.values & passing:
            found.append(course._replace(values=course.values & passing))
    return found


def forced(left: Left) -> int:
    """Tasks that every course of some quantity calls for."""
    found = 0
    for courses in left.values():
        shared = -1
        for course in courses:
            shared &= course.tasks & ~course.needs
        found |= shared
    return found


def drop_dominated(left: Left, demands: Sequence[Demand], done: int) -> None:
    """Drops from each course the values that another reaches too, doing all that it does for no more work.

    Args:
        done: tasks that are done anyway.
    """
    wanted = 0  # what some course needs another to call for
    for courses in left.values():
        for course in courses:
            wanted |= course.needs
    useful = dict.fromkeys(left, wanted)
    for demand in demands:
        for name in demand.scope:
            useful[name] |= demand.cures or 0
    for name, courses in left.items():
        if len(courses) == 1:
            continue
        kept: list[Course] = []
        for course in courses:
            extra, use = course.tasks & ~done, course.tasks & useful[name]
            values = course.values
            for rival in kept:
                if (
                    not rival.tasks & ~done & ~extra
                    and not use & ~rival.tasks
                    and rival.moved <= course.moved
                    and rival.change <= course.change
                    and not rival.needs
                ):
                    values &= ~rival.values
            if values:
                kept.append(course._replace(values=values))
        left[name] = kept


def groups(left: Left, demands: Sequence[Demand], done: int) -> list[tuple[list[str], list[Demand]]]:
    """Quantities that must be decided together, with their demands: those that share a demand, or open work."""
    root = {name: name for name in left}

    def find(name: str) -> str:
        while root[name] != name:
            root[name] = root[root[name]]
            name = root[name]
        return name

    for demand in demands:
        first = find(demand.scope[0])
        for name in demand.scope[1:]:
            root[find(name)] = first
    by_task: dict[int, str] = {}
    for name, courses in left.items():
        open_work = 0
        for course in courses:
            open_work |= course.tasks | course.needs
        open_work &= ~done
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
    for demand in demands:
        inside.setdefault(find(demand.scope[0]), []).append(demand)
    return [(group, inside.get(top, [])) for top, group in names.items()]
