"""Putting units and setups on record.

A setup is worked out (read, completed, judged) before the transaction that writes it, which only looks whether what
that stood on is still so. Judging takes longer than writing, and only one may write at a time.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

from api.store import audits, events, open_findings, organisations, setups, units
from api.store.database import Work
from api.store.events import Saying
from api.store.setups import SetupRow
from api.store.units import UnitRow
from api.wire import report_json
from audit.auditor import Auditor
from audit.clearing import CLOCKS_DIFFER
from audit.intake.json_text import parse_json
from audit.intake.moments import read_moment
from audit.intake.setups import read_setup
from audit.intake.tree import Problems
from audit.nearest import did_you_mean
from audit.nouns.finding import Report
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Unit
from audit.run import audit_on_sheet

IDENTITY = ("card", "serial", "build_year", "fitted")
"""What a unit is; a setup taken before any of it changed says nothing of the unit as it is now."""


class NoSuchUnit(Exception):
    """There is no unit of this id for the caller."""


class OtherMachine(Exception):
    """The setup says that it is of another machine than the unit on record."""


class Moved(Exception):
    """What was worked out stood on something that changed since; work it out again."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A setup that is read and judged, and what that stood on; ``holding``: its findings that hold, for people."""

    unit: UnitRow
    text: bytes
    taken: float | None
    taken_by: str
    state: str
    crop: str
    header_kind: str
    engine_hours: float | None
    hold_at: str
    report: Report
    answer: bytes
    holding: tuple[Mapping[str, Any], ...]


def unit_named(work: Work, id: str) -> UnitRow:
    """The unit. Raises NoSuchUnit."""
    found = units.find(work, id)
    if found is None:
        raise NoSuchUnit(id)
    return found


def put_unit(work: Work, rulebook: Rulebook, id: str, says: Mapping[str, Any]) -> tuple[UnitRow, bool]:
    """Puts a unit on record, or what changed of it; True if it is new.

    Args:
        says: ``card``, and where known ``serial``, ``build_year``, ``fitted``, ``owner``, ``engine_hours``.

    Raises: BadInput.
    """
    before = units.find(work, id)
    after, said = said_unit(rulebook, id, says, before, work.now)
    if said is not None:
        (units.add if before is None else units.change)(work, after)
        events.append_all(work, [said])
    return after, before is None


def said_unit(
    rulebook: Rulebook, id: str, says: Mapping[str, Any], before: UnitRow | None, now: float
) -> tuple[UnitRow, Saying | None]:
    """A unit as it is after what is said of it, and the event of that; None where nothing changed. Raises BadInput.

    Args:
        says: as of ``put_unit``.   before: the unit on record, None for none.
    """
    _check_unit(rulebook, id, says)
    hours = says.get("engine_hours")
    after = UnitRow(
        id=id, card=says["card"], serial=says.get("serial") or "", build_year=says.get("build_year"),
        fitted=dict(says.get("fitted") or {}), owner=says.get("owner") or "",
        engine_hours=None if hours is None else float(hours), hours_at=None if hours is None else now,
        edition=1, changed_after=0, setups=0, created=now, retired=None,
    )  # fmt: skip
    if before is None:
        return after, Saying("unit.added", f"unit/{id}", _content(after), after=_hash(after))
    if hours is None:
        after = replace(after, engine_hours=before.engine_hours, hours_at=before.hours_at)
    other = any(getattr(before, name) != getattr(after, name) for name in IDENTITY)
    after = replace(
        after, edition=before.edition, setups=before.setups, created=before.created,
        changed_after=before.setups if other else before.changed_after,
    )  # fmt: skip
    if replace(after, hours_at=before.hours_at) == before:
        return before, None
    after = replace(after, edition=before.edition + 1)
    return after, Saying("unit.changed", f"unit/{id}", _content(after), _hash(before), _hash(after))


def retire_unit(work: Work, unit: UnitRow) -> UnitRow:
    """Takes a unit out of the fleet; what is on record of it stays."""
    after, said = retired_unit(unit, work.now)
    units.change(work, after)
    events.append_all(work, [said])
    return after


def retired_unit(unit: UnitRow, now: float) -> tuple[UnitRow, Saying]:
    """A unit that is taken out of the fleet, and the event of that."""
    after = replace(unit, retired=now, edition=unit.edition + 1)
    return after, Saying("unit.retired", f"unit/{unit.id}", {}, _hash(unit), _hash(after))


