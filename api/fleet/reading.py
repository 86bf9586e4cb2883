"""Inputs to numbered blocks, in order: what an input holds is told by what is in it, not by its name."""

from __future__ import annotations

import codecs
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from api.fleet.blocks import Block, Piece, Seal
from api.fleet.csv_text import header_of, records_in
from api.fleet.streams import SPOOL, STANDARD_INPUT, Broken, Raw, Unpacked, open_input, shown_name
from api.fleet.stretches import stamp_of, standing
from api.fleet.texts import is_one_a_line, items_in, lines_in, whole_in
from audit.intake.columns import read_header
from audit.intake.json_text import MOST_BYTES
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.rulebook import Rulebook

PARQUET = b"PAR1"
BYTES_A_ROW = 1024
"""What a row of a table counts for when a block is cut."""
_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class Input(NamedTuple):
    """An input that was read to its end."""

    name: str
    size: int
    digest: str


class Reader:
    """Reads inputs into blocks.

    Args:
        names: of the inputs, in order.
        rulebook: says which columns a table may have.
        folder: where a Parquet file that comes through a pipe or compressed is kept while it is read.
        size: bytes of an input that are read at a time, and so about as many of each block.

    Attributes:
        done: the inputs that were read to their end, in order.
    """

    def __init__(self, names: Sequence[str], rulebook: Rulebook, folder: Path, size: int) -> None:
        self.names, self.rulebook, self.folder, self.size = names, rulebook, folder, size
        self.done: list[Input] = []

    def check(self) -> None:
        """Opens every file and looks at its columns, if it is a table. Raises BadInput with all that is wrong."""
        problems: list[Problem] = []
        for name in self.names:
            if name == STANDARD_INPUT:
                continue
            try:
                with closing(open_input(name)) as stream:
                    next(self._pieces(name, Raw(stream), only_columns=True), None)
            except BadInput as error:
                problems += error.problems
            except Broken:
                pass  # is set aside when its turn comes
        if problems:
            raise BadInput(problems)

    def blocks(self) -> Iterator[Block]:
        """Every block. Raises BadInput for a table with columns that are none."""
        number, row, before = 0, 1, 0
        for source, name in enumerate(self.names):
            with closing(open_input(name)) as stream:
                raw = Raw(stream)
                for piece in self._all_pieces(name, raw):
                    seal = Seal(source, raw.count, raw.digest())
                    yield Block(number, shown_name(name), row, piece, seal, before + raw.count)
                    number += 1
                    row += piece.setups
                raw.finish()
            before += raw.count
            self.done.append(Input(name, raw.count, raw.digest()))

    def _all_pieces(self, name: str, raw: Raw) -> Iterator[Piece]:
        """The pieces of an input; where it breaks off, and where there are none, one that says so."""
        empty = True
        try:
            for piece in self._pieces(name, raw):
                empty = False
                yield piece
            if empty:
                yield lost("holds no setup.", "Write one JSON object a line, or a row for each setup.")
        except Broken as error:
            yield lost(f"{error}", "What stands before it was audited.")

    def _pieces(self, name: str, raw: Raw, only_columns: bool = False) -> Iterator[Piece]:
        unpacked = Unpacked(raw)
        stamp = () if unpacked.packed or name == STANDARD_INPUT else stamp_of(raw.stream)
        head = unpacked.read(self.size)
        if head.startswith(PARQUET):
            yield from self._rows(name, raw, unpacked, head, only_columns)
            return
        if head.startswith(_UTF16):
            yield lost("is UTF-16.", "Save the file as UTF-8.")
            return
        head = head.removeprefix(codecs.BOM_UTF8)
        start = head.lstrip()[:1]
        if start == b"[":
            yield from items_in(unpacked, head, self.size)
        elif start == b"{" and not is_one_a_line(head):
            yield from whole_in(unpacked, head)
        elif b"unit." in head.partition(b"\n")[0] and start != b"{":
            while b"\n" not in head and len(head) < MOST_BYTES and (more := unpacked.read(self.size)):
                head += more
            yield from standing(self._records(name, unpacked, head), name, stamp)
        else:
            yield from standing(lines_in(unpacked, head, self.size), name, stamp)

    def _records(self, name: str, stream: Unpacked, head: bytes) -> Iterator[Piece]:
        first, _, rest = head.partition(b"\n")
        shown = shown_name(name)
        try:
            columns, comma = header_of(first)
        except ValueError:
            raise BadInput([Problem(Place(shown, 1), "is not UTF-8.", "Save the file as UTF-8.")]) from None
        read_header(columns, shown, self.rulebook)
        yield from records_in(stream, rest, columns, comma, self.size)

    def _rows(self, name: str, raw: Raw, stream: Unpacked, head: bytes, only_columns: bool) -> Iterator[Piece]:
        from api.fleet.parquet import columns_in, rows_in

        shown = shown_name(name)
        with tempfile.TemporaryDirectory(prefix=SPOOL, dir=self.folder) as folder:
            if name == STANDARD_INPUT or stream.packed:
                path = Path(folder) / "input.parquet"
                with path.open("wb") as spool:
                    spool.writelines(_rest(head, stream, self.size))
            else:
                path = Path(name)
            try:
                columns = columns_in(path)
            except ValueError as error:
                raise BadInput([Problem(Place(shown), str(error))]) from None
            read_header(columns, shown, self.rulebook)
            if not only_columns:
                raw.finish()  # so that the seal of each piece is the whole file's
                yield from rows_in(path, max(self.size // BYTES_A_ROW, 1))


def _rest(head: bytes, stream: Unpacked, size: int) -> Iterable[bytes]:
    while head:
        yield head
        head = stream.read(size)


def lost(message: str, advice: str) -> Piece:
    """What can't be read as setups at all: one to be set aside, with its reason."""
    return Piece("lost", (message, advice), 0, 1)
