"""Answers to what imports could not decide, and what follows from them."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.exchange.identifiers import PROOF, claims, in_range, key
from api.exchange.reading.kept import read_again
from api.exchange.reading.nouns import ReadUnit
from api.service.draft import Draft
from api.service.gate import Gate
from api.service.importing import Applying, Line
from api.service.placing import METER, WHICH_CARD, WHICH_UNIT, Decided
from api.service.recording import with_new_meter
from api.store import import_questions, imports
from api.store.import_questions import Question
from api.store.machine_words import REPLACED, WRONG, Hours
from api.store.type_cards import TypeCard
from audit.nouns.rulebook import Rulebook

MOST_WAITING = 10_000
"""Rows that one answer puts on record at most; those beyond wait on."""


Closed = tuple[Question, list[Line]]
"""A question as it was answered, and what came of the rows that waited."""


class NoSuchQuestion(Exception):
    """There is no such question."""


class BadAnswer(Exception):
    """It can't be answered like this; the text says why."""


@dataclass(frozen=True, slots=True)
class Answered:
    """A question that was answered, what came of the rows that waited, and starts whose certificates were revoked."""

    question: Question
    lines: tuple[Line, ...]
    revoked: tuple[str, ...]


def answer(draft: Draft, gate: Gate, rulebook: Rulebook, id: str, says: Mapping[str, Any]) -> Answered:
    """Drafts the answer to a question, once, and what the rows that waited for it bring.

    Args:
        says: of a unit ``{"unit": id}`` or ``{"new": true}``; of a card ``{"card": id}``, for this one machine with
            ``"only": true``, for some serials with ``serial_from`` and ``serial_to``; of a meter ``{"replaced": …}``.

    Raises: NoSuchQuestion, BadAnswer.
    """
    question = import_questions.find(draft.work, id)
    if question is None:
        raise NoSuchQuestion(id)
    if question.answered is not None:
        raise BadAnswer("it is answered already")
    applying = _applying(draft, rulebook, question)
    closed, lines = _ANSWERS[question.kind](applying, question, read_again(question.content["row"]), says)
    return Answered(closed, tuple(lines), tuple(draft.recheck(gate, applying.touched)))


