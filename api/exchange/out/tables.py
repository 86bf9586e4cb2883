"""Rows as CSV, JSON and lines of JSON.

A text that a spreadsheet would take for a formula gets an apostrophe in front of it in CSV (OWASP, "CSV Injection";
from memory). CSV is that of RFC 4180, in UTF-8.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TextIO

Row = Mapping[str, Any]
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What a formula begins with, in full width too, as some spreadsheets fold it."""


def write_csv(rows: Iterable[Row], names: Sequence[str], stream: TextIO) -> None:
    """One line a row, below a line of names; the stream must not translate line ends."""
    lines = csv.writer(stream, lineterminator="\r\n")
    lines.writerow(names)
    for row in rows:
        lines.writerow([cell(row.get(name)) for name in names])


def write_json(rows: Iterable[Row], stream: TextIO) -> None:
    """An array, one row a line."""
    before = "[\n"
    for row in rows:
        stream.write(before + json.dumps(row, ensure_ascii=False))
        before = ",\n"
    stream.write("[]\n" if before == "[\n" else "\n]\n")


def write_lines(rows: Iterable[Row], stream: TextIO) -> None:
    """One JSON object a line."""
    for row in rows:
        stream.write(json.dumps(row, ensure_ascii=False) + "\n")


def cell(value: Any) -> Any:
    """A value as it stands in CSV: '' for not known."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"'{value}" if value.lstrip(" ").startswith(_FORMULA) else value.replace("\0", "")
    return value
