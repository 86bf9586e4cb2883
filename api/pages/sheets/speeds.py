"""Speeds of a machine against the windows that its rules hold them to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from api.pages.units import INTO
from api.wire import title_of
from audit.conditions import comparisons
from audit.measures import dimension_of, from_canonical
from audit.nouns.quantity import Quantity, Sided, Value
from audit.nouns.rule import AtLeast, AtMost, Between, Compare, Limit, Literal, Pointer
from audit.sheet import Sheet

Values = Mapping[str, Value | Sided]

_SPEEDS = frozenset({dimension_of("r/min"), dimension_of("m/s")})


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed that rules hold to a window, in the unit its reader wants.

    Attributes:
        value: None for not known.   low, high: ends of the window, None for an open end.
        part: title of what turns, '' for none.   meaning: of the quantity.   measured: taken by hand at a shaft.
    """

    quantity: str
    part: str
    meaning: str
    measured: bool
    unit: str
    value: float | None
    low: float | None
    high: float | None


def speeds_of(sheet: Sheet, values: Values, units: str) -> list[Speed]:
    """Every speed that a rule holds to a window whose ends are known, in the order of the rules.

    Args:
        values: everything known of a setup, as ``compute`` gives it.   units: a key of ``units.INTO``.
    """
    ends: dict[str, list[tuple[float | None, float | None]]] = {}
    for question in sheet.questions:
        for compare in comparisons(question.hold):
            if _is_speed(sheet.names.get(compare.quantity)):
                ends.setdefault(compare.quantity, []).append(_window(compare, {**sheet.constants, **values}))
    found = []
    for name, windows in ends.items():
        low, high = _most(low for low, _ in windows), _least(high for _, high in windows)
        if low is not None or high is not None:
            quantity, value = sheet.names[name], values.get(name)
            part, _, attribute = name.partition(".")
            unit = INTO[units].get(quantity.unit, quantity.unit)
            known, low, high = (
                from_canonical(one, unit) if isinstance(one, float) else None for one in (value, low, high)
            )
            found.append(
                Speed(
                    name, title_of(sheet.card, part), quantity.meaning, attribute == "measured_speed", unit, known, low,
                    high,
                )
            )  # fmt: skip
    return found


def _is_speed(quantity: Quantity | None) -> bool:
    """Whether it is a speed of the machine: a fact that only says what would be wanted is none."""
    if quantity is None or not quantity.unit or ".wanted" in quantity.name:
        return False
    return dimension_of(quantity.unit) in _SPEEDS


def _window(compare: Compare, values: Values) -> tuple[float | None, float | None]:
    relation = compare.relation
    if isinstance(relation, AtLeast):
        return _end(relation.limit, values), None
    if isinstance(relation, AtMost):
        return None, _end(relation.limit, values)
    if isinstance(relation, Between):
        return _end(relation.low, values), _end(relation.high, values)
    return None, None


def _end(limit: Limit, values: Values) -> float | None:
    if isinstance(limit, Literal):
        return limit.value if isinstance(limit.value, float) else None
    if isinstance(limit, Pointer):
        value = values.get(limit.name)
        return value * limit.times if isinstance(value, float) else None
    return None


def _most(values: Iterable[float | None]) -> float | None:
    return max(_known(values), default=None)


def _least(values: Iterable[float | None]) -> float | None:
    return min(_known(values), default=None)


def _known(values: Iterable[float | None]) -> Iterator[float]:
    return (value for value in values if value is not None)
