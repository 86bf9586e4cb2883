"""The values that matter of a quantity: those at which some question changes its answer, and those between them.

A setting is planned over its limits, rounded inwards to the steps it can be set in, which covers everything a finer
search could find: between two such values no answer changes, and the one nearest to as found is among them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise, product
from math import ceil, floor, isfinite

from audit.checking import ROUNDING
from audit.conditions import comparisons, quantities
from audit.facts import work_out
from audit.measures import dimension_of, to_canonical
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import AtLeast, AtMost, Between, Compare, Limit, Literal, Near, Pointer, Same
from audit.planning.probes import Probes
from audit.sheet import Question

_SAMPLES = 9
_HALVINGS = 60
_MOST_SETTINGS = 64
_MOST_REMEMBERED = 4096

Values = Mapping[str, Value | Sided]
Margin = Callable[[Values], float | None]


class Candidates:
    """Candidate values by quantity and by what else they depend on."""

    def __init__(self, card: MachineCard, probes: Probes, questions: tuple[Question, ...]) -> None:
        self.names = probes.sheet.names
        self.probes = probes
        self.steps = {carried.name: carried for carried in card.carried}
        self.margins: dict[str, list[tuple[tuple[str, ...], Margin]]] = {}
        for question in questions:
            for part in (question.given, question.hold):
                for compare in () if part is None else comparisons(part):
                    self.note(compare)
        self.kept: dict[object, tuple[Value, ...]] = {}

    def note(self, compare: Compare) -> None:
        """Keeps how far each side of a comparison is from its limit, for every number it depends on."""
        named = quantities(compare)
        inputs, _ = self.probes.behind(named)
        numbers = [name for name in inputs if self.is_number(name)]
        if not numbers:
            return
        for margin in self.margins_of(compare):
            for name in numbers:
                others = tuple(other for other in inputs if other != name)
                self.margins.setdefault(name, []).append((others, margin))

    def is_number(self, name: str) -> bool:
        quantity = self.names.get(name)
        return quantity is not None and quantity.form is Form.NUMBER

    def margins_of(self, compare: Compare) -> Iterator[Margin]:
        """Functions that are 0 where a comparison changes its answer."""
        relation = compare.relation
        if isinstance(relation, (AtLeast, AtMost)):
            yield self.margin(compare.quantity, relation.limit, 0.0)
        elif isinstance(relation, Between):
            yield self.margin(compare.quantity, relation.low, 0.0)
            yield self.margin(compare.quantity, relation.high, 0.0)
        elif isinstance(relation, Near):
            for sign in (-1.0, 1.0):
                if relation.share:
                    yield self.margin(compare.quantity, relation.limit, 0.0, 1.0 + sign * relation.within)
                else:
                    yield self.margin(compare.quantity, relation.limit, sign * relation.within)
        elif isinstance(relation, Same) and relation.other:
            for sign in (-1.0, 1.0):
                yield self.margin(compare.quantity, Pointer(relation.other), sign * relation.within)

    def margin(self, name: str, limit: Limit, plus: float, times: float = 1.0) -> Margin:
        def found(values: Values) -> float | None:
            value = self.value(name, values)
            edge = limit.value if isinstance(limit, Literal) else self.value(limit.name, values)
            if not isinstance(value, float) or not isinstance(edge, float):
                return None
            if isinstance(limit, Pointer):
                edge *= limit.times
            return value - (edge * times + plus)

        return found

    def value(self, name: str, values: Values) -> Value:
        """A quantity of one side, facts worked out."""
        if name in self.probes.constants:
            return self.probes.constants[name]
        found = values.get(name)
        if name in values:
            return found[0] if isinstance(found, tuple) else found
        computation = self.probes.sheet.by_name.get(name)
        if computation is None:
            return None
        arguments = [
            self.probes.constant(a) if self.probes.settled(a) else _times(self.value(a.name, values), a.factor)  # type: ignore[union-attr]
            for a in computation.args
        ]
        return work_out(computation, arguments)[0]

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
        margins = self.margins.get(name, [])
        others = dict.fromkeys(other for needed, _ in margins for other in needed)
        key = (
            name,
            tuple((values.get(other) if self.is_number(other) or other not in free else "", other in free) for other in others),
        )
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

    def points(self, name: str, values: Values, free: frozenset[str], deeper: bool) -> Iterator[float]:
        """Where some comparison changes its answer."""
        low, high = bounds(self.names[name])
        for needed, margin in self.margins.get(name, []):
            choices = [self.choices(other, values, free, deeper) for other in needed]
            for place, combination in enumerate(product(*choices)):
                if place >= _MOST_SETTINGS:
                    break
                around: dict[str, Value | Sided] = dict(zip(needed, combination, strict=True))

                def at(x: float, around: dict[str, Value | Sided] = around, margin: Margin = margin) -> float | None:
                    return margin({**around, name: x})

                yield from roots(at, low, high)

    def choices(self, other: str, values: Values, free: frozenset[str], deeper: bool) -> tuple[Value | Sided, ...]:
        quantity = self.names.get(other)
        known = values.get(other)
        if quantity is None or quantity.role is Role.EVENT:
            return (known,)
        if quantity.form is Form.NUMBER:
            found: list[Value | Sided] = [] if known is None else [known]
            if deeper and (known is None or other in free):
                points = sorted(set(self.points(other, values, frozenset(), deeper=False)))
                settable = quantity.role is Role.SETTING
                found += self.settable(other, points) if settable else self.readable(quantity, points)[:4]
            return tuple(found) or (None,)
        if known is not None and other not in free:
            return (known,)
        if quantity.form is Form.YES_NO:
            return (True, False)
        return tuple(word for word, _ in quantity.words) or (known,)

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


def _times(value: Value, factor: float) -> Value:
    return value * factor if factor != 1.0 and isinstance(value, float) else value


def bounds(quantity: Quantity) -> tuple[float, float]:
    """Lowest and highest possible value, canonical."""
    dimension = dimension_of(quantity.unit)
    low = float("-inf") if quantity.lowest is None else to_canonical(quantity.lowest, quantity.unit, dimension)
    high = float("inf") if quantity.highest is None else to_canonical(quantity.highest, quantity.unit, dimension)
    return low, high


def roots(at: Callable[[float], float | None], low: float, high: float) -> Iterator[float]:
    """Where a function of one number is 0 between two bounds: exactly if it is a straight line, else by halving."""
    low, high = max(low, -1e9), min(high, 1e9)
    sampled = [(x, at(x)) for x in (low + (high - low) * share / (_SAMPLES - 1) for share in range(_SAMPLES))]
    known = [(x, y) for x, y in sampled if y is not None]
    if len(known) >= 3:
        (x0, y0), (x1, y1), (xm, ym) = known[0], known[-1], known[len(known) // 2]
        slope = (y1 - y0) / (x1 - x0)
        if abs(y0 + slope * (xm - x0) - ym) <= 1e-9 * (abs(y0) + abs(y1)):
            if slope:
                root = x0 - y0 / slope
                if low <= root <= high:
                    yield root
            return
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
