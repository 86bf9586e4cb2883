"""Which machine card an organisation uses for a maker's type, as systems write it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, select

from api.store.database import Work
from api.store.rows import add_rows, change_rows
from api.store.tables import type_cards


@dataclass(frozen=True, slots=True)
class TypeCard:
    """One line.

    Attributes:
        maker, type: case folded.   serial_from, serial_to: both inclusive, '' for no limit.
        since, ended: s since 1970.
    """

    id: str
    maker: str
    type: str
    serial_from: str
    serial_to: str
    card: str
    since: float
    ended: float | None = None


def add(work: Work, some: Sequence[TypeCard]) -> None:
    """Puts lines on record."""
    add_rows(work, type_cards, some)


def end(work: Work, ends: Mapping[str, float]) -> None:
    """Lines hold no more, by their ids and when they ended."""
    change_rows(work, type_cards, [{"id": id, "ended": at} for id, at in ends.items()])


def find(work: Work, id: str) -> TypeCard | None:
    """A line by its id, whether it holds or not; None if there is none."""
    wanted = select(type_cards).where(type_cards.c.organisation == work.organisation, type_cards.c.id == id)
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _line(row)


def every(work: Work, maker: str | None = None, type: str | None = None) -> list[TypeCard]:
    """Lines that hold, of one type or of all."""
    wanted = select(type_cards).where(type_cards.c.organisation == work.organisation, type_cards.c.ended.is_(None))
    if maker is not None and type is not None:
        wanted = wanted.where(type_cards.c.maker == maker, type_cards.c.type == type)
    rows = work.connection.execute(wanted.order_by(type_cards.c.maker, type_cards.c.type, type_cards.c.since))
    return [_line(row) for row in rows]


def _line(row: Row[Any]) -> TypeCard:
    return TypeCard(**{name: getattr(row, name) for name in TypeCard.__slots__})
