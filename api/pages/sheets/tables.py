"""A sheet's tables: columns with their units, rows of numbers and texts; and how they stand in CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

Cell = str | float | int | bool | datetime | None
"""None for not known, which stays an empty cell; a datetime is in UTC."""


@dataclass(frozen=True, slots=True)
class Column:
    """A heading with the unit of its numbers ('' for none) and its width in characters."""

    head: str
    unit: str = ""
    wide: int = 12

    @property
    def text(self) -> str:
        return f"{self.head} [{self.unit}]" if self.unit else self.head


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a workbook; ``name`` is what its leaf is called."""

    name: str
    columns: tuple[Column, ...]
    rows: Sequence[tuple[Cell, ...]]


_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""With what a cell begins that a spreadsheet program would take for a formula. Source: OWASP, CSV Injection (page of
the OWASP Foundation, from memory)."""


def csv_bytes(table: Table) -> bytes:
    """A table as RFC 4180 text in UTF-8 with a byte order mark, decimal points, times as RFC 3339.

    A text that a spreadsheet program would take for a formula gets an apostrophe before it.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_text(column.text) for column in table.columns])
    for row in table.rows:
        writer.writerow([_written(cell) for cell in row])
    return out.getvalue().encode("utf-8-sig", "replace")


def _written(cell: Cell) -> str | float | int:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.strftime("%Y-%m-%dT%H:%M:%SZ")
    return _text(cell) if isinstance(cell, str) else cell


def _text(text: str) -> str:
    kept = "".join(char for char in text if char in "\n\t" or char.isprintable() or char == " ")
    return f"'{kept}" if kept.startswith(_BEGINS_FORMULA) else kept
