"""Planned visits and the plans that made them. A visit is never taken out: one that is off is cancelled."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Row, func, insert, select, tuple_

from api.store import events
from api.store.database import Work
from api.store.events import Saying, canonical
from api.store.rows import add_rows, change_rows
from api.store.visit_tables import visit_plans, visits

Piece = Mapping[str, Any]
"""What is done on one unit: ``unit``, ``minutes``, ``technicians`` at the same time, ``part`` (1 for the first of the
visits that its work takes), ``parts`` and ``tools`` to bring."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Somebody goes to a farm.

    Attributes:
        plan: the plan that made it, '' for a visit put by hand.
        arrives, begins, leaves: local time without an offset, as ``2026-09-15T08:15``.
        edition: counts changes.   created, changed, cancelled: s since 1970.
    """

    id: str
    plan: str
    technician: str
    farm: str
    arrives: str
    begins: str
    leaves: str
    work: tuple[Piece, ...]
    edition: int
    created: float
    created_by: str
    changed: float
    cancelled: float | None = None

    @property
    def day(self) -> str:
        """The date on which it begins."""
        return self.begins[:10]

    @property
    def units(self) -> tuple[str, ...]:
        """Units that are worked on."""
        return tuple(str(piece["unit"]) for piece in self.work)


@dataclass(frozen=True, slots=True)
class VisitPlan:
    """One plan of visits.

    Attributes:
        fleet_audit: id of the fleet audit whose work it places.   rulebook: digest of what judged it.
        text: canonical JSON of what was asked and what came of it.   digest: SHA-256 of the text.
    """

    id: str
    number: int
    fleet_audit: str
    rulebook: str
    digest: str
    text: bytes
    at: float
    by: str


def add(work: Work, some: Sequence[Visit]) -> None:
    """Puts new visits on record."""
    add_rows(work, visits, [_columns(one) for one in some])
    events.append_all(work, [_saying("visit.planned", one) for one in some])


def change(work: Work, some: Sequence[Visit]) -> list[Visit]:
    """Puts visits on record as they are now, in an edition of their own."""
    after = [replace(one, edition=one.edition + 1, changed=work.now) for one in some]
    change_rows(work, visits, [_columns(one) for one in after])
    events.append_all(work, [_saying("visit.changed", one) for one in after])
    return after


def cancel(work: Work, some: Sequence[Visit], why: str) -> list[Visit]:
    """Takes visits off, for ever."""
    after = [replace(one, edition=one.edition + 1, changed=work.now, cancelled=work.now) for one in some]
    change_rows(work, visits, [_columns(one) for one in after])
    events.append_all(work, [_saying("visit.cancelled", one, why=why) for one in after])
    return after


def find(work: Work, id: str) -> Visit | None:
    """A visit of the organisation, cancelled or not; None if there is none of this id."""
    row = work.connection.execute(_all(work).where(visits.c.id == id)).one_or_none()
    return None if row is None else _visit(row)


def every(
    work: Work, first: str = "", last: str = "", after: tuple[str, str] = ("", ""), cancelled: bool = False
) -> Iterator[Visit]:
    """Visits in the order in which they begin.

    Args:
        first, last: dates, both inclusive, '' for no limit.   after: beginning and id of the last one seen.
        cancelled: also those that are off.
    """
    wanted = _all(work)
    if first:
        wanted = wanted.where(visits.c.begins >= first)
    if last:
        wanted = wanted.where(visits.c.begins <= f"{last}T99")
    if after != ("", ""):
        wanted = wanted.where(tuple_(visits.c.begins, visits.c.id) > after)
    if not cancelled:
        wanted = wanted.where(visits.c.cancelled.is_(None))
    rows = work.connection.execute(wanted.order_by(visits.c.begins, visits.c.id), execution_options={"yield_per": 200})
    yield from map(_visit, rows)


def edition(work: Work) -> str:
    """What all visits together are at; another one after every change of any, '' before there is one."""
    own = visits.c.organisation == work.organisation
    count, editions = work.connection.execute(select(func.count(), func.sum(visits.c.edition)).where(own)).one()
    return f"{count}-{editions}" if count else ""


def add_plan(work: Work, plan: VisitPlan, sums: Mapping[str, int]) -> None:
    """Puts a plan on record; ``sums``: how many visits are new, changed, unchanged and cancelled by it."""
    values = {name: getattr(plan, name) for name in VisitPlan.__slots__}
    work.connection.execute(insert(visit_plans).values(organisation=work.organisation, **values))
    content = {
        "number": plan.number, "fleet_audit": plan.fleet_audit, "rulebook": plan.rulebook, "digest": plan.digest, **sums
    }  # fmt: skip
    events.append(work, "visit-plan.made", f"visit-plan/{plan.id}", content, after=plan.digest)


def next_number(work: Work) -> int:
    """The number of the organisation's next plan."""
    last = select(func.max(visit_plans.c.number)).where(visit_plans.c.organisation == work.organisation)
    return 1 + (work.connection.scalar(last) or 0)


def find_plan(work: Work, id: str) -> VisitPlan | None:
    """A plan of the organisation, None if there is none of this id."""
    wanted = select(visit_plans).where(visit_plans.c.organisation == work.organisation, visit_plans.c.id == id)
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _plan(row)


def plans(work: Work, before: int | None, most: int) -> list[VisitPlan]:
    """Plans of the organisation, the last first, from below number ``before``."""
    wanted = select(visit_plans).where(visit_plans.c.organisation == work.organisation)
    if before is not None:
        wanted = wanted.where(visit_plans.c.number < before)
    return [_plan(row) for row in work.connection.execute(wanted.order_by(visit_plans.c.number.desc()).limit(most))]


def _all(work: Work) -> Any:
    return select(visits).where(visits.c.organisation == work.organisation)


def _visit(row: Row[Any]) -> Visit:
    values = {name: getattr(row, name) for name in Visit.__slots__}
    return Visit(**{**values, "work": tuple(json.loads(row.work))})


def _plan(row: Row[Any]) -> VisitPlan:
    return VisitPlan(**{name: getattr(row, name) for name in VisitPlan.__slots__})


def _columns(one: Visit) -> dict[str, Any]:
    values = {name: getattr(one, name) for name in Visit.__slots__}
    return {**values, "work": canonical(list(one.work)).decode()}


def _saying(what: str, one: Visit, **more: str) -> Saying:
    """What the record says of a visit, and other systems are told beside it."""
    content = {
        "technician": one.technician, "farm": one.farm, "arrives": one.arrives, "begins": one.begins,
        "leaves": one.leaves, "work": [dict(piece) for piece in one.work], "plan": one.plan, **more,
    }  # fmt: skip
    told = {
        "day": one.day, "edition": one.edition, "minutes": sum(piece["minutes"] for piece in one.work),
        "units": list(one.units), "count": len(one.work),
        **{name: sorted({each for piece in one.work for each in piece[name]}) for name in ("parts", "tools")},
    }  # fmt: skip
    return Saying(what, f"visit/{one.id}", content, told=told)
