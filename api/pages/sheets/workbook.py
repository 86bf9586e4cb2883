"""Tables as a workbook (Office Open XML, ECMA-376): numbers as numbers, headings that stay, no formula from a text."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from datetime import UTC, datetime

import xlsxwriter  # type: ignore[import-untyped]

from api.pages.sheets.tables import Cell, Column, Table

_MOST_CHARACTERS = 32_767
"""Most characters of a cell. Source: Excel's specifications and limits, from memory."""
_MOST_NAME = 31
_NOT_IN_NAME = re.compile(r"[\[\]:*?/\\'\n]")
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def workbook(
    tables: Sequence[Table], title: str, about: Sequence[tuple[str, str]], about_name: str, at: float
) -> bytes:
    """The bytes of a workbook; the same for the same arguments.

    Args:
        about: what stands on the last leaf: words and what they say, as the rulebook's digest.
        at: when it was printed, s since 1970.
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {**_OPTIONS, "default_date_format": "yyyy-mm-dd hh:mm"})
    book.set_properties({"title": _kept(title), "created": datetime.fromtimestamp(at, UTC).replace(tzinfo=None)})
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
    plain = book.add_format({"text_wrap": True, "valign": "top"})
    when = book.add_format({"num_format": "yyyy-mm-dd hh:mm", "valign": "top"})
    columns = (Column("", wide=24), Column("", wide=80))
    taken: set[str] = set()
    for table in (*tables, Table(about_name, columns, [(word, said) for word, said in about])):
        leaf = book.add_worksheet(_name(table.name, taken))
        for at_column, column in enumerate(table.columns):
            leaf.set_column(at_column, at_column, column.wide)
            leaf.write_string(0, at_column, column.text, head)
        leaf.freeze_panes(1, 0)
        if table.rows and table.columns[0].head:
            leaf.autofilter(0, 0, len(table.rows), len(table.columns) - 1)
        leaf.repeat_rows(0)
        leaf.set_landscape()
        leaf.fit_to_pages(1, 0)
        leaf.set_footer("&L&A&R&P / &N")
        for at_row, row in enumerate(table.rows, 1):
            for at_column, cell in enumerate(row):
                _write(leaf, at_row, at_column, cell, plain, when)
    book.close()
    return out.getvalue()


def _write(
    leaf: xlsxwriter.worksheet.Worksheet, row: int, column: int, cell: Cell, plain: object, when: object
) -> None:
    if cell is None:
        return
    if isinstance(cell, bool):
        leaf.write_boolean(row, column, cell, plain)
    elif isinstance(cell, datetime):
        leaf.write_datetime(row, column, cell.replace(tzinfo=None), when)
    elif isinstance(cell, str):
        leaf.write_string(row, column, _kept(cell)[:_MOST_CHARACTERS], plain)
    else:
        leaf.write_number(row, column, cell, plain)


def _kept(text: str) -> str:
    """A text without what XML can't hold."""
    return "".join(char for char in text if char == "\n" or char.isprintable())


def _name(wanted: str, taken: set[str]) -> str:
    """A name that a leaf may have, and no other has."""
    kept = "".join(char for char in _kept(wanted) if ord(char) < 0x10000)  # its length is counted in UTF-16
    base = _NOT_IN_NAME.sub(" ", kept).strip()[:_MOST_NAME] or "-"
    name, n = base, 1
    while name.casefold() in taken:
        n += 1
        name = f"{base[: _MOST_NAME - 4]} {n}"
    taken.add(name.casefold())
    return name
