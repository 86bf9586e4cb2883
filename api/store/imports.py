"""Imports from farm systems: what was sent, and every row's fate."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, func, select, update

from api.store.database import Work
from api.store.rows import add_rows
from api.store.tables import imports


@dataclass(frozen=True, slots=True)
class ImportRow:
    """One import.

    Attributes:
        number: counts the imports of an organisation.   name: of the file or address.
        source: the source that was polled, '' for none.   digest: SHA-256 of what was sent and how it was read.
        at, undone: s since 1970.
    """

    id: str
    number: int
    format: str
    name: str
    source: str
    digest: str
    at: float
    by: str
    undone: float | None
    undone_by: str | None


def add(work: Work, some: Sequence[tuple[ImportRow, bytes]]) -> None:
    """Puts imports on record, each with the text of its report."""
    rows = [(one, zlib.compress(text)) for one, text in some]
    add_rows(
        work,
        imports,
        [{**{name: getattr(one, name) for name in ImportRow.__slots__}, "report": packed} for one, packed in rows],
    )


def text_of(report: dict[str, Any]) -> bytes:
    """The text of a report."""
    return json.dumps(report, ensure_ascii=False, separators=(",", ":")).encode()


def end(work: Work, id: str) -> None:
    """Notes that an import was undone."""
    where = (imports.c.organisation == work.organisation, imports.c.id == id)
    work.connection.execute(update(imports).where(*where).values(undone=work.now, undone_by=work.who))


def find(work: Work, id: str) -> ImportRow | None:
    """An import by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(imports.c.id == id)).one_or_none()
    return None if row is None else _row(row)


def same(work: Work, digest: str) -> ImportRow | None:
    """The newest import of the same content that was not undone."""
    wanted = _all(work).where(imports.c.digest == digest, imports.c.undone.is_(None))
    row = work.connection.execute(wanted.order_by(imports.c.number.desc()).limit(1)).one_or_none()
    return None if row is None else _row(row)


def report(work: Work, id: str) -> dict[str, Any]:
    """Every row's fate, as the import left it."""
    packed = work.connection.scalar(
        select(imports.c.report).where(imports.c.organisation == work.organisation, imports.c.id == id)
    )
    found: dict[str, Any] = json.loads(zlib.decompress(packed or b""))
    return found


def page(work: Work, before: int | None, most: int) -> list[ImportRow]:
    """Imports, the newest first, from below number ``before``."""
    wanted = _all(work)
    if before is not None:
        wanted = wanted.where(imports.c.number < before)
    return [_row(row) for row in work.connection.execute(wanted.order_by(imports.c.number.desc()).limit(most))]


def next_number(work: Work) -> int:
    """Number of the next import."""
    wanted = select(func.max(imports.c.number)).where(imports.c.organisation == work.organisation)
    return (work.connection.scalar(wanted) or 0) + 1


def _all(work: Work) -> Select[Any]:
    return select(imports).where(imports.c.organisation == work.organisation)


def _row(row: Row[Any]) -> ImportRow:
    return ImportRow(**{name: getattr(row, name) for name in ImportRow.__slots__})
