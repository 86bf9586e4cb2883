"""Rules and facts to verdicts: the plain reading, three-valued, that the compiled one is held to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from audit.measures import show, split_number
from audit.nouns.finding import Comparison
from audit.nouns.quantity import SIDES, Form, Quantity, Sided, Value
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
    RecordedAfter,
    Same,
    Verdict,
)

ROUNDING = 1e-9
"""Share of a limit by which a value may miss it and still lie on it: unit conversions round in the last digit."""

Truth = bool | None
Values = Mapping[str, Value | Sided]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A condition's truth, how far past its limits it is as a share, and the comparisons that made it so."""

    truth: Truth
    share: float
    comparisons: tuple[Comparison, ...]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a condition is held against."""

    values: Values
    names: Mapping[str, Quantity]
    why_unknown: Mapping[str, str]


def judge(given: Condition | None, hold: Condition, around: Surroundings) -> tuple[Verdict, Outcome]:
    """The verdict of one question.

    Not asked where ``given`` fails. Where it is unknown whether the question is asked, it is kept only if it would
    be kept, else unknown: what is not known never counts as safe.
    """
    asked = Outcome(True, 0.0, ()) if given is None else evaluate(given, around)
    if asked.truth is False:
        return Verdict.NOT_ASKED, asked
    answer = evaluate(hold, around)
    if answer.truth is True:
        return Verdict.KEPT, answer
    if asked.truth is None:
        undecided = tuple(c for c in (*asked.comparisons, *answer.comparisons) if c.holds is not True)
        return Verdict.UNKNOWN, Outcome(None, 0.0, undecided)
    if answer.truth is False:
        return Verdict.BROKEN, answer
    return Verdict.UNKNOWN, Outcome(None, 0.0, answer.comparisons)


def evaluate(condition: Condition, around: Surroundings) -> Outcome:
    """Truth by Kleene's strong logic; ``Evidence`` is false if any that is given fails, unknown only if none is."""
    if isinstance(condition, Compare):
        return _compare(condition, around)
    if isinstance(condition, Known):
        value = around.values.get(condition.quantity)
        return Outcome(value is not None, 1.0, ())
    if isinstance(condition, Not):
        inner = evaluate(condition.part, around)
        turned = tuple(
            replace(c, wanted=f"not {c.wanted}", holds=None if c.holds is None else not c.holds, past=None, share=1.0)
            for c in inner.comparisons
        )
        return Outcome(None if inner.truth is None else not inner.truth, 1.0, turned)
    if isinstance(condition, IfThen):
        asked = evaluate(condition.given, around)
        if asked.truth is False:
            return Outcome(True, 0.0, ())
        then = evaluate(condition.then, around)
        if asked.truth is True or then.truth is True:
            return then
        return Outcome(None, 0.0, asked.comparisons + then.comparisons)
    outcomes = [evaluate(part, around) for part in condition.parts]
    if isinstance(condition, Any):
        return _any(outcomes)
    failed = [outcome for outcome in outcomes if outcome.truth is False]
    if failed:
        return Outcome(False, max(outcome.share for outcome in failed), _joined(failed))
    undecided = [outcome for outcome in outcomes if outcome.truth is None]
    enough = isinstance(condition, Evidence) and len(undecided) < len(outcomes)
    if undecided and not enough:
        return Outcome(None, 0.0, _joined(undecided))
    return Outcome(True, 0.0, _joined(outcomes))


def _any(outcomes: list[Outcome]) -> Outcome:
    kept = [outcome for outcome in outcomes if outcome.truth is True]
    if kept:
        return Outcome(True, 0.0, _joined(kept))
    undecided = [outcome for outcome in outcomes if outcome.truth is None]
    if undecided:
        return Outcome(None, 0.0, _joined(undecided))
    return Outcome(False, min((outcome.share for outcome in outcomes), default=1.0), _joined(outcomes))


