"""Setups as they were recorded. They are never changed, only followed by newer ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, insert, select

from api.store.database import Work
from api.store.tables import setups, units

_AT_ONCE = 200
"""Texts that are asked for together: a few megabytes."""


@dataclass(frozen=True, slots=True)
class SetupRow:
    """One setup on record.

    Attributes:
        number: 1 for the first recorded of the unit.
        text: RFC 8785 JSON, the unit's identity filled in.   digest: SHA-256 of it.
        taken: when it was taken, recorded: when it reached us, s since 1970.
        engine_hours: as given with it, h.
    """

    unit: str
    number: int
    id: str
    digest: str
    text: bytes
    card: str
    crop: str
    header_kind: str
    state: str
    taken: float
    taken_by: str
    engine_hours: float | None
    recorded: float
    recorded_by: str


def add(work: Work, setup: SetupRow) -> None:
    """Puts a setup on record."""
    values = {name: getattr(setup, name) for name in SetupRow.__slots__}
    work.connection.execute(insert(setups).values(organisation=work.organisation, **values))


def find(work: Work, unit: str, id: str) -> SetupRow | None:
    """A setup of a unit, None if there is none of this id."""
    row = work.connection.execute(_all(work).where(setups.c.unit == unit, setups.c.id == id)).one_or_none()
    return None if row is None else _setup(row)


def numbered(work: Work, unit: str, number: int) -> SetupRow | None:
    """The setup that was recorded as this number."""
    row = work.connection.execute(_all(work).where(setups.c.unit == unit, setups.c.number == number)).one_or_none()
    return None if row is None else _setup(row)


def newest(work: Work, unit: str) -> SetupRow | None:
    """The setup that was taken last; of several taken at once, the one recorded last."""
    wanted = _all(work).where(setups.c.unit == unit).order_by(setups.c.taken.desc(), setups.c.number.desc()).limit(1)
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _setup(row)


def page(work: Work, unit: str, before: int | None, most: int) -> list[SetupRow]:
    """Setups of a unit, the one recorded last first, from below number ``before``."""
    wanted = _all(work).where(setups.c.unit == unit)
    if before is not None:
        wanted = wanted.where(setups.c.number < before)
    return [_setup(row) for row in work.connection.execute(wanted.order_by(setups.c.number.desc()).limit(most))]


def of_all_units(work: Work) -> Iterator[SetupRow]:
    """The newest setup of every unit that is not retired, in order of the units' ids."""
    ids = select(units.c.id).where(units.c.organisation == work.organisation, units.c.retired.is_(None))
    for (unit,) in list(work.connection.execute(ids.order_by(units.c.id))):
        found = newest(work, unit)
        if found is not None:
            yield found


@dataclass(frozen=True, slots=True)
class Newest:
    """The newest setup of a unit without its text."""

    unit: str
    id: str
    number: int
    digest: str
    crop: str
    header_kind: str
    state: str
    taken: float
    taken_by: str
    engine_hours: float | None


def newest_of_all(work: Work) -> dict[str, Newest]:
    """The newest setup of every unit that is not retired, by unit, in one look."""
    other = setups.alias("other")
    last = (
        select(other.c.number)
        .where(other.c.organisation == work.organisation, other.c.unit == units.c.id)
        .order_by(other.c.taken.desc(), other.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )
    of_unit = (setups.c.organisation == work.organisation, setups.c.unit == units.c.id, setups.c.number == last)
    where = (units.c.organisation == work.organisation, units.c.retired.is_(None), *of_unit)
    columns = [getattr(setups.c, name) for name in Newest.__slots__]
    return {row.unit: Newest(*row) for row in work.connection.execute(select(*columns).where(*where))}


def texts(work: Work, ids: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Texts of setups by id, some at a time: asked for one by one they take longer than to be judged."""
    for first in range(0, len(ids), _AT_ONCE):
        some = ids[first : first + _AT_ONCE]
        wanted = select(setups.c.id, setups.c.text).where(
            setups.c.organisation == work.organisation, setups.c.id.in_(some)
        )
        for row in work.connection.execute(wanted):
            yield row.id, row.text


def in_order(work: Work, unit: str) -> Iterator[SetupRow]:
    """All setups of a unit in the order in which they were taken."""
    wanted = _all(work).where(setups.c.unit == unit).order_by(setups.c.taken, setups.c.number)
    for row in work.connection.execute(wanted):
        yield _setup(row)


def _all(work: Work) -> Select[Any]:
    return select(setups).where(setups.c.organisation == work.organisation)


def _setup(row: Row[Any]) -> SetupRow:
    return SetupRow(**{name: getattr(row, name) for name in SetupRow.__slots__})
