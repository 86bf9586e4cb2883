"""Imports from farm systems as plain values for JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from api.record_wire import moment
from api.service.import_answers import Answered
from api.service.import_undo import Undone
from api.service.importing import Report
from api.store.identities import Identity
from api.store.import_questions import Question
from api.store.import_sources import Source
from api.store.imports import ImportRow
from api.store.machine_words import Fault, Hours, Task, Value
from api.store.type_cards import TypeCard

Plain = dict[str, Any]


def as_said(seconds: float | None, local: bool) -> str | None:
    """A time as a farm system said it: in UTC, or without an offset where that is not known."""
    found = moment(seconds)
    return found.removesuffix("Z") if found is not None and local else found


def import_json(row: ImportRow) -> Plain:
    """An import without its rows."""
    return {**asdict(row), "at": moment(row.at), "undone": moment(row.undone)}


def report_json(report: Report, dry_run: bool = False) -> Plain:
    """An import with every row's fate, as it was just done."""
    return {**import_json(report.row), "dry_run": dry_run, "repeated": report.repeated, **report.plain()}


def kept_json(row: ImportRow, report: Plain) -> Plain:
    """An import with every row's fate, as it is on record."""
    return {**import_json(row), "dry_run": False, "repeated": False, **report}


def undone_json(undone: Undone) -> Plain:
    return {
        **import_json(undone.row), "done": list(undone.done), "left": list(undone.left),
        "revoked": list(undone.revoked),
    }  # fmt: skip


def question_json(one: Question) -> Plain:
    content = one.content
    return {
        "id": one.id, "number": one.number, "kind": one.kind, "text": content["text"], "choices": content["choices"],
        "machine": content["row"], "origin": one.origin, "asked": moment(one.asked), "answered": moment(one.answered),
        "answered_by": one.answered_by, "answer": None if one.answer is None else dict(one.answer),
    }  # fmt: skip


def answered_json(one: Answered) -> Plain:
    return {
        "question": question_json(one.question), "lines": [asdict(line) for line in one.lines],
        "revoked": list(one.revoked),
    }  # fmt: skip


def identity_json(one: Identity) -> Plain:
    return {**asdict(one), "added": moment(one.added), "ended": moment(one.ended)}


def type_card_json(one: TypeCard) -> Plain:
    found = {**asdict(one), "since": moment(one.since)}
    del found["ended"]
    return found


def source_json(one: Source) -> Plain:
    return {
        "id": one.id, "format": one.format, "address": one.address, "period": one.period, "polled": moment(one.polled),
        "outcome": one.outcome,
    }  # fmt: skip


def value_json(one: Value, settings: list[str]) -> Plain:
    return {
        "settings": settings, "verified": False, "code": one.code, "role": one.role, "part": one.part,
        "value": one.value, "measure": one.measure, "taken": as_said(one.taken, one.local), "origin": one.origin,
    }  # fmt: skip


def hours_json(one: Hours) -> Plain:
    return {"hours": one.hours, "taken": as_said(one.taken, one.local), "fate": one.fate, "origin": one.origin}


def fault_json(one: Fault) -> Plain:
    return {
        "code": one.code, "says": one.says, "severity": one.severity, "source": one.source,
        "taken": as_said(one.taken, one.local), "origin": one.origin,
    }  # fmt: skip


def task_json(one: Task) -> Plain:
    return {
        "unit": one.unit, "name": one.name, "field": one.field, "crop": one.crop, "crop_said": one.crop_said,
        "begins": as_said(one.begins, one.local), "ends": as_said(one.ends, one.local), "state": one.state,
        "origin": one.origin,
    }  # fmt: skip
