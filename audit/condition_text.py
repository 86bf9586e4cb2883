"""Writes a condition as Python expressions over local variables, for the compiled reading.

A three-valued condition becomes two two-valued expressions: one that is true just when the condition is true, one that
is true just when it is false; where neither is, it is unknown. A third gives the margin's share where it is false.

A variable whose name begins with n holds a number, and ``NAN`` where it is not known: no comparison with it is true, so
that most need no test of their own. Any other holds None where it is not known.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from audit.checking import ROUNDING, share_of
from audit.nouns.quantity import NAN, SIDES, Quantity, Value
from audit.nouns.rule import (
    Any,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Is,
    Known,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Same,
)

YES, NO = "True", "False"
UNKNOWN = "None"


@dataclass(frozen=True, slots=True)
class Text:
    """Expressions for a condition; ``true`` and ``false`` are ``True`` or ``False`` where that is certain."""

    true: str
    false: str
    share: str = "1.0"


class ConditionWriter:
    """Writes conditions of one sheet.

    Args:
        names: quantities of the sheet.
        constants: values that do not depend on the setup; None for not known.
        variables: local variable of each quantity that does; a sided one stands for two, ending in l and r. Those whose
            names begin with n hold ``NAN`` where a number is not known, all others None.
        edges: takes the quantity that a limit points at and the text of the edge of a window; returns what stands
            for it.
    """

    def __init__(
        self,
        names: Mapping[str, Quantity],
        constants: Mapping[str, Value],
        variables: Mapping[str, str],
        edges: Callable[[str, str], str] = lambda _, text: text,
    ) -> None:
        self.names, self.constants, self.variables, self.edges = names, constants, variables, edges

    def write(self, condition: Condition) -> Text:
        """The expressions of a condition."""
        if isinstance(condition, Compare):
            return self.compare(condition)
        if isinstance(condition, Known):
            operand = self.operand(condition.quantity, "")
            if operand == UNKNOWN or condition.quantity in self.constants:
                return Text(NO, YES) if operand == UNKNOWN else Text(YES, NO)
            return Text(present(operand), absent(operand))
        if isinstance(condition, Not):
            inner = self.write(condition.part)
            return Text(inner.false, inner.true)
        if isinstance(condition, IfThen):
            given, then = self.write(condition.given), self.write(condition.then)
            return Text(either([given.false, then.true]), both([given.true, then.false]), then.share)
        kids = [self.write(part) for part in condition.parts]
        if isinstance(condition, Any):
            return Text(
                either([k.true for k in kids]), both([k.false for k in kids]), smallest([k.share for k in kids])
            )
        failed = either([kid.false for kid in kids])
        if isinstance(condition, Evidence):
            return Text(both([opposite(failed), either([kid.true for kid in kids])]), failed, largest(kids))
        return Text(both([kid.true for kid in kids]), failed, largest(kids))

    def compare(self, compare: Compare) -> Text:
        relation = compare.relation
        if isinstance(relation, Same) and not relation.other:
            left, right = (self.operand(compare.quantity, side) for side in SIDES)
            return self.same(left, right, relation.within)
        if self.names[compare.quantity].sided and compare.quantity not in self.constants:
            kids = [self.one(compare, side) for side in SIDES]
            return Text(both([kid.true for kid in kids]), either([kid.false for kid in kids]), largest(kids))
        return self.one(compare, "")

    def one(self, compare: Compare, side: str) -> Text:
        relation = compare.relation
        value = self.operand(compare.quantity, side)
        if value == UNKNOWN:
            return Text(NO, NO)
        if isinstance(relation, Same):
            return self.same(value, self.operand(relation.other, side), relation.within)
        if isinstance(relation, RecordedAfter):
            event = self.operand(relation.event, side)
            known = both([comparable(value), comparable(event)])
            return Text(both([known, f"{value} >= {event}"]), both([known, f"{value} < {event}"]))
        if isinstance(relation, (Is, OneOf)):
            return self.words(value, (relation.limit,) if isinstance(relation, Is) else relation.limits, side)
        if isinstance(relation, Near):
            return self.near(value, relation, side)
        if isinstance(relation, AtLeast):
            return self.window(value, relation.limit, None, side)
        if isinstance(relation, AtMost):
            return self.window(value, None, relation.limit, side)
        assert isinstance(relation, Between)
        return self.window(value, relation.low, relation.high, side)

    def operand(self, name: str, side: str) -> str:
        """A quantity as an expression: a literal, a variable, or None."""
        if name in self.constants:
            value = self.constants[name]
            return UNKNOWN if value is None else constant(value)
        variable = self.variables.get(name)
        if variable is None:
            return UNKNOWN
        quantity = self.names.get(name)
        if quantity is not None and quantity.sided:
            return f"{variable}{side[0]}" if side else UNKNOWN
        return variable

    def limit(self, limit: Limit, side: str) -> tuple[str, Value]:
        """A limit as an expression, and its value where it is constant and known."""
        if isinstance(limit, Literal):
            return (UNKNOWN if limit.value is None else constant(limit.value)), limit.value
        assert isinstance(limit, Pointer)
        value = self.constants.get(limit.name)
        if limit.name in self.constants:
            value = value * limit.times if isinstance(value, float) else value
            return (UNKNOWN if value is None else constant(value)), value
        text = self.operand(limit.name, side)
        if limit.times != 1.0 and text != UNKNOWN:
            scaled = f"{text} * {limit.times!r}"
            text = f"({scaled})" if is_number(text) else f"(None if {text} is None else {scaled})"
        return text, None

    def words(self, value: str, limits: tuple[Limit, ...], side: str) -> Text:
        found = [self.limit(limit, side) for limit in limits]
        fixed = [value_ for _, value_ in found]
        if None in fixed:
            equal = either([f"{value} == {text}" for text, _ in found if text != UNKNOWN])
            other = both([present(text) for text, _ in found] + [f"{value} != {text}" for text, _ in found])
            return Text(both([present(value), equal]), both([present(value), other]))
        if len(fixed) == 1:
            wanted, same_, other_ = constant(fixed[0]), "==", "!="
            if isinstance(fixed[0], bool):
                same_, other_ = "is", "is not"
            return Text(f"{value} {same_} {wanted}", both([present(value), f"{value} {other_} {wanted}"]))
        wanted = f"{{{', '.join(map(constant, fixed))}}}"
        return Text(f"{value} in {wanted}", both([present(value), f"{value} not in {wanted}"]))

    def window(self, value: str, low: Limit | None, high: Limit | None, side: str) -> Text:
        inside: list[str] = []
        outside: list[str] = []
        edges: list[str] = []
        texts = [UNKNOWN, UNKNOWN]
        for place, (limit, within, beyond, sign) in enumerate(((low, ">=", "<", "-"), (high, "<=", ">", "+"))):
            if limit is None:
                continue
            text, fixed = self.limit(limit, side)
            texts[place] = text
            if isinstance(fixed, float):
                edge = constant(fixed - ROUNDING * abs(fixed) if sign == "-" else fixed + ROUNDING * abs(fixed))
            else:
                edge = f"{text} {sign} {ROUNDING!r} * abs({text})"
                edge = self.edges(limit.name, edge) if isinstance(limit, Pointer) else edge
            known = YES if isinstance(fixed, float) else comparable(text)
            edges += [edge] if known == YES else []
            inside.append(both([known, f"{value} {within} {edge}"]))
            outside.append(both([known, f"{value} {beyond} {edge}"]))
        share = f"window({value}, {texts[0]}, {texts[1]})"
        if len(edges) == 2:
            inside = [f"{value} >= {edges[0]}", f"{value} <= {edges[1]}"]  # quicker than a chain
        return Text(both([comparable(value), *inside]), both([comparable(value), either(outside)]), share)

    def near(self, value: str, relation: Near, side: str) -> Text:
        middle, fixed = self.limit(relation.limit, side)
        known = both([comparable(value), comparable(middle)])
        size = repr(abs(fixed)) if isinstance(fixed, float) else f"abs({middle})"
        past = (
            f"abs({value} - {middle}) - {f'{relation.within!r} * {size}' if relation.share else repr(relation.within)}"
        )
        call = f"near({value}, {middle}, {relation.within!r}, {relation.share!r})"
        return Text(
            both([known, f"{past} <= {ROUNDING!r} * {size}"]), both([known, f"{past} > {ROUNDING!r} * {size}"]), call
        )

    def same(self, one: str, other: str, within: float) -> Text:
        return measured([one, other], f"same({one}, {other}, {within!r})")


def constant(value: Value) -> str:
    """A value as a Python literal; ``repr`` of a float or a str can be read back as nothing but that value."""
    assert isinstance(value, (float, str, bool))
    return repr(value)


def measured(operands: list[str], call: str) -> Text:
    """A relation whose share past the limit a function gives: true where it is 0."""
    known = both([present(operand) for operand in operands])
    return Text(both([known, f"{call} == 0.0"]), both([known, f"{call} != 0.0"]), call)


def is_number(operand: str) -> bool:
    """Whether an operand is a number that is NAN where it is not known, itself or times a factor."""
    return operand.lstrip("(").startswith("n")


def present(operand: str) -> str:
    """That an operand is known."""
    if is_number(operand):
        variable = operand.lstrip("(").split()[0]
        return f"{variable} == {variable}"
    return NO if operand == UNKNOWN else f"{operand} is not None" if operand[0] in "v(" else YES  # a literal is known


def absent(operand: str) -> str:
    """That a variable is not known."""
    return f"{operand} != {operand}" if is_number(operand) else f"{operand} is None"


def comparable(operand: str) -> str:
    """What must be tested before an operand is compared: nothing of a number, whose comparisons say it."""
    return YES if is_number(operand) else present(operand)


def both(texts: list[str]) -> str:
    """All of some expressions."""
    if NO in texts:
        return NO
    left = [text for text in dict.fromkeys(texts) if text != YES]
    return YES if not left else left[0] if len(left) == 1 else f"({' and '.join(left)})"


def either(texts: list[str]) -> str:
    """Any of some expressions."""
    if YES in texts:
        return YES
    left = [text for text in dict.fromkeys(texts) if text != NO]
    return NO if not left else left[0] if len(left) == 1 else f"({' or '.join(left)})"


def opposite(text: str) -> str:
    """The negation of a two-valued expression."""
    return {YES: NO, NO: YES}.get(text, f"not {text}")


def largest(kids: list[Text]) -> str:
    """Largest share among those that fail."""
    parts = [
        kid.share if kid.false == YES else f"({kid.share} if {kid.false} else 0.0)" for kid in kids if kid.false != NO
    ]
    return parts[0] if len(parts) == 1 else f"max({', '.join(parts)})" if parts else "1.0"


def smallest(shares: list[str]) -> str:
    """Smallest share of several that all fail."""
    return shares[0] if len(shares) == 1 else f"min({', '.join(shares)})" if shares else "1.0"


def window(value: float, low: float | None, high: float | None) -> float:
    """Share past a window's end; 0 inside."""
    if low is not None and value < low - ROUNDING * abs(low):
        return share_of(low - value, low)
    if high is not None and value > high + ROUNDING * abs(high):
        return share_of(value - high, high)
    return 0.0


def near(value: float, middle: float, within: float, share: bool) -> float:
    """Share past a tolerance; 0 inside."""
    past = abs(value - middle) - (within * abs(middle) if share else within)
    return 0.0 if past <= ROUNDING * abs(middle) else share_of(past, middle)


def same(one: Value, other: Value, within: float) -> float:
    """Share of the larger by which two values differ beyond a tolerance; 1 for words that differ."""
    if one is None or other is None or isinstance(one, (str, bool)) or isinstance(other, (str, bool)):
        return 0.0 if one == other else 1.0
    past = abs(one - other) - within
    larger = max(abs(one), abs(other))
    return 0.0 if past <= ROUNDING * larger else share_of(past, larger)


FUNCTIONS: dict[str, object] = {
    "NAN": NAN, "window": window, "near": near, "same": same,
    "abs": abs, "max": max, "min": min, "type": type, "float": float,
}  # fmt: skip
"""What the expressions call."""
