"""By what a unit is known elsewhere. A row is never changed, only ended; whatever moved stands there twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, select

from api.store.database import Work
from api.store.rows import add_rows, change_rows
from api.store.tables import identities


@dataclass(frozen=True, slots=True)
class Identity:
    """One identity of one unit.

    Attributes:
        issuer: within what the value is unique.   value: as it is compared, ``shown``: as it was written.
        proof: why it is taken to be this unit's.   origin: the import that brought it, '' for none.
        added, ended: s since 1970.
    """

    id: str
    unit: str
    scheme: str
    issuer: str
    value: str
    shown: str
    proof: str
    origin: str
    added: float
    ended: float | None = None


def add(work: Work, some: Sequence[Identity]) -> None:
    """Puts identities on record."""
    add_rows(work, identities, some)


def end(work: Work, ends: Mapping[str, float]) -> None:
    """Identities stand for their units no more, by their ids and when they ended."""
    change_rows(work, identities, [{"id": id, "ended": at} for id, at in ends.items()])


def find(work: Work, id: str) -> Identity | None:
    """An identity by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(identities.c.id == id)).one_or_none()
    return None if row is None else _identity(row)


def held(work: Work, scheme: str, issuer: str, value: str) -> Identity | None:
    """The identity that stands now for this value, None if no unit has it."""
    wanted = _all(work).where(
        identities.c.scheme == scheme, identities.c.issuer == issuer, identities.c.value == value,
        identities.c.ended.is_(None),
    )  # fmt: skip
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _identity(row)


def of_unit(work: Work, unit: str, every: bool = False) -> list[Identity]:
    """A unit's identities in the order in which they came; those that stand, or every one."""
    wanted = _all(work).where(identities.c.unit == unit)
    if not every:
        wanted = wanted.where(identities.c.ended.is_(None))
    return [_identity(row) for row in work.connection.execute(wanted.order_by(identities.c.added, identities.c.id))]


def moved_from(work: Work, one: Identity) -> Identity | None:
    """The identity of another unit that ended when this one took its place, None if there was none."""
    wanted = _all(work).where(
        identities.c.scheme == one.scheme, identities.c.issuer == one.issuer, identities.c.value == one.value,
        identities.c.ended == one.added, identities.c.unit != one.unit,
    )  # fmt: skip
    row = work.connection.execute(wanted.limit(1)).one_or_none()
    return None if row is None else _identity(row)


def of_import(work: Work, origin: str) -> list[Identity]:
    """Identities that an import brought and that stand."""
    wanted = _all(work).where(identities.c.origin == origin, identities.c.ended.is_(None))
    return [_identity(row) for row in work.connection.execute(wanted.order_by(identities.c.unit, identities.c.id))]


def _all(work: Work) -> Select[Any]:
    return select(identities).where(identities.c.organisation == work.organisation)


def _identity(row: Row[Any]) -> Identity:
    return Identity(**{name: getattr(row, name) for name in Identity.__slots__})