def _joined(outcomes: Iterable[Outcome]) -> tuple[Comparison, ...]:
    return tuple(comparison for outcome in outcomes for comparison in outcome.comparisons)


def _compare(compare: Compare, around: Surroundings) -> Outcome:
    value = around.values.get(compare.quantity)
    relation = compare.relation
    quantity = around.names[compare.quantity]
    if isinstance(relation, Same) and not relation.other:
        left, right = value if isinstance(value, tuple) else (value, value)
        return _outcome([_same(quantity, "", left, right, "the same left and right", relation, around)])
    if isinstance(value, tuple) or (value is None and quantity.sided):
        pair = value if isinstance(value, tuple) else (None, None)
        return _outcome([_one(quantity, side, item, relation, around) for side, item in zip(SIDES, pair, strict=True)])
    return _outcome([_one(quantity, "", value, relation, around)])


def _outcome(found: list[Comparison]) -> Outcome:
    failed = [c for c in found if c.holds is False]
    if failed:
        return Outcome(False, max(c.share for c in failed), tuple(failed))
    undecided = [c for c in found if c.holds is None]
    if undecided:
        return Outcome(None, 0.0, tuple(undecided))
    return Outcome(True, 0.0, tuple(found))


def _one(quantity: Quantity, side: str, value: Value, relation: object, around: Surroundings) -> Comparison:
    if isinstance(relation, Same):
        other = around.values.get(relation.other)
        if isinstance(other, tuple):
            other = other[SIDES.index(side)] if side else None
        return _same(quantity, side, value, other, f"the same as {relation.other}", relation, around)
    if isinstance(relation, RecordedAfter):
        event = around.values.get(relation.event)
        holds = None if value is None or event is None else value >= event  # type: ignore[operator]
        return _made(quantity, side, value, f"recorded after {relation.event}", holds, None, 1.0, around)
    if isinstance(relation, (Is, OneOf)):
        return _words(quantity, side, value, relation, around)
    if isinstance(relation, AtMost):
        return _window(quantity, side, value, None, relation.limit, "at most {high}", around)
    if isinstance(relation, AtLeast):
        return _window(quantity, side, value, relation.limit, None, "at least {low}", around)
    if isinstance(relation, Between):
        return _window(quantity, side, value, relation.low, relation.high, "{low} to {high}", around)
    assert isinstance(relation, Near)
    return _near(quantity, side, value, relation, around)


def _limit(limit: Limit, quantity: Quantity, side: str, around: Surroundings) -> tuple[Value, str]:
    """A limit's value with its text, or None with the reason."""
    if isinstance(limit, Literal):
        return limit.value, _literal_text(limit, quantity)
    value = around.values.get(limit.name)
    if isinstance(value, tuple):
        value = value[SIDES.index(side)] if side else None
    if value is None:
        return None, around.why_unknown.get(limit.name) or f"{limit.name} is not known"
    if isinstance(value, (bool, str)):
        return value, str(value)
    value = value * limit.times
    named = around.names.get(limit.name)
    return value, f"{show(value, named.unit) if named is not None else value} ({limit.name})"


def _literal_text(limit: Literal, quantity: Quantity) -> str:
    """A literal in the unit in which the quantity is shown; as its author wrote it too where that differs."""
    if quantity.form is not Form.NUMBER or not isinstance(limit.value, (int, float)):
        return limit.text
    text = show(limit.value, quantity.unit)
    written = split_number(limit.text)[1] if limit.text[:1].isdigit() else quantity.unit
    return text if written in ("", quantity.unit, text.partition(" ")[2]) else f"{text} ({limit.text})"


