"""Walks over conditions: which quantities they name, and the same condition with names and limits replaced."""

from __future__ import annotations

from collections.abc import Callable, Iterator

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
    Is,
    Known,
    Limit,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Relation,
    Same,
)


def comparisons(condition: Condition) -> Iterator[Compare]:
    """Every comparison of a condition, in order."""
    if isinstance(condition, Compare):
        yield condition
    elif isinstance(condition, (All, Any, Evidence)):
        for part in condition.parts:
            yield from comparisons(part)
    elif isinstance(condition, Not):
        yield from comparisons(condition.part)
    elif isinstance(condition, IfThen):
        yield from comparisons(condition.given)
        yield from comparisons(condition.then)


def _known(condition: Condition) -> Iterator[str]:
    if isinstance(condition, Known):
        yield condition.quantity
    elif isinstance(condition, (All, Any, Evidence)):
        for part in condition.parts:
            yield from _known(part)


def limits(relation: Relation) -> tuple[Limit, ...]:
    """The limits of a relation."""
    if isinstance(relation, (Is, AtLeast, AtMost, Near)):
        return (relation.limit,)
    if isinstance(relation, OneOf):
        return relation.limits
    if isinstance(relation, Between):
        return (relation.low, relation.high)
    return ()


def quantities(condition: Condition) -> list[str]:
    """Names of the quantities that a condition compares or compares with, targets left out, each once, in order."""
    found: dict[str, None] = dict.fromkeys(_known(condition))
    for compare in comparisons(condition):
        found[compare.quantity] = None
        relation = compare.relation
        for limit in limits(relation):
            if isinstance(limit, Pointer) and not limit.name.startswith("target."):
                found[limit.name] = None
        if isinstance(relation, Same) and relation.other:
            found[relation.other] = None
        if isinstance(relation, RecordedAfter):
            found[relation.event] = None
    return list(found)


def targets(condition: Condition) -> list[str]:
    """Names of the targets that a condition points at, each once, without '.low' and '.high'."""
    found: dict[str, None] = {}
    for compare in comparisons(condition):
        for limit in limits(compare.relation):
            if isinstance(limit, Pointer) and limit.name.startswith("target."):
                name = limit.name[len("target.") :]
                found[name.rpartition(".")[0] if name.endswith((".low", ".high")) else name] = None
    return list(found)


def rebuilt(condition: Condition, replace: Callable[[Compare], Condition]) -> Condition:
    """The condition with every comparison replaced."""
    if isinstance(condition, Compare):
        return replace(condition)
    if isinstance(condition, All):
        return All(tuple(rebuilt(part, replace) for part in condition.parts))
    if isinstance(condition, Any):
        return Any(tuple(rebuilt(part, replace) for part in condition.parts))
    if isinstance(condition, Evidence):
        return Evidence(tuple(rebuilt(part, replace) for part in condition.parts))
    if isinstance(condition, Not):
        return Not(rebuilt(condition.part, replace))
    if isinstance(condition, IfThen):
        return IfThen(rebuilt(condition.given, replace), rebuilt(condition.then, replace))
    return condition


def when_asked(given: Condition | None, hold: Condition) -> Condition | None:
    """When a rule is asked: its own condition, and for an order of events that the first event is on record."""
    first = {c.relation.event: None for c in comparisons(hold) if isinstance(c.relation, RecordedAfter)}
    parts = ([given] if given is not None else []) + [Known(event) for event in first]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else All(tuple(parts))