def prepare(unit: UnitRow, auditor: Auditor, body: bytes) -> Prepared:
    """Reads, completes and judges a setup of a unit.

    Raises:
        BadInput: with every problem.
        OtherMachine: it says that it is of another machine.
    """
    problems = Problems()
    tree = parse_json(body, "", problems)
    if tree is None or problems:
        raise BadInput(problems.found)
    plain: Any = tree.plain()
    plain["unit"] = _completed(plain.get("unit"), unit)
    try:
        text = events.canonical(plain)
    except (ValueError, TypeError) as error:
        raise BadInput([_not_kept(error)]) from None
    setup = read_setup(text, "", auditor.rulebook)
    _check_same(setup.unit, unit)
    report = audit_on_sheet(auditor.sheet(setup.unit.card, setup.crop), setup, auditor.hold_at)
    hours = setup.values.get("unit.engine_hours")
    answer = report_json(report, auditor.rulebook)
    return Prepared(
        unit=unit, text=text, taken=read_moment(setup.taken.at) if setup.taken.at else None, taken_by=setup.taken.by,
        state=setup.taken.state, crop=setup.crop, header_kind=setup.header_kind,
        engine_hours=hours if isinstance(hours, float) else None, hold_at=auditor.hold_at.name,
        report=report, answer=json.dumps(answer, separators=(",", ":")).encode(),
        holding=tuple(finding for finding in answer["findings"] if finding["holds_start"]),
    )  # fmt: skip


def record(work: Work, prepared: Prepared, in_force: str) -> SetupRow:
    """Writes a setup that was worked out before, with its audit.

    Args:
        in_force: digest of the rulebook in force now.

    Raises:
        Moved: the unit, the rulebook in force or the level that holds changed meanwhile.
        BadInput: it was taken later than now.
    """
    unit = unit_named(work, prepared.unit.id)
    stood_on = prepared.unit.identity(), prepared.report.digest, prepared.hold_at
    if stood_on != (unit.identity(), in_force, organisations.read(work).terms.hold_at.name):
        raise Moved
    taken = work.now if prepared.taken is None else prepared.taken
    if taken > work.now + CLOCKS_DIFFER:
        said = "is later than now, so one of the clocks is wrong."
        raise BadInput([Problem(Place(path="taken/at"), said, "Set the clock and send it again.")])
    row = SetupRow(
        unit=unit.id, number=unit.setups + 1, id=f"setup-{secrets.token_hex(8)}",
        digest=sha256(prepared.text).hexdigest(), text=prepared.text, card=unit.card, crop=prepared.crop,
        header_kind=prepared.header_kind, state=prepared.state, taken=taken, taken_by=prepared.taken_by,
        engine_hours=prepared.engine_hours, recorded=work.now, recorded_by=work.who,
    )  # fmt: skip
    setups.add(work, row)
    units.change(work, replace(with_hours(unit, prepared.engine_hours, taken), setups=row.number))
    events.append(
        work, "setup.recorded", f"setup/{row.id}",
        {
            "unit": unit.id, "number": row.number, "crop": row.crop, "header_kind": row.header_kind,
            "state": row.state, "taken": row.taken, "taken_by": row.taken_by, "rulebook": prepared.report.digest,
            "hold_at": prepared.hold_at, "clearance": prepared.report.clearance.value,
        },
        after=row.digest,
    )  # fmt: skip
    keep_audit(work, row, prepared.report, prepared.answer, prepared.hold_at)
    newest = setups.newest(work, unit.id)
    if newest is not None and newest.id == row.id:
        open_findings.follow(work, row, prepared.holding)
    return row


def answer_of(auditor: Auditor, setup: SetupRow) -> dict[str, Any]:
    """The audit of a setup on record. Raises BadInput where the rulebook can no longer read it."""
    return report_json(auditor.report(setup.text, ""), auditor.rulebook)


def keep_audit(work: Work, row: SetupRow, report: Report, answer: bytes, hold_at: str) -> None:
    """Puts the audit of a setup on record."""
    holding = sum(finding.holds_start for finding in report.findings)
    audits.keep(
        work, audits.AuditRow(row.id, report.digest, hold_at, report.clearance.value, holding, answer, work.now)
    )


