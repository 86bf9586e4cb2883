"""Answers to what imports could not decide, and what follows from them."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.exchange.identifiers import PROOF, claims, in_range, key
from api.exchange.reading.nouns import ReadUnit
from api.service.gate import Gate
from api.service.importing import Applying, Line, close_question, read_again
from api.service.placing import METER, WHICH_CARD, WHICH_UNIT, Decided
from api.service.recording import replace_meter, unit_named
from api.store import events, identities, import_questions, imports, machine_words, type_cards
from api.store.database import Work
from api.store.import_questions import Question
from api.store.machine_words import REPLACED, WRONG, Hours
from api.store.type_cards import TypeCard
from audit.nouns.rulebook import Rulebook

_MOST = 10_000


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


def answer(work: Work, gate: Gate, rulebook: Rulebook, id: str, says: Mapping[str, Any]) -> Answered:
    """Answers a question once; rows that waited for it are put on record.

    Args:
        says: of a unit ``{"unit": id}`` or ``{"new": true}``; of a card ``{"card": id}``, for this one machine with
            ``"only": true``, for some serials with ``serial_from`` and ``serial_to``; of a meter ``{"replaced": …}``.

    Raises: NoSuchQuestion, BadAnswer.
    """
    question = import_questions.find(work, id)
    if question is None:
        raise NoSuchQuestion(id)
    if question.answered is not None:
        raise BadAnswer("it is answered already")
    applying = _applying(work, rulebook, question)
    lines = _ANSWERS[question.kind](applying, question, read_again(question.content["row"]), says)
    revoked = [start.id for unit in sorted(applying.touched) for start in gate.recheck(work, unit)]
    found = import_questions.find(work, id)
    assert found is not None
    return Answered(found, tuple(lines), tuple(revoked))


def _which_unit(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> list[Line]:
    unit, new = says.get("unit"), says.get("new")
    if bool(unit) == bool(new) or set(says) - {"unit", "new"}:
        raise BadAnswer('say which unit it is, {"unit": "…"}, or {"new": true} for one that is not on record')
    for claim in claims(one, applying.source)[0] if new else ():
        held = identities.held(applying.work, claim.scheme.value, claim.issuer, claim.value)
        if held is not None and claim.scheme in PROOF:
            raise BadAnswer(
                f"its {claim.scheme.value} is that of {held.unit}; if that is wrong, split it off there first"
            )
    line = applying.unit(one, Decided(unit=str(unit or ""), new=bool(new)))
    if line.fate == "refused":
        raise BadAnswer(f"{line.text}. {line.advice}")
    _close(applying.work, question, says, line)
    return [line]


def _which_card(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> list[Line]:
    card, work = says.get("card"), applying.work
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
        _close(work, question, says, line)
        return [line]
    if in_range(one.serial, first, last) is not True:
        raise BadAnswer(f"serial '{one.serial[:40]}' does not lie between these, or that can't be decided")
    use_card(work, one.maker, one.type, str(card), first, last)
    lines = []
    for waiting in import_questions.page(work, 0, _MOST, kind=WHICH_CARD):
        row = read_again(waiting.content["row"])
        if (key(row.maker), key(row.type)) != (key(one.maker), key(one.type)):
            continue
        if waiting.id != question.id and in_range(row.serial, first, last) is not True:
            continue
        of = _applying(work, applying.rulebook, waiting)
        line = of.unit(row, Decided(new=_was_new(waiting)))
        _close(work, waiting, says, line)
        lines.append(line)
        applying.touched |= of.touched
    return lines


def _meter(applying: Applying, question: Question, one: ReadUnit, says: Mapping[str, Any]) -> list[Line]:
    replaced, work = says.get("replaced"), applying.work
    if not isinstance(replaced, bool) or set(says) != {"replaced"} or one.hours is None:
        raise BadAnswer('say {"replaced": true} if the meter is a new one, {"replaced": false} if the reading is wrong')
    unit = unit_named(work, question.content["unit"])
    taken = one.hours.taken
    machine_words.add_hours(
        work,
        Hours(
            unit.id, one.hours.hours, taken, REPLACED if replaced else WRONG, applying.row.id, unit.engine_hours,
            unit.hours_at, work.now,
        ),
    )  # fmt: skip
    if not replaced:
        line = Line(one.place, "unit", "nothing new", unit.id, "the reading was wrong; what was known holds")
        _close(work, question, says, line)
        return [line]
    if (
        taken is not None
        and unit.hours_at is not None
        and taken < unit.hours_at
        and one.hours.hours > (unit.engine_hours or 0.0)
    ):
        said = "the higher reading is of the meter before; setups before are no longer of account"
        replace_meter(work, unit, unit.engine_hours or 0.0, unit.hours_at)
    else:
        said = f"hours count from {one.hours.hours:g} on; setups before are no longer of account"
        replace_meter(work, unit, one.hours.hours, work.now if taken is None else taken)
    applying.touched.add(unit.id)
    line = Line(one.place, "unit", "updated", unit.id, said)
    _close(work, question, says, line)
    return [line]


def use_card(work: Work, maker: str, type: str, card: str, serial_from: str = "", serial_to: str = "") -> TypeCard:
    """From now on a maker's type is of this card; a line of the same serials before holds no more."""
    wanted = key(maker), key(type)
    for line in type_cards.every(work, *wanted):
        if (line.serial_from, line.serial_to) == (serial_from, serial_to):
            end_type_card(work, line)
    one = TypeCard(f"type-{secrets.token_hex(8)}", *wanted, serial_from, serial_to, card, work.now)
    type_cards.add(work, one)
    content = {name: getattr(one, name) for name in ("maker", "type", "serial_from", "serial_to", "card")}
    events.append(work, "type_card.added", f"type-card/{one.id}", content)
    return one


def end_type_card(work: Work, line: TypeCard) -> None:
    """A line that holds no more, with an event."""
    type_cards.end(work, line.id)
    events.append(work, "type_card.ended", f"type-card/{line.id}", {"card": line.card})


def close_undone(work: Work, question: Question) -> None:
    """A question whose import was undone needs no answer."""
    _close(work, question, {"undone": True}, None)


def _close(work: Work, question: Question, says: Mapping[str, Any], line: Line | None) -> None:
    """Notes the answer, and the unit that it added; the event comes after all that followed from it."""
    added = {"added": line.unit} if line is not None and line.fate == "new unit" else {}
    close_question(work, question.id, {**says, **added})


def _applying(work: Work, rulebook: Rulebook, question: Question) -> Applying:
    """The import that asked, to put on record what waited."""
    row = imports.find(work, question.origin)
    assert row is not None  # a question has its import
    applying = Applying(work, rulebook, row, question.content["source"])
    applying.begun, applying.answering = True, question.id
    return applying


def _was_new(question: Question) -> bool:
    """Whether a person said before that this machine is not on record: the row then waited for its card."""
    return bool(question.content.get("new"))


_ANSWERS = {WHICH_UNIT: _which_unit, WHICH_CARD: _which_card, METER: _meter}
