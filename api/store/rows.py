"""Many rows of one table in a statement each: written, changed, taken out. Every row is the organisation's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import Table, bindparam, delete, insert, update

if TYPE_CHECKING:
    from api.store.database import Work


def add_rows(work: Work, table: Table, rows: Sequence[Any]) -> None:
    """Puts rows in, given as mappings or as dataclasses whose fields are the columns."""
    if rows:
        given = [{"organisation": work.organisation, **_values(row)} for row in rows]
        work.connection.execute(insert(table), given)


def change_rows(work: Work, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Sets columns of the rows of these ids; each mapping has ``id`` and the same columns."""
    if not rows:
        return
    columns: dict[str, Any] = {name: bindparam(f"new_{name}") for name in rows[0] if name != "id"}
    where = (table.c.organisation == work.organisation, table.c.id == bindparam("new_id"))
    given = [{f"new_{name}": value for name, value in row.items()} for row in rows]
    work.connection.execute(update(table).where(*where).values(**columns), given)


def drop_rows(work: Work, table: Table, ids: Sequence[str]) -> None:
    """Takes out the rows of these ids, where there are any."""
    if ids:
        where = (table.c.organisation == work.organisation, table.c.id == bindparam("old_id"))
        work.connection.execute(delete(table).where(*where), [{"old_id": id} for id in ids])


def _values(row: Any) -> Mapping[str, Any]:
    return row if isinstance(row, Mapping) else {name: getattr(row, name) for name in type(row).__slots__}