def _words(quantity: Quantity, side: str, value: Value, relation: Is | OneOf, around: Surroundings) -> Comparison:
    limits = (relation.limit,) if isinstance(relation, Is) else relation.limits
    found = [_limit(limit, quantity, side, around) for limit in limits]
    wanted = " or ".join(text for limit, text in found if limit is not None)
    if quantity.form is Form.YES_NO:
        wanted = " or ".join("yes" if limit else "no" for limit, _ in found)
    holds: Truth
    if value is None:
        holds, why = None, ""
    elif any(limit is not None and limit == value for limit, _ in found):
        holds, why = True, ""
    else:
        why = next((text for limit, text in found if limit is None), "")
        holds = None if why else False
    return _made(quantity, side, value, wanted, holds, None, 1.0, around, why)


def _window(
    quantity: Quantity,
    side: str,
    value: Value,
    low: Limit | None,
    high: Limit | None,
    says: str,
    around: Surroundings,
) -> Comparison:
    bottom, bottom_text = (None, "") if low is None else _limit(low, quantity, side, around)
    top, top_text = (None, "") if high is None else _limit(high, quantity, side, around)
    why = (bottom_text if low is not None and bottom is None else "") or (
        top_text if high is not None and top is None else ""
    )
    wanted = says.format(low=bottom_text, high=top_text)
    past, share = 0.0, 0.0
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if isinstance(bottom, (int, float)) and value < bottom - ROUNDING * abs(bottom):
            past, share = bottom - value, share_of(bottom - value, bottom)
        elif isinstance(top, (int, float)) and value > top + ROUNDING * abs(top):
            past, share = value - top, share_of(value - top, top)
        holds: Truth = False if past else None if why else True
    else:
        holds = None
    return _made(quantity, side, value, wanted, holds, past if past else None, share, around, why)


def _near(quantity: Quantity, side: str, value: Value, relation: Near, around: Surroundings) -> Comparison:
    middle, text = _limit(relation.limit, quantity, side, around)
    wanted = f"{text} within {relation.within_text}"
    if not isinstance(middle, (int, float)) or not isinstance(value, (int, float)):
        return _made(quantity, side, value, wanted, None, None, 1.0, around, text if middle is None else "")
    allowed = relation.within * abs(middle) if relation.share else relation.within
    past = abs(value - middle) - allowed
    if past <= ROUNDING * abs(middle):
        return _made(quantity, side, value, wanted, True, None, 0.0, around)
    return _made(quantity, side, value, wanted, False, past, share_of(past, middle), around)


def _same(
    quantity: Quantity,
    side: str,
    value: Value,
    other: Value,
    wanted: str,
    relation: Same,
    around: Surroundings,
) -> Comparison:
    if value is None or other is None:
        return _made(quantity, side, None, wanted, None, None, 1.0, around)
    if isinstance(value, str) or isinstance(other, str) or isinstance(value, bool):
        shown = value if value == other or relation.other else f"{value} and {other}"
        return _made(quantity, side, shown, wanted, value == other, None, 1.0, around)
    if relation.within_text:
        wanted += f" within {relation.within_text}"
    larger = max(abs(value), abs(other))
    past = abs(value - other) - relation.within
    if past <= ROUNDING * larger:
        return _made(quantity, side, value, wanted, True, None, 0.0, around)
    shown = value if relation.other else f"{show(value, quantity.unit)} and {show(other, quantity.unit)}"
    return _made(quantity, side, shown, wanted, False, past, share_of(past, larger), around)


def share_of(past: float, limit: float) -> float:
    """Distance past a limit as a share of it; 1 where the limit is 0."""
    return past / abs(limit) if limit else 1.0


def _made(
    quantity: Quantity, side: str, found: Value, wanted: str, holds: Truth, past: float | None, share: float,
    around: Surroundings, why: str = "",
) -> Comparison:  # fmt: skip
    if holds is None and not why:
        why = around.why_unknown.get(quantity.name, "") if found is None else ""
        why = why or f"{quantity.name}{f' ({side})' if side else ''} is not known"
    share = (share if past is not None else 1.0) if holds is False else 0.0
    return Comparison(quantity.name, side, found, wanted, quantity.unit, past, share, holds, why)
