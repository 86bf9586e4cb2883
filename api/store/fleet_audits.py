"""Fleet audits that were asked for, and what came of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, func, insert, select, update

from api.store.database import Work
from api.store.tables import fleet_audits

RUNNING, DONE, FAILED, CANCELLED = "running", "done", "failed", "cancelled"


@dataclass(frozen=True, slots=True)
class FleetAudit:
    """One fleet audit.

    Attributes:
        input: name of the file that is audited, in the audit's own folder.
        rulebook: digest of the rulebook that judges.
        state: running, done, failed or cancelled.   why: it failed.
        summary: JSON, '' until it is done.
        begun, ended: s since 1970.
    """

    organisation: str
    id: str
    number: int
    name: str
    input: str
    rulebook: str
    hold_at: str
    plan: bool
    state: str
    why: str
    summary: str
    begun: float
    begun_by: str
    ended: float | None = None


def next_number(work: Work) -> int:
    """The number of the organisation's next fleet audit."""
    last = select(func.max(fleet_audits.c.number)).where(fleet_audits.c.organisation == work.organisation)
    return 1 + (work.connection.scalar(last) or 0)


def add(work: Work, audit: FleetAudit) -> None:
    """Puts a fleet audit on record."""
    work.connection.execute(insert(fleet_audits).values({name: getattr(audit, name) for name in FleetAudit.__slots__}))


def find(work: Work, id: str) -> FleetAudit | None:
    """A fleet audit of the organisation, None if there is none of this id."""
    row = work.connection.execute(_all(work).where(fleet_audits.c.id == id)).one_or_none()
    return None if row is None else _audit(row)


def page(work: Work, before: int | None, most: int) -> list[FleetAudit]:
    """Fleet audits of the organisation, the last begun first, from below number ``before``."""
    wanted = _all(work)
    if before is not None:
        wanted = wanted.where(fleet_audits.c.number < before)
    rows = work.connection.execute(wanted.order_by(fleet_audits.c.number.desc()).limit(most))
    return [_audit(row) for row in rows]


def end(work: Work, id: str, state: str, why: str = "", summary: str = "") -> bool:
    """Notes that a running fleet audit has ended; False if it had before."""
    where = (fleet_audits.c.organisation == work.organisation, fleet_audits.c.id == id, fleet_audits.c.state == RUNNING)
    done = work.connection.execute(
        update(fleet_audits).where(*where).values(state=state, why=why, summary=summary, ended=work.now)
    )
    return done.rowcount == 1


def running(connection: Connection) -> list[FleetAudit]:
    """Every running fleet audit of every organisation, the first begun first."""
    wanted = select(fleet_audits).where(fleet_audits.c.state == RUNNING).order_by(fleet_audits.c.begun)
    return [_audit(row) for row in connection.execute(wanted)]


def _all(work: Work) -> Select[Any]:
    return select(fleet_audits).where(fleet_audits.c.organisation == work.organisation)


def _audit(row: Row[Any]) -> FleetAudit:
    return FleetAudit(**{name: getattr(row, name) for name in FleetAudit.__slots__})
