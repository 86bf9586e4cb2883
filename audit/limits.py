"""Turns the limits of a condition into values wherever they do not depend on the setup."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from audit.conditions import rebuilt
from audit.measures import show
from audit.nouns.machine import Target
from audit.nouns.quantity import Form, Quantity, Value
from audit.nouns.rule import (
    All,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Is,
    Limit,
    Literal,
    Near,
    OneOf,
    Pointer,
    Relation,
)

TARGET = "target."
NO_LIMIT = All(())


@dataclass(frozen=True, slots=True)
class Limits:
    """Where limits are looked up.

    Attributes:
        target: the target for a quantity, or why there is none.
        constants: values that do not depend on the setup; None with the reason in ``why_unknown``.
        names: quantities, for units.
    """

    target: Callable[[str], Target | str]
    constants: Mapping[str, Value]
    why_unknown: Mapping[str, str]
    names: Mapping[str, Quantity]

    def resolve(self, condition: Condition) -> Condition:
        """The condition with every pointer at a target or constant replaced by its value.

        A limit that nobody states becomes a literal without a value, whose text is the reason.
        """
        return rebuilt(condition, self._compare)

    def _compare(self, compare: Compare) -> Condition:
        relation = compare.relation
        if isinstance(relation, Is) and self._at_target(relation.limit):
            return self._words(compare, (relation.limit,))
        if isinstance(relation, OneOf) and any(self._at_target(limit) for limit in relation.limits):
            return self._words(compare, relation.limits)
        if isinstance(relation, Between) and relation.low is relation.high:
            return self._window(compare, relation.low)
        if isinstance(relation, Between):
            low, high = (self._limit(limit, compare.quantity) for limit in (relation.low, relation.high))
            return Compare(compare.quantity, Between(low or _NONE, high or _NONE))
        if isinstance(relation, (Is, AtLeast, AtMost, Near)):
            limit = self._limit(relation.limit, compare.quantity)
            return NO_LIMIT if limit is None else Compare(compare.quantity, replace(relation, limit=limit))
        if isinstance(relation, OneOf):
            found = tuple(self._limit(limit, compare.quantity) or _NONE for limit in relation.limits)
            return Compare(compare.quantity, OneOf(found))
        return compare

    def _at_target(self, limit: Limit) -> bool:
        return isinstance(limit, Pointer) and limit.name.startswith(TARGET)

    def _words(self, compare: Compare, limits: tuple[Limit, ...]) -> Condition:
        found: list[Limit] = []
        for limit in limits:
            if isinstance(limit, Pointer) and limit.name.startswith(TARGET):
                target = self.target(limit.name[len(TARGET) :])
                if isinstance(target, str):
                    return Compare(compare.quantity, Is(Literal(None, target)))
                found += [Literal(word, word) for word in target.words]
            else:
                found.append(limit)
        relation: Relation = Is(found[0]) if len(found) == 1 else OneOf(tuple(found))
        return Compare(compare.quantity, relation)

    def _window(self, compare: Compare, limit: Limit) -> Condition:
        name = limit.name[len(TARGET) :] if isinstance(limit, Pointer) else ""
        target = self.target(name)
        if isinstance(target, str):
            return Compare(compare.quantity, Between(Literal(None, target), Literal(None, target)))
        low, high = self._shown(target.low, compare.quantity), self._shown(target.high, compare.quantity)
        if low is None and high is None:
            return NO_LIMIT
        if low is None or high is None:
            return Compare(compare.quantity, AtMost(high) if high else AtLeast(low or _NONE))
        return Compare(compare.quantity, Between(low, high))

    def _limit(self, limit: Limit, quantity: str) -> Limit | None:
        """The limit as a value if it has one already; None for the open end of a target window."""
        if not isinstance(limit, Pointer):
            return limit
        if limit.name.startswith(TARGET):
            base, _, end = limit.name[len(TARGET) :].rpartition(".")
            target = self.target(base)
            if isinstance(target, str):
                return Literal(None, target)
            value: Value = target.low if end == "low" else target.high
            if value is None:
                return None
            return self._shown(float(value) * limit.times, quantity)
        if limit.name not in self.constants:
            return limit
        value = self.constants[limit.name]
        if value is None:
            return Literal(None, self.why_unknown.get(limit.name, f"{limit.name} is not known"))
        if isinstance(value, (str, bool)):
            return Literal(value, str(value))
        return self._shown(value * limit.times, quantity)

    def _shown(self, value: float | None, quantity: str) -> Literal | None:
        if value is None:
            return None
        named = self.names.get(quantity)
        unit = named.unit if named is not None and named.form is Form.NUMBER else ""
        return Literal(value, show(value, unit) if unit else f"{value:g}")


_NONE = Literal(None, "no limit is stated")
