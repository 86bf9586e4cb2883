"""What is followed over a unit's hours: quantities that a rule holds to a limit, and what their values depend on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from audit.checking import Surroundings, evaluate
from audit.measures import show
from audit.nouns.fact import Ref
from audit.nouns.history import Bound
from audit.nouns.machine import ByPosition
from audit.nouns.quantity import LEFT, Form, Quantity, Role, Sided, Value
from audit.nouns.rule import (
    All,
    Any,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Limit,
    Literal,
    Near,
)
from audit.sheet import Question, Sheet
from audit.train import as_measured

Values = Mapping[str, Value | Sided]
MEASURED = "measured_speed"


@dataclass(frozen=True, slots=True)
class Subject:
    """A quantity to follow.

    Attributes:
        readings: readings that it is or is computed from; work that brings one of them starts it anew.
        owner: component whose own work alone counts, '' for the work on any.
        base: settings and builds that its value depends on; a value under others is another value.
        of_crop: it says nothing of another crop.
        at_will: it depends on where a variable drive stands that nobody sets by number.
        asked: the questions that hold it to a limit, and how.
    """

    quantity: Quantity
    readings: frozenset[str]
    owner: str
    base: tuple[str, ...]
    of_crop: bool
    at_will: bool
    asked: tuple[tuple[Question, Compare], ...]


def subjects_of(sheet: Sheet) -> dict[str, Subject]:
    """Numeric readings, and facts computed from readings, that some question of the sheet holds to a limit."""
    asked: dict[str, list[tuple[Question, Compare]]] = {}
    for question in sheet.questions:
        for compare in _held(question.hold):
            quantity = sheet.names[compare.quantity]
            numeric = quantity.form is Form.NUMBER and quantity.role in (Role.READING, Role.FACT)
            if numeric and isinstance(compare.relation, (AtMost, AtLeast, Between, Near)):
                asked.setdefault(compare.quantity, []).append((question, compare))
    found = (_subject(sheet.names[name], tuple(asked[name]), sheet) for name in sorted(asked))
    return {subject.quantity.name: subject for subject in found if subject.readings}


def bounds_of(subject: Subject, side: int, sheet: Sheet, values: Values) -> tuple[Bound, ...]:
    """The limits of one side of a quantity (0 left or only, 1 right) as the values of a setup set them.

    A limit that another reading sets tells two readings apart and is no limit of wear; one that is not known, or whose
    rule is not asked of this setup, is left out.
    """
    around = Surroundings(values, sheet.names, {})
    found: list[Bound] = []
    for question, compare in subject.asked:
        if question.given is not None and evaluate(question.given, around).truth is False:
            continue
        for bound in _bounds(question, compare, side, around):
            if all((bound.value, bound.most) != (other.value, other.most) for other in found):
                found.append(bound)
    return tuple(found)


def _held(condition: Condition) -> Iterator[Compare]:
    """Comparisons that must hold as they stand: not those under a 'not', nor those that only say when one is asked."""
    if isinstance(condition, Compare):
        yield condition
    elif isinstance(condition, (All, Any, Evidence)):
        for part in condition.parts:
            yield from _held(part)
    elif isinstance(condition, IfThen):
        yield from _held(condition.then)


def _bounds(question: Question, compare: Compare, side: int, around: Surroundings) -> Iterator[Bound]:
    relation, unit = compare.relation, around.names[compare.quantity].unit

    def bound(value: float | None, most: bool) -> Iterator[Bound]:
        if value is not None:
            yield Bound(question.rule.id, question.on, value, show(value, unit), most)

    if isinstance(relation, AtMost):
        yield from bound(_value(relation.limit, side, around), True)
    elif isinstance(relation, AtLeast):
        yield from bound(_value(relation.limit, side, around), False)
    elif isinstance(relation, Between):
        yield from bound(_value(relation.low, side, around), False)
        yield from bound(_value(relation.high, side, around), True)
    elif isinstance(relation, Near):
        middle = _value(relation.limit, side, around)
        if middle is not None:
            allowed = relation.within * abs(middle) if relation.share else relation.within
            yield from bound(middle - allowed, False)
            yield from bound(middle + allowed, True)


def _value(limit: Limit, side: int, around: Surroundings) -> float | None:
    if isinstance(limit, Literal):
        value, times = limit.value, 1.0
    else:
        quantity, found = around.names.get(limit.name), around.values.get(limit.name)
        if quantity is not None and quantity.role is Role.READING:
            return None
        value, times = (found[side] if isinstance(found, tuple) else found), limit.times
    return value * times if isinstance(value, float) else None


def _subject(quantity: Quantity, asked: tuple[tuple[Question, Compare], ...], sheet: Sheet) -> Subject:
    part, _, attribute = quantity.name.partition(".")
    components = {component.id: component for component in sheet.card.components()}
    if quantity.role is Role.FACT:
        behind, owner = _behind(quantity.name, sheet), part if part in components else ""
        readings = {name for name in behind if name in sheet.names and sheet.names[name].role is Role.READING}
    elif attribute == MEASURED and part in components:
        behind, owner = _behind(f"{part}.speed", sheet) | {quantity.name}, ""
        readings = {f"{shaft}.{MEASURED}" for shaft in _upstream(part, sheet)} & sheet.names.keys()
    else:
        stated = components[part].parameters if part in components else ()
        behind, owner = {quantity.name} | {value.by for _, value in stated if isinstance(value, ByPosition)}, ""
        readings = {quantity.name}
    roles = {name: sheet.names[name].role for name in behind if name in sheet.names}
    return Subject(
        quantity,
        frozenset(readings),
        owner,
        tuple(sorted(name for name, role in roles.items() if role in (Role.SETTING, Role.BUILD))),
        any(sheet.names[name].of_crop for name in roles),
        any(name in sheet.by_name and sheet.by_name[name].function is as_measured for name in behind),
        asked,
    )


def _behind(name: str, sheet: Sheet) -> set[str]:
    """A quantity and everything that it is computed from."""
    found: set[str] = set()
    waiting = [name]
    while waiting:
        here = waiting.pop()
        if here not in found:
            found.add(here)
            computation = sheet.by_name.get(here)
            waiting += [arg.name for arg in computation.args if isinstance(arg, Ref)] if computation else []
    return found


def _upstream(shaft: str, sheet: Sheet) -> list[str]:
    """A shaft and those before it, back to the engine."""
    found = [shaft]
    while (drive := next((d for d in sheet.card.drives if d.driven == found[-1]), None)) is not None:
        found.append(drive.driver)
    return found


def side_value(value: Value | Sided, side: int) -> float | None:
    """One side of a value as a number, None for not known; ``side`` LEFT of a value without sides is the value."""
    one = value[side] if isinstance(value, tuple) else value if side == LEFT else None
    return one if isinstance(one, float) else None
