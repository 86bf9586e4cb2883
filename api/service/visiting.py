"""Visits: planned from the work of a fleet audit, put by hand, changed, cancelled.

Planned visits to a farm stand until the next plan that names the farm. It takes their place from its own first day on:
one with the same technician, farm and day stays the same visit, changed where its times or work are others; the rest
are cancelled. Visits put by hand, planned ones before that day, and those to other farms stay as they are: their units
and days are not planned anew. So some farms can be planned without those of a colleague.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from typing import Any

from api.fleet_lines import read_fleet
from api.fleet_wire import schedule_json
from api.service.desk import Desk
from api.service.fleet_jobs import OUT, NoFolder
from api.service.recording import Moved
from api.store import fleet_audits, units, visits
from api.store.database import Work
from api.store.events import canonical
from api.store.fleet_audits import DONE, FleetAudit
from api.store.visits import Piece, Visit, VisitPlan
from audit.fleet.scheduling import Schedule, schedule
from audit.fleet.units import Audited, Fleet
from audit.fleet.visits import Visits, read_visits

MOST_UNITS = 1_000
"""Units whose visits are planned while somebody waits; it takes about ten seconds of one core."""
MOST_SETUPS = 20_000
"""Setups of a fleet audit that are read while somebody waits."""
EFFORT, MOST_EFFORT = 5.0, 20.0
"""How long to look for better visits, in the solver's own time: about a second each."""
LACKS_SOLVER = "this server can't plan visits: OR-Tools is not installed (the extra 'schedule')"
SUPERSEDED = "a newer plan does without it"


class NotPlanned(Exception):
    """No visits can be planned, and why."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan that is not on record yet.

    Attributes:
        farms, first: planned visits to these from this day on give way to it.
        made: its visits, without ids.   text: as ``VisitPlan`` has it.
        stood_on: the visits' edition that it was made beside.
    """

    audit: FleetAudit
    farms: frozenset[str]
    first: str
    made: tuple[Visit, ...]
    text: bytes
    stood_on: str


def plan_visits(desk: Desk, organisation: str, audit: str, asked: str, effort: float) -> Planned:
    """Plans the visits that do the work of a fleet audit; takes as long as the effort.

    Args:
        asked: the visits file, YAML or JSON: technicians, farms, harvest dates.

    Raises: NotPlanned; BadInput with every problem of the file.
    """
    with desk.store.reading(organisation, desk.clock()) as work:
        job = fleet_audits.find(work, audit)
        if job is None:
            raise NotPlanned(f"there is no fleet audit {audit}")
        cards = tuple(desk.in_force.version(work, job.rulebook).rulebook.machines) if job.state == DONE else ()
        today = datetime.fromtimestamp(work.now, UTC).date()
        stood_on = visits.edition(work)
        standing = list(visits.every(work, first=today.isoformat()))
        owners = {one.id: one.owner for one in units.of_fleet(work)}
    wanted = read_visits(asked.encode(), "", cards)
    if wanted.start < today - timedelta(days=1):  # somewhere it is still the day before
        raise NotPlanned(f"it begins on {wanted.start}, which is over; begin it today or later")
    fleet = _at_their_farms(_audited(desk, organisation, job), owners)
    farms, first = frozenset(one.name for one in wanted.farms), wanted.start.isoformat()
    to_do = sum(1 for unit in fleet.units if unit.findings and unit.line.farm in farms)
    if to_do > MOST_UNITS:
        raise NotPlanned(f"{to_do:,} units on these farms need work; name fewer farms, for {MOST_UNITS:,} at the most")
    staying = [one for one in standing if not _gives_way(one, farms, first)]
    free, taken = _without_visits(fleet, staying)
    try:
        found = schedule(free.units, _with_days_left(wanted, staying), effort)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] != "ortools":
            raise
        raise NotPlanned(LACKS_SOLVER) from error
    plain = schedule_json(found, free)
    left_out = [*plain["left_out"], *taken]
    sums = {name: plain[name] for name in ("done", "proven", "cost", "least")}
    text = canonical({"asked": asked, "effort": effort, **sums, "left_out": left_out})
    return Planned(job, farms, first, tuple(_made(found, free)), text, stood_on)


def put_plan(work: Work, planned: Planned) -> VisitPlan:
    """Puts a plan on record in place of the one before. Raises Moved if visits were changed since it was planned."""
    if visits.edition(work) != planned.stood_on:
        raise Moved
    id = f"plan-{secrets.token_hex(8)}"
    before = {
        _key(one): one for one in visits.every(work, planned.first) if _gives_way(one, planned.farms, planned.first)
    }
    new, changed, same = [], [], 0
    for one in planned.made:
        old = before.pop(_key(one), None)
        if old is None:
            new.append(replace(one, id=_new_id(), plan=id, created=work.now, created_by=work.who, changed=work.now))
        elif _content(one) != _content(old):
            changed.append(replace(old, arrives=one.arrives, begins=one.begins, leaves=one.leaves, work=one.work))
        else:
            same += 1
    plan = VisitPlan(
        id, visits.next_number(work), planned.audit.id, planned.audit.rulebook,
        sha256(planned.text).hexdigest(), planned.text, work.now, work.who,
    )  # fmt: skip
    sums = {"planned": len(new), "changed": len(changed), "unchanged": same, "cancelled": len(before)}
    visits.add_plan(work, plan, sums)
    visits.cancel(work, list(before.values()), SUPERSEDED)
    visits.change(work, changed)
    visits.add(work, new)
    return plan