def with_hours(unit: UnitRow, hours: float | None, at: float) -> UnitRow:
    """The unit with more engine hours, if they are more."""
    if hours is None or (unit.engine_hours is not None and hours <= unit.engine_hours):
        return unit
    return replace(unit, engine_hours=hours, hours_at=at)


def with_new_meter(unit: UnitRow, hours: float, at: float) -> tuple[UnitRow, Saying]:
    """The unit with a new hour meter: hours count from what it shows, and setups by the old one clear nothing more."""
    after = replace(unit, engine_hours=hours, hours_at=at, edition=unit.edition + 1, changed_after=unit.setups)
    content = {"before": unit.engine_hours, "after": hours}
    return after, Saying("unit.meter_replaced", f"unit/{unit.id}", content, _hash(unit), _hash(after))


def with_old_meter(unit: UnitRow, hours: float | None, at: float | None, changed_after: int) -> tuple[UnitRow, Saying]:
    """The unit as before a replacement of its meter that is taken back: with the hours, and setups that count."""
    after = replace(unit, engine_hours=hours, hours_at=at, edition=unit.edition + 1, changed_after=changed_after)
    content = {"before": unit.engine_hours, "after": hours}
    return after, Saying("unit.meter_kept", f"unit/{unit.id}", content, _hash(unit), _hash(after))


def _completed(says: Any, unit: UnitRow) -> Any:
    """A setup's ``unit`` with what is on record filled in. Raises OtherMachine for another id or card."""
    if not isinstance(says, dict | None):
        return says  # refused by whoever reads it
    given = {name: value for name, value in (says or {}).items() if value is not None}
    known = unit.identity()
    for name in ("id", "card"):
        if given.get(name, known[name]) != known[name]:
            raise OtherMachine(_differs(name, given[name], known[name], unit))
    fitted = given.get("fitted", {})
    if isinstance(fitted, dict) and (fitted or "fitted" in known):
        given["fitted"] = {**known.get("fitted", {}), **{name: value for name, value in fitted.items() if value}}
    if unit.owner:
        given.setdefault("owner", unit.owner)
    return {**known, **given}


def _check_same(found: Unit, unit: UnitRow) -> None:
    """Raises OtherMachine if a setup's unit is not the one on record."""
    fitted = dict(found.fitted)
    pairs = [("serial", found.serial, unit.serial), ("build_year", found.build_year, unit.build_year)]
    pairs += [(f"fitted/{name}", fitted.get(name), value) for name, value in unit.fitted.items()]
    for name, given, known in pairs:
        if known not in ("", None) and given != known:
            raise OtherMachine(_differs(name, given, known, unit))


def _differs(name: str, given: object, known: object, unit: UnitRow) -> str:
    return (
        f"the setup's unit has {name} {str(given)[:60]!r}, {unit.id} on record has {str(known)[:60]!r}. Either it is "
        "of another machine, or the unit on record must be put right first."
    )


def _check_unit(rulebook: Rulebook, id: str, says: Mapping[str, Any]) -> None:
    """Raises BadInput unless a setup of such a unit could be read."""
    problems = Problems()
    card = rulebook.machines.get(says["card"])
    if card is None:
        problems.add(
            Place(path="card"),
            f"there is no machine card '{says['card']}'.",
            did_you_mean(says["card"], rulebook.machines),
        )
        raise BadInput(problems.found)
    crop = next(iter(rulebook.crops))
    plain = {
        "unit": {key: value for key, value in {**says, "id": id}.items() if value is not None},
        "job": {"crop": crop},
    }
    try:
        read_setup(events.canonical(plain), "", rulebook)
    except BadInput as error:
        raise BadInput(
            [replace(problem, place=Place(path=problem.place.path.removeprefix("unit/"))) for problem in error.problems]
        ) from None
    except ValueError as error:
        raise BadInput([_not_kept(error)]) from None


def _not_kept(error: Exception) -> Problem:
    return Problem(Place(), f"can't be kept as it is: {error}.", "Send whole numbers up to 2^53, and whole characters.")


def _content(unit: UnitRow) -> dict[str, Any]:
    return {**unit.identity(), "owner": unit.owner, "engine_hours": unit.engine_hours, "edition": unit.edition}


def _hash(unit: UnitRow) -> str:
    return sha256(events.canonical(_content(unit))).hexdigest()
