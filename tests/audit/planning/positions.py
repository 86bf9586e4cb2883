"""Values to try of a quantity, found by walking along it under the plain reading, apart from the planner's own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import islice, pairwise, product

from audit.conditions import comparisons, limits
from audit.measures import dimension_of, to_canonical
from audit.nouns.quantity import Form, Role, Sided, Value
from audit.nouns.rule import Pointer, Verdict
from audit.planning.worksheet import WorkSheet
from tests.audit.planning.plain import Asked, Filled

Whole = Value | Sided
Row = tuple[Whole, ...]
_MANY = 5
"""Inputs of a question from which on a reading behind it is tried at a few values only."""


class Positions:
    """Values of the quantities of a work sheet.

    Positions of a setting with a step are its whole grid. For other numbers the edges of each question are found by
    walking along the quantity with the others as found and as in a right setup, and halving; then values on the edges
    and between them are taken. Of counts and other readings that many quantities share a question with, only a few.

    Args:
        legal: values of a setup that keeps every rule: starting points for looking for edges.

    Attributes:
        behind: by quantity, the questions that depend on it.
    """

    def __init__(self, worksheet: WorkSheet, legal: Filled) -> None:
        self.worksheet, self.legal = worksheet, legal
        self.names = worksheet.sheet.names
        self.asked = [Asked(worksheet.sheet, question) for question in worksheet.sheet.questions]
        self.behind: dict[str, list[Asked]] = {}
        for asked in self.asked:
            for name in asked.inputs:
                self.behind.setdefault(name, []).append(asked)
        self.grids = {name: self.grid(name) for name in self.behind}
        self.edges: dict[object, tuple[float, ...]] = {}

    def grid(self, name: str) -> tuple[Value, ...] | None:
        """Positions of a setting with a step, words of a word; None for what has neither."""
        quantity = self.names[name]
        if quantity.form is Form.YES_NO:
            return (True, False)
        if quantity.form is Form.WORD:
            return tuple(word for word, _ in quantity.words)
        carried = next((carried for carried in self.worksheet.sheet.card.carried if carried.name == name), None)
        if quantity.role is not Role.SETTING or carried is None or not carried.step:
            return None
        assert quantity.lowest is not None
        assert quantity.highest is not None
        count = round((quantity.highest - quantity.lowest) / carried.step)
        dimension = dimension_of(quantity.unit)
        return tuple(
            to_canonical(quantity.lowest + place * carried.step, quantity.unit, dimension) for place in range(count + 1)
        )

    def span(self, name: str) -> tuple[float, float]:
        """Lowest and highest possible value, canonical; a large number where there is none."""
        quantity = self.names[name]
        dimension = dimension_of(quantity.unit)
        low, high = (
            None if end is None else to_canonical(end, quantity.unit, dimension)
            for end in (quantity.lowest, quantity.highest)
        )
        return -1e6 if low is None else low, 1e6 if high is None else high

    def values_of(self, name: str, found: Filled) -> Sequence[Value]:
        grid = self.grids[name]
        if grid is not None:
            return grid
        if max(len(asked.inputs) for asked in self.behind[name]) >= _MANY:
            return self.few(name, found)
        edges = sorted({edge for asked in self.behind[name] for edge in self.edges_of(asked, name, found)})
        low, high = self.span(name)
        values = {(one + two) / 2 for one, two in pairwise((low, *edges, high))}
        if self.names[name].role is Role.SETTING or not edges:
            values.update((low, *edges, high))
        values.update(self.own(name, found))
        if self.names[name].role is Role.READING:
            values.update(self.held_to(name))
        return sorted(value for value in values if low <= value <= high)

    def held_to(self, name: str) -> Iterator[float]:
        """Positions of the settings that a reading is held to: it is right at the number set, whichever that is."""
        for asked in self.behind[name]:
            for compare in comparisons(asked.question.hold):
                if compare.quantity == name:
                    for limit in limits(compare.relation):
                        grid = self.grids.get(limit.name) if isinstance(limit, Pointer) else None
                        yield from (value for value in grid or () if isinstance(value, float))

    def own(self, name: str, found: Filled) -> Iterator[float]:
        """A quantity's values as found and as in a right setup."""
        for value in (found[name], self.legal.get(name)):
            for side in value if isinstance(value, tuple) else (value,):
                if isinstance(side, float):
                    yield side

    def few(self, name: str, found: Filled) -> Sequence[Value]:
        """The least value, its own, and those of others in the same unit that it is asked with."""
        unit = self.names[name].unit
        low, high = self.span(name)
        values = {low, *self.own(name, found)}
        for asked in self.behind[name]:
            for other in asked.inputs:
                if self.names[other].unit == unit:
                    values.update(self.own(other, found))
        if self.names[name].role is not Role.READING:
            values |= {value * factor for value in values for factor in (0.5, 2.0, 4.0)}
        return sorted(value for value in values if low <= value <= high)

    def edges_of(self, asked: Asked, name: str, found: Filled) -> Iterator[float]:
        """Values at which a question changes its answer, the other inputs as found and as in a right setup."""
        place = asked.inputs.index(name)
        others = [self.around(other, found) if other != name else [None] for other in asked.inputs]
        for row in islice(product(*others), 64):
            key = asked, name, row
            if key not in self.edges:
                self.edges[key] = tuple(self.walk(asked, name, place, row, found))
            yield from self.edges[key]

    def around(self, other: str, found: Filled) -> list[Whole]:
        grid = self.grids.get(other)
        known = [value for value in (found[other], self.legal.get(other)) if value is not None]
        if grid is not None and len(grid) <= 4 and self.names[other].role is not Role.BUILD:
            return [(value, value) if self.names[other].sided else value for value in grid]
        return list(dict.fromkeys(known)) or [None]

    def walk(self, asked: Asked, name: str, place: int, row: Row, found: Filled) -> Iterator[float]:
        low, high = self.span(name)
        anchors = [*self.own(name, found), *(side for whole in row for side in sides(whole) if isinstance(side, float))]
        points = {low + (high - low) * share / 32 for share in range(33)}
        for anchor in anchors:
            points.update(anchor * factor for factor in (0.5, 0.8, 0.9, 0.95, 0.98, 1.0, 1.02, 1.05, 1.1, 1.25, 2.0))
        sided = self.names[name].sided

        def at(x: float) -> Verdict:
            return asked.verdict((*row[:place], (x, x) if sided else x, *row[place + 1 :]))

        walked = sorted(point for point in points if low <= point <= high)
        for one, two in pairwise([(point, at(point)) for point in walked]):
            if one[1] is not two[1]:
                yield from halved(at, one[0], two[0])


def sides(whole: Whole) -> tuple[Value, ...]:
    """Both sides of a sided value, else the one."""
    return whole if isinstance(whole, tuple) else (whole,)


def halved(at: Callable[[float], Verdict], low: float, high: float) -> tuple[float, float]:
    """The two neighbours between which an answer changes."""
    first = at(low)
    for _ in range(60):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if at(middle) is first:
            low = middle
        else:
            high = middle
    return low, high
