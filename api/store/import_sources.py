"""Addresses that are asked for fleet snapshots, again and again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, insert, select, update

from api.store.database import Work
from api.store.tables import import_sources


@dataclass(frozen=True, slots=True)
class Source:
    """One source.

    Attributes:
        period: shortest time between two polls, s.   token: where the token is, never the token itself.
        polled: when it was asked last, s since 1970.   outcome: what came of it.
    """

    id: str
    format: str
    address: str
    period: float
    token: str
    added: float
    polled: float | None = None
    outcome: str = ""
    ended: float | None = None


def add(work: Work, one: Source) -> None:
    """Puts a source on record."""
    values = {name: getattr(one, name) for name in Source.__slots__}
    work.connection.execute(insert(import_sources).values(organisation=work.organisation, **values))


def asked(work: Work, id: str, outcome: str) -> None:
    """Notes that a source was asked now, and what came of it."""
    _change(work, id, polled=work.now, outcome=outcome)


def end(work: Work, id: str) -> None:
    """A source that is asked no more."""
    _change(work, id, ended=work.now)


def find(work: Work, id: str) -> Source | None:
    """A source by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(import_sources.c.id == id)).one_or_none()
    return None if row is None else _source(row)


def every(work: Work) -> list[Source]:
    """Sources that are asked, in order of id."""
    wanted = _all(work).where(import_sources.c.ended.is_(None)).order_by(import_sources.c.id)
    return [_source(row) for row in work.connection.execute(wanted)]


def _change(work: Work, id: str, **values: Any) -> None:
    where = (import_sources.c.organisation == work.organisation, import_sources.c.id == id)
    work.connection.execute(update(import_sources).where(*where).values(**values))


def _all(work: Work) -> Select[Any]:
    return select(import_sources).where(import_sources.c.organisation == work.organisation)


def _source(row: Row[Any]) -> Source:
    return Source(**{name: getattr(row, name) for name in Source.__slots__})