def put_visit(work: Work, id: str, before: Visit | None, said: Mapping[str, Any]) -> Visit:
    """Puts a visit on record as somebody says it, or changes one.

    Args:
        said: technician, farm, arrives, begins, leaves and work of the visit.
    """
    if before is None:
        one = Visit(id, "", edition=1, created=work.now, created_by=work.who, changed=work.now, **said)
        visits.add(work, [one])
        return one
    after = replace(before, **said)
    return before if _content(after) == _content(before) else visits.change(work, [after])[0]


def result_of(plan: VisitPlan) -> dict[str, Any]:
    """What was asked of a plan and what came of it, beside its visits."""
    found: dict[str, Any] = json.loads(plan.text)
    return found


def farms_of(desk: Desk, organisation: str, audit: FleetAudit) -> dict[str, int]:
    """Farms of an audited fleet with how many units need work there; '' for units of no farm. Raises NotPlanned."""
    with desk.store.reading(organisation, desk.clock()) as work:
        owners = {one.id: one.owner for one in units.of_fleet(work)}
    found: dict[str, int] = {}
    for unit in _at_their_farms(_audited(desk, organisation, audit), owners).units:
        if unit.findings:
            found[unit.line.farm] = found.get(unit.line.farm, 0) + 1
    return dict(sorted(found.items()))


def _audited(desk: Desk, organisation: str, job: FleetAudit) -> Fleet:
    """The fleet as an audit found it, with its work."""
    if job.state != DONE:
        raise NotPlanned("the fleet audit is not done")
    if not job.plan:
        raise NotPlanned("the fleet audit planned no work; begin one that also plans the work for every unit")
    setups = json.loads(job.summary)["setups"]
    if setups > MOST_SETUPS:
        raise NotPlanned(f"the fleet has {setups:,} setups; {MOST_SETUPS:,} are the most that are read here")
    try:
        folder = desk.jobs.place(organisation, job.id) / OUT
    except NoFolder as error:
        raise NotPlanned(str(error)) from None
    if not folder.is_dir():
        raise NotPlanned("the files of the fleet audit are not on this server")
    return read_fleet(folder)


def _at_their_farms(fleet: Fleet, owners: Mapping[str, str]) -> Fleet:
    """Units whose setups name no farm are where the record says."""
    return replace(fleet, units=tuple(_at_its_farm(one, owners.get(one.line.unit, "")) for one in fleet.units))


def _at_its_farm(unit: Audited, owner: str) -> Audited:
    return unit if unit.line.farm or not owner else unit._replace(line=replace(unit.line, farm=owner))


def _gives_way(one: Visit, farms: frozenset[str], first: str) -> bool:
    """Whether a visit gives way to a plan of these farms from a day on."""
    return bool(one.plan) and one.farm in farms and one.day >= first


def _without_visits(fleet: Fleet, staying: Sequence[Visit]) -> tuple[Fleet, list[dict[str, Any]]]:
    """The fleet without the units that visits which stay go to, and those, as ``schedule_json`` tells what is left."""
    visited = {unit: one for one in reversed(staying) for unit in one.units}
    left = [
        {
            "unit": unit.line.unit, "farm": unit.line.farm, "held": unit.line.held,
            "why": f"{visited[unit.line.unit].technician} goes there already on {visited[unit.line.unit].day}",
        }
        for unit in fleet.units
        if unit.findings and unit.line.unit in visited
    ]  # fmt: skip
    return replace(fleet, units=tuple(one for one in fleet.units if one.line.unit not in visited)), left


def _with_days_left(wanted: Visits, staying: Sequence[Visit]) -> Visits:
    """The same without the days on which a technician goes somewhere already."""
    busy = {(one.technician, one.day) for one in staying}
    return replace(
        wanted,
        technicians=tuple(
            replace(one, days=tuple(day for day in one.days if (one.name, day.isoformat()) not in busy))
            for one in wanted.technicians
        ),
    )


def _made(found: Schedule, fleet: Fleet) -> Iterator[Visit]:
    """The visits of a schedule. Parts go with the first to come, as ``schedule_json`` has it."""
    lines = {unit.line.unit: unit.line for unit in fleet.units}
    loaded: set[str] = set()
    for day in found.days:
        first = {piece.unit for visit in day.visits for piece in visit.pieces} - loaded
        loaded |= first
        for visit in day.visits:
            pieces: list[Piece] = []
            for piece in visit.pieces:
                work = lines[piece.unit].work
                assert work is not None  # a job has work
                pieces.append(
                    {
                        "unit": piece.unit, "minutes": piece.minutes, "technicians": piece.crew, "part": piece.part + 1,
                        "parts": list(work.parts) if piece.unit in first else [], "tools": list(work.tools),
                    }
                )  # fmt: skip
            arrives, begins, leaves = (_local(day.day, at) for at in (visit.arrives, visit.begins, visit.leaves))
            yield Visit(
                "", "", day.technician, visit.farm, arrives, begins, leaves, tuple(pieces), 1, 0.0, "", 0.0
            )  # fmt: skip


def _local(day: date, minutes: int) -> str:
    return (datetime.combine(day, time()) + timedelta(minutes=minutes)).isoformat(timespec="minutes")


def _key(one: Visit) -> tuple[str, str, str]:
    """What makes a planned visit the same as one of the plan before."""
    return one.technician, one.farm, one.day


def _content(one: Visit) -> tuple[Any, ...]:
    return one.technician, one.farm, one.arrives, one.begins, one.leaves, [dict(piece) for piece in one.work]


def _new_id() -> str:
    return f"visit-{secrets.token_hex(8)}"
