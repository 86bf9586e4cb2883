"""Conditions as plain words, for people who read the rulebook."""

from __future__ import annotations

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
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Relation,
    Same,
)


def sentence(condition: Condition) -> str:
    """A condition in words, with the names of the quantities as they are written in setups."""
    if isinstance(condition, Compare):
        return f"{condition.quantity} {_relation(condition.relation)}"
    if isinstance(condition, Known):
        return f"{condition.quantity} is recorded"
    if isinstance(condition, Not):
        return f"it is not so that {_nested(condition.part)}"
    if isinstance(condition, IfThen):
        return f"if {_nested(condition.given)}, then {_nested(condition.then)}"
    if isinstance(condition, Evidence):
        return "shown by any of these, none of those given failing: " + "; ".join(map(_nested, condition.parts))
    word = " or " if isinstance(condition, Any) else " and "
    return word.join(map(_nested, condition.parts)) or "always"


def _nested(condition: Condition) -> str:
    text = sentence(condition)
    several = isinstance(condition, (All, Any, Evidence, IfThen)) and " " in text
    return f"({text})" if several else text


def _relation(relation: Relation) -> str:
    if isinstance(relation, Is):
        return f"is {_limit(relation.limit)}"
    if isinstance(relation, OneOf):
        return f"is one of {', '.join(map(_limit, relation.limits))}"
    if isinstance(relation, AtLeast):
        return f"is at least {_limit(relation.limit)}"
    if isinstance(relation, AtMost):
        return f"is at most {_limit(relation.limit)}"
    if isinstance(relation, Between):
        if relation.low is relation.high:
            return f"lies in {_limit(relation.low)}"
        return f"lies from {_limit(relation.low)} to {_limit(relation.high)}"
    if isinstance(relation, Near):
        return f"is {_limit(relation.limit)} within {relation.within_text}"
    if isinstance(relation, Same):
        other = relation.other or "the other side"
        return f"is the same as {other}" + (f" within {relation.within_text}" if relation.within_text else "")
    assert isinstance(relation, RecordedAfter)
    return f"was recorded after {relation.event}"


def _limit(limit: Limit) -> str:
    if isinstance(limit, Literal):
        return limit.text
    assert isinstance(limit, Pointer)
    name = limit.name
    if name.startswith("target."):
        name = f"the target for {name[len('target.') :]}"
    return name if limit.times == 1.0 else f"{limit.times:g} times {name}"
