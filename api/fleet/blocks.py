"""What goes through a fleet audit: blocks of setups in, blocks of lines out."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from audit.intake.rulebook import Layer


class Seal(NamedTuple):
    """How far the inputs were read when a block was cut: the same inputs give the same seal at the same block.

    Attributes:
        source: number of the input, from 0.
        read: bytes of it that were read, as they are stored.
        digest: BLAKE3 of them.
    """

    source: int
    read: int
    digest: str


class Stretch(NamedTuple):
    """Where the text of a piece stands in a file, so that a process of the same machine can read it there.

    Attributes:
        start, length: bytes of the file, which begin and end between lines.
        path, stamp: the file, and how it was when it was opened; '' and () as long as nobody has said.
    """

    start: int
    length: int
    path: str = ""
    stamp: tuple[int, ...] = ()


class Found(NamedTuple):
    """Lines of a text.

    Attributes:
        total: of lines, blank ones included.
        places, lines: of those that are neither empty nor space, from 0.
    """

    total: int
    places: list[int]
    lines: list[memoryview]


@dataclass(slots=True)
class Text:
    """Whole lines, as they were read: what was read at once is not copied for the sake of the line that was cut.

    Attributes:
        ahead: a line that stood in two readings.
        rest, begin, end: what was read, and where in it the other lines stand.
        lines: where they were found already; they stay in this process.
    """

    ahead: bytes
    rest: bytes = b""
    begin: int = 0
    end: int = 0
    lines: Found | None = field(default=None, compare=False, repr=False)

    def __reduce__(self) -> tuple[type[Text], tuple[bytes, bytes, int, int]]:
        return Text, (self.ahead, self.rest, self.begin, self.end)


class Piece(NamedTuple):
    """Some setups of one input.

    Attributes:
        kind: 'lines', 'items', 'csv' or 'rows'; says what ``payload`` is: a Text, texts, bytes of whole CSV records,
            or a data frame; or 'lost', a message and advice. None where it is to be read from ``stretch``.
        first: place of the first: line, be it blank, item or row, from 1; 0 for the only one.
        setups: how many.
        columns: of 'csv' and 'rows', in order.
        comma: separator of 'csv'.
        stretch: where it stands, if it is the text of lines of a plain file.
    """

    kind: str
    payload: Any
    first: int
    setups: int
    columns: tuple[str, ...] = ()
    comma: str = ","
    stretch: Stretch | None = None


class Block(NamedTuple):
    """A piece with its number and place in the whole.

    Attributes:
        number: from 0.   shown: name of the input.   row: number of its first setup in the whole, from 1.
        raw: bytes of all inputs that were read so far.
    """

    number: int
    shown: str
    row: int
    piece: Piece
    seal: Seal
    raw: int


class Job(NamedTuple):
    """By what every block is judged; small, so that it can go with each block.

    Attributes:
        digest: of the rulebook.   site: the layers over the shipped one.   hold_at: name of a level.
        plan: also plan the work.
    """

    digest: str
    site: tuple[Layer, ...]
    hold_at: str
    plan: bool


class Done(NamedTuple):
    """What came of a block: lines of each file, and what they add to the counts."""

    units: bytes
    findings: bytes
    aside: bytes
    counts: Counter[str]
