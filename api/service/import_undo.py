"""Taking an import back: what it brought goes, as far as nothing newer stands on it; what can't be undone is said.

What people answered to its questions goes with it: a type's machine card, and that a meter was replaced.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from api.exchange.identifiers import Claim
from api.exchange.reading.nouns import Scheme
from api.service.draft import Draft
from api.service.gate import Gate
from api.service.importing import add_identity
from api.service.recording import retired_unit, with_old_meter
from api.store import events, identities, import_questions, imports, machine_words, type_cards, units
from api.store.events import Saying
from api.store.import_questions import Question
from api.store.imports import ImportRow
from api.store.machine_words import COUNTS, REPLACED, Hours
from api.store.type_cards import TypeCard

NEW = "new unit"
_MOST = 100_000


class NoSuchImport(Exception):
    """There is no such import."""


class UndoneBefore(Exception):
    """It was undone already."""


@dataclass(frozen=True, slots=True)
class Undone:
    """What was taken back, and what was not, in words; starts whose certificates were revoked."""

    row: ImportRow
    done: tuple[str, ...]
    left: tuple[str, ...]
    revoked: tuple[str, ...]


def undo(draft: Draft, gate: Gate, id: str) -> Undone:
    """Drafts what takes an import back. Raises NoSuchImport, UndoneBefore."""
    row = imports.find(draft.work, id)
    if row is None:
        raise NoSuchImport(id)
    if row.undone is not None:
        raise UndoneBefore(id)
    return _Undoing(draft, row).undo(gate)


class _Undoing:
    """One import while it is taken back.

    Attributes:
        asked: its questions, answered or not.   done, left: what was taken back and what was not, in words.
    """

    def __init__(self, draft: Draft, row: ImportRow) -> None:
        self.draft, self.work, self.row = draft, draft.work, row
        self.asked = import_questions.page(draft.work, 0, _MOST, every=True, origin=row.id)
        self.done: list[str] = []
        self.left: list[str] = []
        self._last: dict[str, int] = {}

    def undo(self, gate: Gate) -> Undone:
        """All of it."""
        draft, row = self.draft, self.row
        added = self._added()
        staying = {unit for unit, subject in added.items() if self._stands(unit, subject)}
        touched = self._hours()
        for one in identities.of_import(self.work, row.id):
            if one.unit in staying:
                continue
            draft.end_identity(one, f"import {row.number} was undone")
            self.done.append(f"{one.unit} is no longer known by {one.scheme} {one.shown}")
            touched.add(one.unit)
            if (before := identities.moved_from(self.work, one)) is not None:
                claim = Claim(Scheme(one.scheme), one.issuer, one.value, one.shown)
                add_identity(draft, before.unit, claim, f"import {row.number} was undone", before.origin)
                self.done.append(f"{before.unit} is known by {one.scheme} {one.shown} again")
        self.left += [f"{unit} and what it is known by stay: more was recorded of it since" for unit in sorted(staying)]
        touched |= self._retire(sorted(set(added) - staying))
        self._lines(set(added))
        values, tasks, faults = machine_words.counts(self.work, row.id)
        self.done += [f"{values} settings from machines"] if values else []
        self.done += [f"{tasks} planned harvests"] if tasks else []
        self.done += [f"{faults} fault codes from machines"] if faults else []
        for question in self.asked:
            if question.answered is None:
                draft.close_question(question, {"undone": True})
                self.done.append(f"question {question.number} needs no answer")
        content = {"number": row.number, "done": self.done, "left": self.left}
        found = draft.take_back(row, Saying("import.undone", f"import/{row.id}", content))
        return Undone(found, tuple(self.done), tuple(self.left), tuple(draft.recheck(gate, touched)))

    def _hours(self) -> set[str]:
        """Hours go back to what they were, where this import's are still the newest."""
        touched, draft = set(), self.draft
        brought = machine_words.hours_of_import(self.work, self.row.id)
        for reading in brought:
            if reading.fate == REPLACED and self._old_meter(reading):
                touched.add(reading.unit)
        for reading in brought:
            unit = draft.unit(reading.unit)
            if reading.fate != COUNTS or unit is None:
                continue
            if unit.engine_hours == reading.hours and reading.hours_before is None and unit.setups:
                said = f"setups were recorded since with {reading.hours:g} engine hours known; they stay"
                self.left.append(f"{unit.id}: {said}")
            elif unit.engine_hours == reading.hours:
                draft.put_unit(replace(unit, engine_hours=reading.hours_before, hours_at=reading.hours_at_before))
                self.done.append(f"{unit.id}: engine hours are {_shown(reading.hours_before)} again")
                touched.add(unit.id)
            else:
                said = f"newer engine hours are on record ({_shown(unit.engine_hours)}); they stay"
                self.left.append(f"{unit.id}: {said}")
        return touched

    def _old_meter(self, reading: Hours) -> bool:
        """Takes back that a person said that a meter was replaced, where nothing was recorded by the new one since."""
        unit, meter = self.draft.unit(reading.unit), self._meter_answer(reading.unit)
        if unit is None or unit.retired is not None:
            return False
        kept = f"{unit.id}: that its meter was replaced stays"
        if meter is None:
            self.left.append(f"{kept}: it was answered by an older version, which did not keep what was before")
        elif unit.edition != meter["edition"]:
            self.left.append(f"{kept}: what the unit is was changed since")
        elif unit.setups != unit.changed_after:
            self.left.append(f"{kept}: setups were recorded by the new one since")
        elif unit.engine_hours != meter["hours"]:
            self.left.append(f"{kept}: newer engine hours are on record ({_shown(unit.engine_hours)})")
        else:
            after = with_old_meter(unit, reading.hours_before, reading.hours_at_before, meter["changed_after"])
            self.draft.put_unit(*after)
            said = f"engine hours are {_shown(reading.hours_before)} again, and setups before it are of account"
            self.done.append(f"{unit.id}: its meter counts as not replaced; {said}")
            return True
        return False

    def _meter_answer(self, unit: str) -> Mapping[str, Any] | None:
        for question in self.asked:
            if question.content.get("unit") == unit and question.answer is not None and "meter" in question.answer:
                found: Mapping[str, Any] = question.answer["meter"]
                return found
        return None

    def _lines(self, added: set[str]) -> None:
        """Machine cards of makers' types that answers to this import's questions put on record hold no more."""
        for question in self.asked:
            id = (question.answer or {}).get("line")
            line = type_cards.find(self.work, id) if id else None
            if line is None or line.ended is not None:
                continue
            called = f"{question.content['row']['maker']} {question.content['row']['type']}".strip()
            if others := self._by_line(line, added):
                shown = f"{', '.join(others[:5])}{' and others' if len(others) > 5 else ''}"
                said = f"other imports added units of that card since ({shown})"
                self.left.append(f"{called} is still taken for card {line.card}: {said}")
                continue
            self.draft.end_line(line)
            again = self._again(question)
            after = f"; it is taken for {' and '.join(again)} again" if again else ""
            self.done.append(f"{called} is no longer taken for card {line.card}{after}")

    def _by_line(self, line: TypeCard, added: set[str]) -> list[str]:
        """Units that other imports added since there is a line, and that may have their card by it."""
        return [
            row.id
            for row in units.of_fleet(self.work)
            if row.card == line.card and row.created >= line.since and row.id not in added
            and any(one.origin for one in self.draft.known_by(row.id))
        ]  # fmt: skip

    def _again(self, question: Question) -> list[str]:
        """Puts lines back that an answer took the place of; their cards."""
        cards = []
        for id in (question.answer or {}).get("instead_of", ()):
            before = type_cards.find(self.work, id)
            if before is not None:
                again = replace(before, id=f"type-{secrets.token_hex(8)}", since=self.draft.now, ended=None)
                self.draft.add_line(again)
                cards.append(again.card)
        return cards

    def _added(self) -> dict[str, str]:
        """Units in the fleet that the import added, or answers to its questions; by what the record says so."""
        lines = imports.report(self.work, self.row.id)["lines"]
        added = {line["unit"]: f"import/{self.row.id}" for line in lines if line["fate"] == NEW}
        for question in self.asked:
            if unit := (question.answer or {}).get("added"):
                added[unit] = f"question/{question.id}"
        return {
            unit: subject
            for unit, subject in added.items()
            if (found := self.draft.unit(unit)) is not None and found.retired is None
        }

    def _stands(self, unit: str, subject: str) -> bool:
        """Whether anything else was recorded of a unit since it was added."""
        found = self.draft.unit(unit)
        if found is None or found.setups or machine_words.others(self.work, unit, self.row.id):
            return True
        if any(one.origin != self.row.id for one in self.draft.known_by(unit)):
            return True
        if subject not in self._last:
            self._last[subject] = max((one.number for one in events.read(self.work, subject=subject)), default=0)
        return any(one.number > self._last[subject] for one in events.read(self.work, subject=f"unit/{unit}"))

    def _retire(self, ids: list[str]) -> set[str]:
        """Units leave the fleet."""
        for id in ids:
            found = self.draft.unit(id)
            assert found is not None
            self.draft.put_unit(*retired_unit(found, self.draft.now))
            self.done.append(f"{id} was taken out of the fleet")
        return set(ids)


def _shown(hours: float | None) -> str:
    return "not known" if hours is None else f"{hours:g}"
