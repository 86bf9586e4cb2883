"""Taking an import back: what it brought goes, as far as nothing newer stands on it; what can't be undone is said."""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.exchange.identifiers import Claim
from api.exchange.reading.nouns import Scheme
from api.service.gate import Gate
from api.service.import_answers import close_undone
from api.service.importing import add_identity, end_identity
from api.service.recording import retire_unit
from api.store import events, identities, import_questions, imports, machine_words, units
from api.store.database import Work
from api.store.imports import ImportRow
from api.store.machine_words import COUNTS, REPLACED

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


def undo(work: Work, gate: Gate, id: str) -> Undone:
    """Takes an import back. Raises NoSuchImport, UndoneBefore."""
    row = imports.find(work, id)
    if row is None:
        raise NoSuchImport(id)
    if row.undone is not None:
        raise UndoneBefore(id)
    done: list[str] = []
    left: list[str] = []
    staying = {unit for unit, subject in _added(work, row).items() if _stands(work, unit, subject, id)}
    touched = _hours(work, id, done, left)
    for one in identities.of_import(work, id):
        if one.unit in staying:
            continue
        end_identity(work, one, f"import {row.number} was undone")
        done.append(f"{one.unit} is no longer known by {one.scheme} {one.shown}")
        touched.add(one.unit)
        if (before := identities.moved_from(work, one)) is not None:
            claim = Claim(Scheme(one.scheme), one.issuer, one.value, one.shown)
            add_identity(work, before.unit, claim, f"import {row.number} was undone", before.origin)
            done.append(f"{before.unit} is known by {one.scheme} {one.shown} again")
    left += [f"{unit} and what it is known by stay: more was recorded of it since" for unit in sorted(staying)]
    touched |= _retire(work, sorted(set(_added(work, row)) - staying), done)
    values, tasks = machine_words.take_back(work, id)
    done += [f"{values} settings from machines"] if values else []
    done += [f"{tasks} planned harvests"] if tasks else []
    for question in import_questions.page(work, 0, _MOST, origin=id):
        close_undone(work, question)
        done.append(f"question {question.number} needs no answer")
    imports.end(work, id)
    events.append(work, "import.undone", f"import/{id}", {"number": row.number, "done": done, "left": left})
    revoked = tuple(start.id for unit in sorted(touched) for start in gate.recheck(work, unit))
    found = imports.find(work, id)
    assert found is not None
    return Undone(found, tuple(done), tuple(left), revoked)


def _hours(work: Work, id: str, done: list[str], left: list[str]) -> set[str]:
    """Hours go back to what they were, where this import's are still the newest."""
    touched = set()
    for reading in machine_words.hours_of_import(work, id):
        unit = units.find(work, reading.unit)
        if reading.fate == REPLACED:
            left.append(f"{reading.unit}: that its meter was replaced is what a person said; it stays")
        if reading.fate != COUNTS or unit is None:
            continue
        if unit.engine_hours == reading.hours and reading.hours_before is None and unit.setups:
            left.append(f"{unit.id}: setups were recorded since with {reading.hours:g} engine hours known; they stay")
        elif unit.engine_hours == reading.hours:
            units.change(work, replace(unit, engine_hours=reading.hours_before, hours_at=reading.hours_at_before))
            before = "not known" if reading.hours_before is None else f"{reading.hours_before:g}"
            done.append(f"{unit.id}: engine hours are {before} again")
            touched.add(unit.id)
        else:
            shown = "not known" if unit.engine_hours is None else f"{unit.engine_hours:g}"
            left.append(f"{unit.id}: newer engine hours are on record ({shown}); they stay")
    return touched


def _added(work: Work, row: ImportRow) -> dict[str, str]:
    """Units in the fleet that an import added, or answers to its questions; by what the record says so."""
    added = {line["unit"]: f"import/{row.id}" for line in imports.report(work, row.id)["lines"] if line["fate"] == NEW}
    for question in import_questions.page(work, 0, _MOST, every=True, origin=row.id):
        if unit := (question.answer or {}).get("added"):
            added[unit] = f"question/{question.id}"
    return {
        unit: subject
        for unit, subject in added.items()
        if (found := units.find(work, unit)) is not None and found.retired is None
    }


def _stands(work: Work, unit: str, subject: str, origin: str) -> bool:
    """Whether anything else was recorded of a unit since it was added."""
    found = units.find(work, unit)
    if found is None or found.setups or machine_words.others(work, unit, origin):
        return True
    if any(one.origin != origin for one in identities.of_unit(work, unit)):
        return True
    added = [one.number for one in events.read(work, subject=subject)]
    return any(one.number > max(added, default=0) for one in events.read(work, subject=f"unit/{unit}"))


def _retire(work: Work, ids: list[str], done: list[str]) -> set[str]:
    """Units leave the fleet."""
    for id in ids:
        found = units.find(work, id)
        assert found is not None
        retire_unit(work, found)
        done.append(f"{id} was taken out of the fleet")
    return set(ids)
