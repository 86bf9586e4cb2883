"""Lists of what is on record for other programs: units, their findings, starts, and what is due."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.record_wire import moment
from api.service import histories
from api.service.desk import Desk
from api.service.recording import answer_of
from api.store import audits, organisations, setups, starts, units
from api.store.database import Work
from api.store.setups import SetupRow
from api.store.units import UnitRow
from audit.nouns.history import DueState
from audit.nouns.problem import BadInput

Row = dict[str, Any]
_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Table:
    """One list: its columns with their types, and what gives its rows for one unit."""

    columns: Mapping[str, type]
    rows: Callable[[Desk, Work, UnitRow], Iterator[Row]]


def rows_of(table: Table, desk: Desk, work: Work, only: Sequence[str]) -> Iterator[Row]:
    """The rows of a list, unit by unit in order of id.

    Args:
        only: units that whoever asks may see; empty for all.
    """
    for unit in units_on_record(work, only):
        yield from table.rows(desk, work, unit)


def units_on_record(work: Work, only: Sequence[str]) -> Iterator[UnitRow]:
    """Every unit, retired ones too, in order of id."""
    after = ""
    while some := units.page(work, after, _AT_ONCE, only=only):
        yield from some
        after = some[-1].id


def _units(desk: Desk, work: Work, unit: UnitRow) -> Iterator[Row]:
    seen = desk.gate.see(work, unit)
    newest, decision = seen.setup, seen.decision
    yield {
        "unit": unit.id, "card": unit.card, "serial": unit.serial, "build_year": unit.build_year,
        "owner": unit.owner, "engine_hours": unit.engine_hours, "hours_at": moment(unit.hours_at),
        "retired": moment(unit.retired), "setups": unit.setups, "clearance": decision.clearance.value,
        "reasons": len(decision.reasons), "first_reason": decision.reasons[0].text if decision.reasons else "",
        **_job(newest), "taken": moment(newest.taken) if newest else None, "rulebook": decision.rulebook,
    }  # fmt: skip


def _findings(desk: Desk, work: Work, unit: UnitRow) -> Iterator[Row]:
    """The findings of the newest setup; one row that says so where it can't be judged."""
    setup = setups.newest(work, unit.id)
    if setup is None:
        return
    of = {"unit": unit.id, **_job(setup), "taken": moment(setup.taken)}
    report = _report(desk, work, setup)
    if report is None:
        yield {**of, "title": "the rulebook in force can't read this setup", "verdict": "not-judged", "holds": True}
        return
    for one in report["findings"]:
        risk = one["risk"]
        yield {
            **of, "rule": one["rule"], "title": one["title"], "on": one["on"], "on_title": one["on_title"],
            "station": one["station"]["title"], "verdict": one["verdict"], "level": risk["level"],
            "index": risk["index"], "severity": risk["severity"], "probability": risk["probability"],
            "downtime_h": risk["downtime_h"], "holds": one["holds_start"],
            "danger_to_people": risk["danger_to_people"],
            "found": "; ".join(f"{seen['meaning']}: {seen['shown']}" for seen in one["found"]),
            "missing": "; ".join(seen["meaning"] for seen in one["missing"]),
        }  # fmt: skip


def _starts(_: Desk, work: Work, unit: UnitRow) -> Iterator[Row]:
    before = None
    while some := starts.page(work, unit.id, before, _AT_ONCE):
        for one in some:
            yield {
                "start": one.id, "unit": one.unit, "number": one.number, "crop": one.crop,
                "header_kind": one.header_kind, "setup": one.setup, "at": moment(one.at), "by": one.by,
                "expires": moment(one.expires), "revoked": moment(one.revoked),
                "revoked_why": one.revoked_why or "", "rulebook": one.rulebook,
            }  # fmt: skip
        before = some[-1].number


def _due(desk: Desk, work: Work, unit: UnitRow) -> Iterator[Row]:
    """Re-checks that are not closed; one row that says so where the setups contradict each other."""
    try:
        told = histories.tell(histories.setups_of(work, desk.in_force, unit))
    except BadInput as error:
        yield {"unit": unit.id, "state": "unknown", "because": f"the setups contradict each other: {error.problems[0]}"}
        return
    procedures = desk.in_force.rulebook(work).procedures
    for one in told.history.due if told else ():
        if one.state is not DueState.CLOSED:
            yield {
                "unit": unit.id, "state": one.state.value, "why": one.why, "procedure": one.procedure,
                "title": procedures[one.procedure].title, "on": one.on, "take": "; ".join(one.take),
                "because": one.because, "engine_hours": unit.engine_hours, "due_at_hours": one.due_at,
                "overdue_at_hours": one.overdue_at, "due_by": moment(one.due_by),
            }  # fmt: skip


def _report(desk: Desk, work: Work, setup: SetupRow) -> dict[str, Any] | None:
    """The audit of a setup by the rulebook in force, None where that can't read it."""
    level = organisations.read(work).terms.hold_at
    auditor = desk.in_force.auditor(work, level)
    kept = audits.find(work, setup.id, auditor.rulebook.digest, level.name)
    if kept is not None:
        found: dict[str, Any] = json.loads(kept.report)
        return found
    try:
        return answer_of(auditor, setup)
    except BadInput:
        return None


def _job(setup: SetupRow | None) -> Row:
    if setup is None:
        return {"setup": "", "crop": "", "header_kind": ""}
    return {"setup": setup.id, "crop": setup.crop, "header_kind": setup.header_kind}


def _texts(*names: str) -> dict[str, type]:
    return dict.fromkeys(names, str)


TABLES: Mapping[str, Table] = {
    "units": Table(
        {
            **_texts("unit", "card", "serial"), "build_year": int, "owner": str, "engine_hours": float,
            **_texts("hours_at", "retired"), "setups": int, "clearance": str, "reasons": int,
            **_texts("first_reason", "setup", "crop", "header_kind", "taken", "rulebook"),
        },
        _units,
    ),
    "findings": Table(
        {
            **_texts("unit", "setup", "crop", "header_kind", "taken", "rule", "title", "on", "on_title", "station"),
            **_texts("verdict", "level"), "index": int, **_texts("severity", "probability"), "downtime_h": float,
            "holds": bool, "danger_to_people": bool, **_texts("found", "missing"),
        },
        _findings,
    ),
    "starts": Table(
        {
            **_texts("start", "unit"), "number": int, **_texts("crop", "header_kind", "setup", "at", "by", "expires"),
            **_texts("revoked", "revoked_why", "rulebook"),
        },
        _starts,
    ),
    "due": Table(
        {
            **_texts("unit", "state", "why", "procedure", "title", "on", "take", "because"), "engine_hours": float,
            "due_at_hours": float, "overdue_at_hours": float, "due_by": str,
        },
        _due,
    ),
}  # fmt: skip
"""Every list there is."""
