"""Harvest starts that were cleared, with their certificates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, func, insert, select, update

from api.store.database import Work
from api.store.tables import starts


@dataclass(frozen=True, slots=True)
class StartRow:
    """A cleared start. ``revoked``: since when its certificate is no longer true, None while it is."""

    id: str
    unit: str
    number: int
    setup: str
    rulebook: str
    crop: str
    header_kind: str
    certificate: str
    at: float
    by: str
    expires: float
    revoked: float | None = None
    revoked_why: str | None = None


def next_number(work: Work, unit: str) -> int:
    """The number of a unit's next start."""
    where = (starts.c.organisation == work.organisation, starts.c.unit == unit)
    return 1 + (work.connection.scalar(select(func.max(starts.c.number)).where(*where)) or 0)


def add(work: Work, start: StartRow) -> None:
    """Puts a start on record."""
    values = {name: getattr(start, name) for name in StartRow.__slots__}
    work.connection.execute(insert(starts).values(organisation=work.organisation, **values))


def find(work: Work, id: str) -> StartRow | None:
    """A start of any unit of the organisation, None if there is none of this id."""
    row = work.connection.execute(_all(work).where(starts.c.id == id)).one_or_none()
    return None if row is None else _start(row)


def of_any(connection: Connection, id: str) -> StartRow | None:
    """A start of any organisation, for whoever holds a certificate's short form. None if there is none of this id."""
    row = connection.execute(select(starts).where(starts.c.id == id)).one_or_none()
    return None if row is None else _start(row)


def page(work: Work, unit: str, before: int | None, most: int) -> list[StartRow]:
    """Starts of a unit, the latest first, from below number ``before``."""
    wanted = _all(work).where(starts.c.unit == unit)
    if before is not None:
        wanted = wanted.where(starts.c.number < before)
    return [_start(row) for row in work.connection.execute(wanted.order_by(starts.c.number.desc()).limit(most))]


def good(work: Work, unit: str = "") -> list[StartRow]:
    """Starts whose certificates are still good, of one unit or of all."""
    wanted = _all(work).where(starts.c.revoked.is_(None), starts.c.expires > work.now)
    if unit:
        wanted = wanted.where(starts.c.unit == unit)
    return [_start(row) for row in work.connection.execute(wanted.order_by(starts.c.unit, starts.c.number))]


def revoke(work: Work, id: str, why: str) -> None:
    """Notes that a start's certificate is no longer true."""
    where = (starts.c.organisation == work.organisation, starts.c.id == id, starts.c.revoked.is_(None))
    work.connection.execute(update(starts).where(*where).values(revoked=work.now, revoked_why=why))


def _all(work: Work) -> Select[Any]:
    return select(starts).where(starts.c.organisation == work.organisation)


def _start(row: Row[Any]) -> StartRow:
    return StartRow(**{name: getattr(row, name) for name in StartRow.__slots__})
