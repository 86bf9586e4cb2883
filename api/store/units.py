"""Units: one physical machine each."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, func, select

from api.store.database import Work
from api.store.events import canonical
from api.store.rows import add_rows, change_rows
from api.store.tables import units


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A unit as it is on record.

    Attributes:
        engine_hours: highest that is known, h.   hours_at: when it was known, s since 1970.
        edition: counts its changes.   setups: how many setups it has.
        changed_after: how many it had when what it is (card, serial, build year, what is fitted) last changed.
    """

    id: str
    card: str
    serial: str
    build_year: int | None
    fitted: Mapping[str, str]
    owner: str
    engine_hours: float | None
    hours_at: float | None
    edition: int
    changed_after: int
    setups: int
    created: float
    retired: float | None

    def identity(self) -> dict[str, Any]:
        """What it is, in the words of a setup's ``unit``; a setup that says otherwise is of another machine."""
        found: dict[str, Any] = {"id": self.id, "card": self.card}
        if self.serial:
            found["serial"] = self.serial
        if self.build_year is not None:
            found["build_year"] = self.build_year
        if self.fitted:
            found["fitted"] = dict(self.fitted)
        return found


def find(work: Work, id: str) -> UnitRow | None:
    """A unit by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(units.c.id == id)).one_or_none()
    return None if row is None else _unit(row)


def page(work: Work, after: str, most: int, card: str = "", owner: str = "", only: Sequence[str] = ()) -> list[UnitRow]:
    """Units in order of id, from the one after ``after``; ``only`` these ids, if any are given."""
    wanted = _all(work).where(units.c.id > after)
    if card:
        wanted = wanted.where(units.c.card == card)
    if owner:
        wanted = wanted.where(units.c.owner == owner)
    if only:
        wanted = wanted.where(units.c.id.in_(only))
    return [_unit(row) for row in work.connection.execute(wanted.order_by(units.c.id).limit(most))]


def of_fleet(work: Work) -> list[UnitRow]:
    """Every unit that is not retired, in order of id."""
    return [
        _unit(row) for row in work.connection.execute(_all(work).where(units.c.retired.is_(None)).order_by(units.c.id))
    ]


def with_serial(work: Work, serial: str) -> list[UnitRow]:
    """Units of a serial in whatever case, in order of id."""
    wanted = _all(work).where(func.lower(func.trim(units.c.serial)) == serial.strip().lower())
    return [_unit(row) for row in work.connection.execute(wanted.order_by(units.c.id))]


def add(work: Work, *some: UnitRow) -> None:
    """Puts new units on record."""
    add_rows(work, units, [_columns(unit) for unit in some])


def change(work: Work, *some: UnitRow) -> None:
    """Puts changed units on record."""
    change_rows(work, units, [_columns(unit) for unit in some])


def _all(work: Work) -> Select[Any]:
    return select(units).where(units.c.organisation == work.organisation)


def _columns(unit: UnitRow) -> dict[str, Any]:
    found = {name: getattr(unit, name) for name in UnitRow.__slots__}
    found["fitted"] = canonical(dict(unit.fitted)).decode()
    return found


def _unit(row: Row[Any]) -> UnitRow:
    return UnitRow(
        row.id, row.card, row.serial, row.build_year, json.loads(row.fitted), row.owner, row.engine_hours,
        row.hours_at, row.edition, row.changed_after, row.setups, row.created, row.retired,
    )  # fmt: skip
