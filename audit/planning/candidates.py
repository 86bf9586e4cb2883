"""The values that matter of a quantity: those at which some question changes its answer, and those between them.

A setting is planned over its limits, rounded inwards to the steps it can be set in, which covers everything a finer
search could find: between two such values no answer changes, and the one nearest to as found is among them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise, product
from math import ceil, floor, isfinite, prod
from random import Random

from audit.checking import ROUNDING
from audit.conditions import comparisons
from audit.measures import dimension_of, to_canonical
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import AtLeast, AtMost, Between, Compare, Limit, Near, Pointer, Same
from audit.planning.probes import Probes
from audit.sheet import Question

_SAMPLES = 9
_HALVINGS = 60
_MOST_SETTINGS = 64
_MOST_REMEMBERED = 4096

Values = Mapping[str, Value | Sided]
Row = list[Value | Sided]
Margin = Callable[[Row], float | None]


class Candidates:
    """Candidate values by quantity and by what else they depend on."""

    def __init__(self, card: MachineCard, probes: Probes, questions: tuple[Question, ...]) -> None:
        self.names = probes.sheet.names
        self.probes = probes
        self.steps = {carried.name: carried for carried in card.carried}
        self.margins: dict[str, list[tuple[int, tuple[str, ...], Margin]]] = {}
        for question in questions:
            for part in (question.given, question.hold):
                for compare in () if part is None else comparisons(part):
                    self.note(compare)
        self.kept: dict[object, tuple[Value, ...]] = {}
        self.reached: dict[str, tuple[str, ...]] = {}

    def note(self, compare: Compare) -> None:
        """Keeps how far each side of a comparison is from its limit, for every number it depends on."""
        for inputs, margin in self.margins_of(compare):
            for place, name in enumerate(inputs):
                if self.is_number(name):
                    self.margins.setdefault(name, []).append((place, inputs, margin))

    def is_number(self, name: str) -> bool:
        quantity = self.names.get(name)
        return quantity is not None and quantity.form is Form.NUMBER

    def margins_of(self, compare: Compare) -> Iterator[tuple[tuple[str, ...], Margin]]:
        """Functions of some inputs that are 0 where a comparison changes its answer."""
        relation = compare.relation
        if isinstance(relation, (AtLeast, AtMost)):
            yield self.margin(compare.quantity, relation.limit)
        elif isinstance(relation, Between):
            yield self.margin(compare.quantity, relation.low)
            yield self.margin(compare.quantity, relation.high)
        elif isinstance(relation, Near):
            for within in (-relation.within, relation.within):
                plus, times = (0.0, 1.0 + within) if relation.share else (within, 1.0)
                yield self.margin(compare.quantity, relation.limit, plus, times)
        elif isinstance(relation, Same) and relation.other:
            for within in (-relation.within, relation.within):
                yield self.margin(compare.quantity, Pointer(relation.other), within)

    def margin(self, name: str, limit: Limit, plus: float = 0.0, times: float = 1.0) -> tuple[tuple[str, ...], Margin]:
        """The inputs of a quantity and its limit, and how far it is from ``times`` the limit ``plus`` something."""
        if isinstance(limit, Pointer):
            inputs, values = self.probes.values_of([name, limit.name])
            factor = limit.times * times

            def to_pointer(row: Row) -> float | None:
                value, edge = values(*row)
                if not isinstance(value, float) or not isinstance(edge, float):
                    return None
                return value - (edge * factor + plus)

            return inputs, to_pointer
        inputs, values = self.probes.values_of([name])
        wanted = limit.value

        def to_literal(row: Row) -> float | None:
            value = values(*row)[0]
            if not isinstance(value, float) or not isinstance(wanted, float):
                return None
            return value - (wanted * times + plus)

        return inputs, to_literal

    def of(self, name: str, values: Values, free: frozenset[str]) -> tuple[Value, ...]:
        """Values of one side worth trying, the most useful first.

        Args:
            values: as found.
            free: quantities that may change too; they are tried at their own candidates.
        """
        quantity = self.names[name]
        if quantity.form is Form.YES_NO:
            return (True, False)
        if quantity.form is Form.WORD:
            return tuple(word for word, _ in quantity.words)
        key = name, tuple([(values.get(other), other in free) for other in self.reach(name)])
        found = self.kept.get(key)
        if found is None:
            points = sorted({point for point in self.points(name, values, free, deeper=True) if isfinite(point)})
            found = tuple(
                self.settable(name, points) if quantity.role is Role.SETTING else self.readable(quantity, points)
            )
            if len(self.kept) >= _MOST_REMEMBERED:
                self.kept.clear()
            self.kept[key] = found
        return found

    def reach(self, name: str) -> tuple[str, ...]:
        """Every quantity on which the values worth trying of one depend, through others that are tried too.

        Its own value as found is among them where those others are tried at what they want beside it.
        """
        found = self.reached.get(name)
        if found is None:
            inputs = (other for _, inputs, _ in self.margins.get(name, ()) for other in inputs)
            near = [other for other in dict.fromkeys(inputs) if other != name]
            far = (other for one in near for _, inputs, _ in self.margins.get(one, ()) for other in inputs)
            found = self.reached[name] = tuple(dict.fromkeys((*near, *far)))
        return found

    def points(self, name: str, values: Values, free: frozenset[str], deeper: bool) -> Iterator[float]:
        """Where some comparison changes its answer."""
        low, high = bounds(self.names[name])
        sided = self.names[name].sided
        for place, inputs, margin in self.margins.get(name, []):
            choices = [self.choices(o, values, free, deeper) if o != name else (None,) for o in inputs]
            for combination in _some(choices):
                row = list(combination)

                def at(x: float, row: Row = row, place: int = place, margin: Margin = margin) -> float | None:
                    row[place] = (x, x) if sided else x
                    return margin(row)

                yield from roots(at, low, high)

    def choices(self, other: str, values: Values, free: frozenset[str], deeper: bool) -> tuple[Value | Sided, ...]:
        """Values of another input at which points are looked for."""
        quantity = self.names.get(other)
        known = values.get(other)
        if quantity is None or quantity.role is Role.EVENT or (known is not None and other not in free):
            return (known,)
        found: list[Value]
        if quantity.form is Form.NUMBER:
            found = []
            if deeper:
                points = sorted(set(self.points(other, values, frozenset(), deeper=False)))
                settable = quantity.role is Role.SETTING
                found = self.settable(other, points) if settable else self.readable(quantity, points)[:4]
            whole: list[Value | Sided] = [known] if known is not None or not found else []
        else:
            whole = []
            found = [True, False] if quantity.form is Form.YES_NO else [word for word, _ in quantity.words]
        whole += [(value, value) if quantity.sided else value for value in found]
        return tuple(whole) or (known,)

    def settable(self, name: str, points: list[float]) -> list[Value]:
        """Points rounded to both sides to what a setting can be set to."""
        carried, quantity = self.steps.get(name), self.names[name]
        low, high = bounds(quantity)
        found: dict[Value, None] = {}
        ends = [end for end in (low, high) if isfinite(end)]
        for point in (*points, *((one + two) / 2 for one, two in pairwise(points)), *ends):
            for value in self.stepped(point, carried.step if carried else None, quantity, low):
                if low - ROUNDING * abs(low) <= value <= high + ROUNDING * abs(high):
                    found[min(max(value, low), high)] = None
        return list(found)

    def stepped(self, point: float, step: float | None, quantity: Quantity, low: float) -> tuple[float, ...]:
        if not step:
            return (point,)
        width = to_canonical(step, quantity.unit, dimension_of(quantity.unit)) - to_canonical(
            0.0, quantity.unit, dimension_of(quantity.unit)
        )
        at = (point - low) / width
        near = round(at)
        if abs(at - near) < 1e-6:
            return (low + near * width,)
        return (low + floor(at) * width, low + ceil(at) * width)

    def readable(self, quantity: Quantity, points: list[float]) -> list[Value]:
        """Values inside each stretch between points, then beyond the ends, then the points themselves."""
        low, high = bounds(quantity)
        if not points:
            if not (isfinite(low) and isfinite(high)):
                return [min(max(0.0, low), high)]
            return [low + (high - low) * share for share in (0.0, 0.5, 0.25, 0.75, 0.125, 1.0)]
        found: dict[Value, None] = {}
        tried = [(a + b) / 2 for a, b in pairwise(points)]
        for share in (0.02, 0.1, 0.5, 0.001):
            tried += [points[0] - share * (abs(points[0]) or 1.0), points[-1] + share * (abs(points[-1]) or 1.0)]
        for value in (*tried, *points, low, high):
            if low <= value <= high and isfinite(value):
                found[float(value)] = None
        return list(found)


def _some(choices: list[tuple[Value | Sided, ...]]) -> Iterator[tuple[Value | Sided, ...]]:
    """All combinations, or where they are too many a fair share of them, the same every time."""
    if prod(map(len, choices)) <= _MOST_SETTINGS:
        yield from product(*choices)
        return
    yield tuple(some[0] for some in choices)
    chance = Random(0)
    for _ in range(_MOST_SETTINGS):
        yield tuple(chance.choice(some) for some in choices)


def bounds(quantity: Quantity) -> tuple[float, float]:
    """Lowest and highest possible value, canonical."""
    dimension = dimension_of(quantity.unit)
    low = float("-inf") if quantity.lowest is None else to_canonical(quantity.lowest, quantity.unit, dimension)
    high = float("inf") if quantity.highest is None else to_canonical(quantity.highest, quantity.unit, dimension)
    return low, high


def roots(at: Callable[[float], float | None], low: float, high: float) -> Iterator[float]:
    """Where a function of one number is 0 between two bounds: exactly if it is a straight line, else by halving."""
    low, high = max(low, -1e9), min(high, 1e9)
    middle = low + (high - low) * 0.4375
    at_low, at_middle, at_high = at(low), at(middle), at(high)
    if at_low is not None and at_middle is not None and at_high is not None:
        slope = (at_high - at_low) / (high - low)
        if abs(at_low + slope * (middle - low) - at_middle) <= 1e-9 * (abs(at_low) + abs(at_high)):
            root = low - at_low / slope if slope else low - 1.0
            if low <= root <= high:
                yield root
            return
    sampled = [(x, at(x)) for x in (low + (high - low) * share / (_SAMPLES - 1) for share in range(_SAMPLES))]
    known = [(x, y) for x, y in sampled if y is not None]
    for (xa, ya), (xb, yb) in pairwise(known):
        if ya == 0.0:
            yield xa
        elif ya * yb < 0:
            yield _halved(at, xa, xb, ya)


def _halved(at: Callable[[float], float | None], low: float, high: float, at_low: float) -> float:
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        value = at(middle)
        if value is None:
            break
        if value * at_low > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
