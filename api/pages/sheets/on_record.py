"""What sheets show of what is on record: the newest setups of all units judged and planned, and what wears."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from dataclasses import replace

from api.fleet_wire import Plain
from api.history_wire import history_json
from api.identity.caller import Caller
from api.pages.sheets.speeds import Speed, speeds_of
from api.service.desk import Desk
from api.service.remedies import Branches
from api.store import organisations, setups, units
from api.store.database import Work
from api.store.setups import SetupRow
from api.wire import shown
from audit.auditor import Auditor
from audit.facts import compute
from audit.fleet.standing import worst_first
from audit.fleet.units import Audited, FindingLine, Fleet, UnitLine, fleet_of
from audit.fleet.units import Work as UnitWork
from audit.history.unit import history_of
from audit.intake.setups import read_setup
from audit.nouns.answer import Answer
from audit.nouns.finding import Clearance
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Quantity
from audit.nouns.setup import Setup
from audit.planning.planner import Planner

PLANNING = 8.0
"""Longest that the work of a fleet is planned for one report, s; the worst units come first."""
MOST_SPEEDS = 400
"""Units whose speeds are worked out for one report; the worst come first."""
REMEMBERING = 5.0
"""Longest that wear of a fleet is looked for, s; the worst units come first."""


class Newest:
    """The newest setup of every unit that a caller sees, judged by the rulebook in force.

    Attributes:
        unread: units whose newest setup the rulebook in force can't read.
    """

    def __init__(self, desk: Desk, caller: Caller) -> None:
        self.desk, self.caller = desk, caller
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            level = organisations.read(work).terms.hold_at
            self.auditor: Auditor = desk.in_force.auditor(work, level)
            self.planner: Planner = desk.in_force.planner(work, level)
            self.rows = {row.unit: row for row in setups.of_all_units(work) if caller.sees(row.unit)}
            owners = dict(_owners(work))
        self.now = desk.clock()
        self.unread: list[str] = []
        self.fleet = self._fleet(owners)

    def _fleet(self, owners: dict[str, str]) -> Fleet:
        rows = list(self.rows.values())
        lines: list[UnitLine] = []
        findings: list[FindingLine] = []
        answers = self.auditor.answer_all([row.text for row in rows], lambda n: rows[n].unit)
        for number, (row, answer) in enumerate(zip(rows, answers, strict=True), 1):
            if isinstance(answer, BadInput):
                self.unread.append(row.unit)
                continue
            lines.append(_line(number, row, answer, owners.get(row.unit, "")))
            names = self.auditor.sheet(answer.card, answer.crop).names
            findings += _findings(number, answer, names)
        return fleet_of(lines, findings, self.auditor.rulebook.digest)

    def planned(self) -> Fleet:
        """The fleet with the work of as many units as there is time for."""
        end = time.monotonic() + PLANNING
        found = []
        for unit in worst_first(self.fleet):
            if not unit.findings:
                work: UnitWork | None = UnitWork(0.0, 0, (), (), 0, True, False)
            else:
                row = self.rows[unit.line.unit]
                branches = self.desk.remedies.kept(self.fleet.digest, row)
                if branches is None and time.monotonic() < end:
                    branches = self.desk.remedies.work_out(self.planner, row)
                work = _work(branches)
            found.append(Audited(replace(unit.line, work=work), unit.findings))
        found.sort(key=lambda unit: unit.line.unit)
        return Fleet(tuple(found), self.fleet.setups, self.fleet.digest)

    def speeds(self, units_wanted: str) -> dict[str, list[Speed]]:
        """Speeds of units against their windows; ``units_wanted`` is a key of ``units.INTO``."""
        found = {}
        for unit in worst_first(self.fleet)[:MOST_SPEEDS]:
            setup = read_setup(self.rows[unit.line.unit].text, "", self.auditor.rulebook)
            sheet = self.auditor.sheet(setup.unit.card, setup.crop)
            found[unit.line.unit] = speeds_of(sheet, compute(sheet, setup).values, units_wanted)
        return found

    def histories(self) -> Iterator[Plain]:
        """Histories of units that have more than one setup, worst units first, as far as there is time."""
        end = time.monotonic() + REMEMBERING
        for unit in worst_first(self.fleet):
            if time.monotonic() > end:
                return
            found = history(self.desk, self.caller, unit.line.unit, self.auditor, self.now)
            if found is not None:
                yield found


def history(desk: Desk, caller: Caller, unit: str, auditor: Auditor, now: float) -> Plain | None:
    """A unit's history, None where its setups tell of none."""
    with desk.store.reading(caller.organisation, now) as work:
        row = units.find(work, unit)
        rows = list(setups.in_order(work, unit)) if row is not None and row.setups > 1 else []
    told: list[tuple[SetupRow, Setup]] = []
    unread = []
    for one in rows:
        try:
            told.append((one, read_setup(one.text, one.id, auditor.rulebook)))
        except BadInput:
            unread.append(one.id)
    if row is None or len(told) < 2:
        return None
    try:
        found = history_of(auditor.rulebook, auditor.sheet, [setup for _, setup in told], now, row.engine_hours)
    except BadInput:
        return None
    return history_json(found, [one for one, _ in told], unread, auditor.rulebook)


def _owners(work: Work) -> Iterator[tuple[str, str]]:
    after, most = "", 500
    while True:
        found = units.page(work, after, most)
        yield from ((one.id, one.owner) for one in found)
        if len(found) < most:
            return
        after = found[-1].id


def _line(number: int, row: SetupRow, answer: Answer, owner: str) -> UnitLine:
    envelope, counts, findings = answer.envelope, answer.counts, answer.findings
    return UnitLine(
        row=number, unit=row.unit, farm=envelope.owner or owner, serial=envelope.serial,
        build_year=envelope.build_year, card=answer.card, crop=answer.crop, header_kind=answer.header_kind,
        taken=row.taken, by=row.taken_by, held=answer.clearance is Clearance.HELD, kept=counts.kept,
        broken=counts.broken, unknown=counts.unknown, worst=findings[0].level if findings else None, work=None,
    )  # fmt: skip


def _findings(number: int, answer: Answer, names: Mapping[str, Quantity]) -> Iterator[FindingLine]:
    for one in answer.findings:
        yield FindingLine(
            row=number, rule=one.rule, on=one.on, station=one.station, verdict=one.verdict, level=one.level,
            index=one.hazard, holds=one.holds, downtime=one.downtime, share=one.share, people=one.people,
            quantity=one.quantity, side=one.side,
            found=shown(one.found, names[one.quantity]) if one.quantity else "", wanted=one.wanted,
        )  # fmt: skip


def _work(branches: Branches | None) -> UnitWork | None:
    """Of the ways in which undecided builds may turn out, the longest work; None where none was found in time."""
    if branches is None:
        return None
    plans = [branch["plan"] for branch in branches if branch["plan"] is not None]
    if len(plans) < len(branches):
        return UnitWork(0.0, 0, (), (), 0, True, True)
    worst = max(plans, key=lambda plan: float(plan["minutes"]))
    return UnitWork(
        worst["minutes"], worst["people"], tuple(worst["parts_needed"]), tuple(worst["tools"]), len(worst["steps"]),
        all(plan["proven"] for plan in plans), False,
    )  # fmt: skip
