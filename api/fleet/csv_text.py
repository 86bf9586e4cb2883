"""Setups out of CSV (RFC 4180), in pieces of bounded size that end between records."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import NamedTuple

from api.fleet.blocks import Piece, Stretch, Text
from api.fleet.streams import Counted
from api.fleet.texts import lines_of
from audit.intake.columns import Grid, Header, from_text
from audit.intake.json_text import MOST_BYTES

COMMAS = ",;\t"
"""Separators of cells; the one that the header has most of is taken."""

csv.field_size_limit(MOST_BYTES)


class Record(NamedTuple):
    """A record: the line it begins at, from 1, its cells, its text, and what is wrong with it as a record."""

    line: int
    cells: list[str]
    text: str
    wrong: str


def header_of(line: bytes) -> tuple[tuple[str, ...], str]:
    """Names of the columns, and the separator. Raises ValueError for a line that is no header."""
    text = line.decode().rstrip("\r\n")
    comma = max(COMMAS, key=text.count)
    return tuple(name.strip() for name in next(csv.reader([text], delimiter=comma), [])), comma


def records_in(stream: Counted, ahead: bytes, columns: tuple[str, ...], comma: str, size: int) -> Iterator[Piece]:
    """Pieces of the records after the header."""
    rest = ahead
    first = 2
    while True:
        more = stream.read(size)
        rest += more
        cut = _between_records(rest) if more else len(rest)
        if not cut and len(rest) > MOST_BYTES:  # a quote that is never closed: its record ends with a line all the same
            cut = rest.rfind(b"\n") + 1 or len(rest)
        if cut:
            text = rest[:cut]
            if setups := _count(text, first, columns, comma):
                stretch = Stretch(stream.count - len(rest), cut)
                yield Piece("csv", text, first, setups, columns, comma, stretch)
            first += text.count(b"\n")
            rest = rest[cut:]
        if not more:
            return


def _between_records(text: bytes) -> int:
    """Where the last whole record ends: after a line end with an even number of quotes before it; 0 for none."""
    end = text.rfind(b"\n") + 1
    while end and text.count(b'"', 0, end) % 2:
        end = text.rfind(b"\n", 0, end - 1) + 1
        if text.count(b'"', 0, end) % 2 and len(text) - end > 65536:  # far from any: look from the front instead
            return _from_front(text)
    return end


def _from_front(text: bytes) -> int:
    found, even = 0, True
    start = 0
    while end := text.find(b"\n", start) + 1:
        even ^= bool(text.count(b'"', start, end) % 2)
        found = end if even else found
        start = end
    return found


def _count(text: bytes, first: int, columns: tuple[str, ...], comma: str) -> int:
    if b'"' not in text:
        return len(lines_of(Text(text)).lines)
    return sum(1 for _ in records(text, first, columns, comma))


def records(text: bytes, first: int, columns: tuple[str, ...], comma: str) -> Iterator[Record]:
    """The records of a piece; blank lines are passed over."""
    plain = text.decode("utf-8", "surrogateescape")
    lines = [line + "\n" for line in plain.split("\n")]
    if lines[-1] == "\n":
        lines.pop()
    reader = csv.reader(lines, delimiter=comma)
    before = 0
    while True:
        wrong = ""
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            cells, wrong = [], f"is no CSV record: {error}."
        said, start = "".join(lines[before : reader.line_num]), first + before
        before = reader.line_num
        if not said.strip():
            continue
        if not wrong and len(cells) != len(columns):
            wrong = f"has {len(cells)} cells, the header has {len(columns)} columns."
        if not wrong and not said.isascii() and _not_text(said):
            wrong = "is not UTF-8."
        yield Record(start, cells, said, wrong)


def _not_text(said: str) -> bool:
    try:
        said.encode()
    except UnicodeEncodeError:
        return True
    return False


def grid_of(found: list[Record], header: Header) -> Grid:
    """The records that are right as such, as a grid; an empty cell is not known."""
    cells = zip(*(record.cells for record in found), strict=True) if found else iter([()] * len(header.columns))
    columns = [
        from_text(column, [cell or None for cell in some]) for column, some in zip(header.columns, cells, strict=True)
    ]
    return Grid(header, columns, len(found))