def _which_unit(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> Closed:
    unit, new = says.get("unit"), says.get("new")
    if bool(unit) == bool(new) or set(says) - {"unit", "new"}:
        raise BadAnswer('say which unit it is, {"unit": "…"}, or {"new": true} for one that is not on record')
    for claim in claims(one, applying.source)[0] if new else ():
        held = applying.draft.held(claim.scheme.value, claim.issuer, claim.value)
        if held is not None and claim.scheme in PROOF:
            raise BadAnswer(
                f"its {claim.scheme.value} is that of {held.unit}; if that is wrong, split it off there first"
            )
    line = applying.unit(one, Decided(unit=str(unit or ""), new=bool(new)))
    if line.fate == "refused":
        raise BadAnswer(f"{line.text}. {line.advice}")
    return _close(applying.draft, question, says, line), [line]


def _which_card(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> Closed:
    card, draft = says.get("card"), applying.draft
    if card not in applying.rulebook.machines or set(says) - {"card", "only", "serial_from", "serial_to"}:
        known = ", ".join(applying.rulebook.machines)
        raise BadAnswer(f'say which machine card it is, {{"card": "…"}}; there are {known}')
    first, last = str(says.get("serial_from") or ""), str(says.get("serial_to") or "")
    if says.get("only") is True or not (one.maker or one.type):
        if first or last:
            raise BadAnswer("serials are for a type; leave them out for this one machine")
        line = applying.unit(one, Decided(card=str(card), new=_was_new(question)))
        if line.fate == "refused":
            raise BadAnswer(f"{line.text}. {line.advice}")
        return _close(draft, question, says, line), [line]
    if in_range(one.serial, first, last) is not True:
        raise BadAnswer(f"serial '{one.serial[:40]}' does not lie between these, or that can't be decided")
    used = use_card(draft, one.maker, one.type, str(card), first, last)
    lines, closed = [], question
    others = import_questions.page(draft.work, 0, MOST_WAITING, kind=WHICH_CARD)
    for waiting in [question, *(other for other in others if other.id != question.id)]:
        row = read_again(waiting.content["row"])
        if (key(row.maker), key(row.type)) != (key(one.maker), key(one.type)):
            continue
        if waiting.id != question.id and in_range(row.serial, first, last) is not True:
            continue
        of = _applying(draft, applying.rulebook, waiting)
        line = of.unit(row, Decided(new=_was_new(waiting)))
        if line.question == question.id:
            raise BadAnswer(f"other serials of this type overlap with these, so nothing is decided: {line.text}")
        lines.append(line)
        applying.touched |= of.touched
        if waiting.id == question.id:
            closed = _close(draft, question, {**says, **used}, line)
        elif line.question != waiting.id:
            _close(draft, waiting, says, line)
    return closed, lines


def _meter(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> Closed:
    replaced, draft = says.get("replaced"), applying.draft
    if not isinstance(replaced, bool) or set(says) != {"replaced"} or one.hours is None:
        raise BadAnswer('say {"replaced": true} if the meter is a new one, {"replaced": false} if the reading is wrong')
    unit = draft.unit(question.content["unit"])
    if unit is None:
        raise BadAnswer(f"there is no unit {question.content['unit']} any more")
    taken, latest = one.hours.taken, one.hours.latest()
    draft.add_hours(
        Hours(
            unit.id, one.hours.hours, taken, REPLACED if replaced else WRONG, applying.row.id, unit.engine_hours,
            unit.hours_at, draft.now, one.hours.local,
        )
    )  # fmt: skip
    if not replaced:
        line = Line(one.place, "unit", "nothing new", unit.id, "the reading was wrong; what was known holds")
        return _close(draft, question, says, line), [line]
    if (
        latest is not None
        and unit.hours_at is not None
        and latest < unit.hours_at
        and one.hours.hours > (unit.engine_hours or 0.0)
    ):
        said = "the higher reading is of the meter before; setups before are no longer of account"
        after, event = with_new_meter(unit, unit.engine_hours or 0.0, unit.hours_at)
    else:
        said = f"hours count from {one.hours.hours:g} on; setups before are no longer of account"
        after, event = with_new_meter(unit, one.hours.hours, draft.now if latest is None else min(latest, draft.now))
    draft.put_unit(after, event)
    applying.touched.add(unit.id)
    line = Line(one.place, "unit", "updated", unit.id, said)
    meter = {"edition": after.edition, "hours": after.engine_hours, "changed_after": unit.changed_after}
    return _close(draft, question, {**says, "meter": meter}, line), [line]


def use_card(
    draft: Draft, maker: str, type: str, card: str, serial_from: str = "", serial_to: str = ""
) -> dict[str, Any]:
    """From now on a maker's type is of this card; a line of the same serials before holds no more.

    Returns: ids of the line, ``line``, and of those that it took the place of, ``instead_of``.
    """
    wanted = key(maker), key(type)
    before = [
        line for line in draft.lines_of_type(*wanted) if (line.serial_from, line.serial_to) == (serial_from, serial_to)
    ]
    for line in before:
        draft.end_line(line)
    one = TypeCard(f"type-{secrets.token_hex(8)}", *wanted, serial_from, serial_to, card, draft.now)
    draft.add_line(one)
    return {"line": one.id, "instead_of": [line.id for line in before]}


def _close(draft: Draft, question: Question, says: Mapping[str, Any], line: Line) -> Question:
    """Notes the answer, and the unit that it added; the event comes after all that followed from it."""
    added = {"added": line.unit} if line.fate == "new unit" else {}
    return draft.close_question(question, {**says, **added})


def _applying(draft: Draft, rulebook: Rulebook, question: Question) -> Applying:
    """The import that asked, to draft what waited."""
    row = imports.find(draft.work, question.origin)
    assert row is not None  # a question has its import
    applying = Applying(draft, rulebook, row, question.content["source"])
    applying.begun, applying.answering = True, question.id
    return applying


def _was_new(question: Question) -> bool:
    """Whether a person said before that this machine is not on record: the row then waited for its card."""
    return bool(question.content.get("new"))


_ANSWERS = {WHICH_UNIT: _which_unit, WHICH_CARD: _which_card, METER: _meter}
