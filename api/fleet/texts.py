"""Setups out of JSON text, in pieces of bounded size: one setup a line, an array of them, or a single one."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from itertools import islice

from api.fleet.blocks import Piece, Stretch
from api.fleet.streams import Counted
from audit.intake.json_text import MOST_BYTES

_STEP = 256 * 1024
"""Bytes of lines that are looked at together: what fits the processor's cache is not fetched twice."""
_MOST_NESTED = 12

_TEXT = rb'"(?:[^"\\]++|\\.)*+"'
_WITHIN = rb'(?:[^{}\[\]"]++|' + _TEXT + rb")*+"
for _ in range(_MOST_NESTED):
    _WITHIN = rb'(?:[^{}\[\]"]++|' + _TEXT + rb"|[{\[]" + _WITHIN + rb"[}\]])*+"
_ITEM = re.compile(
    rb"[ \t\r\n]*+([{\[]" + _WITHIN + rb"[}\]]|" + _TEXT + rb'|[^\s,{}\[\]"]++)[ \t\r\n]*+(?=[,\]])', re.DOTALL
)
"""An item of an array, whatever it holds, up to its comma or the array's end: brackets are matched, nothing is read."""
_START = re.compile(rb"[ \t\r\n]*+\[[ \t\r\n]*+(\]?)")


def lines_in(stream: Counted, ahead: bytes, size: int) -> Iterator[Piece]:
    """One setup a line. A line that is too long comes cut off, to be refused with its place.

    Args:
        ahead: what was read already.   size: bytes of a piece, about.
    """
    rest, more, number = b"", ahead, 1
    numbers: list[int] = []
    texts: list[bytes] = []
    start, first, whole = stream.count - len(ahead), 1, True  # where the piece begins, and that no line of it is cut
    ahead = b""
    while True:
        lines = more.split(b"\n")
        lines[0] = rest + lines[0]
        rest = lines.pop() if more else b""
        some = numbered(lines, number)
        numbers += some[0]
        texts += some[1]
        number += len(lines)
        if not lines and len(rest) > MOST_BYTES:
            numbers.append(number)
            texts.append(rest[: MOST_BYTES + 1])
            rest, ahead, whole = b"", _after_line(stream), False
            number += 1
        length = stream.count - len(rest) - len(ahead) - start
        if texts and (length >= size or not more):
            stretch = Stretch(start, length, first) if whole else None
            yield Piece("lines", (tuple(numbers), tuple(texts)), numbers[0], len(texts), stretch=stretch)
            numbers, texts = [], []
            start, first, whole = start + length, number, True
        if not more:
            return
        more, ahead = ahead or stream.read(min(size, _STEP)), b""


def _after_line(stream: Counted) -> bytes:
    """Passes the rest of a line over; returns what was read of those after it."""
    while more := stream.read(_STEP):
        _, end, rest = more.partition(b"\n")
        if end:
            return rest
    return b""


def lines_of(text: bytes, first: int) -> tuple[Sequence[int], Sequence[bytes]]:
    """Every line of a text that is not blank, the numbers before the lines."""
    lines = text.split(b"\n")
    if not lines[-1]:
        lines.pop()
    return numbered(lines, first)


def numbered(lines: list[bytes], first: int) -> tuple[Sequence[int], Sequence[bytes]]:
    """The same of lines that were parted already."""
    if all(lines) and not any(map(bytes.isspace, lines)):
        return range(first, first + len(lines)), lines
    found = [(number, line) for number, line in enumerate(lines, first) if line and not line.isspace()]
    return [number for number, _ in found], [line for _, line in found]


def items_in(stream: Counted, ahead: bytes, size: int) -> Iterator[Piece]:
    """The items of an array; from where it is broken on, all of it as one, to be refused."""
    start = _START.match(ahead)
    assert start is not None  # whoever calls has seen the bracket
    rest, place, number = ahead, start.end(), 1
    items: list[bytes] = []
    length = 0
    ended = bool(start[1])
    while not ended:
        found = _ITEM.match(rest, place)
        if found is None:
            more = b"" if len(rest) - place > MOST_BYTES else stream.read(size)
            if not more:
                break
            rest, place = rest[place:] + more, 0
            continue
        items.append(found[1])
        length += len(found[1])
        place = found.end() + 1
        ended = rest[found.end() : place] == b"]"
        if length >= size:
            yield Piece("items", tuple(items), number, len(items))
            number += len(items)
            items, length = [], 0
    left = rest[place:].strip() or (stream.read(size).strip() if ended else b"")
    if left or not ended:
        items.append(left[: MOST_BYTES + 1] or b"[")
    if items:
        yield Piece("items", tuple(items), number, len(items))


def whole_in(stream: Counted, ahead: bytes) -> Iterator[Piece]:
    """A single setup over many lines."""
    yield Piece("items", ((ahead + stream.read(MOST_BYTES + 1))[: MOST_BYTES + 1],), 0, 1)


def is_one_a_line(head: bytes) -> bool:
    """Whether text that begins with a brace has a setup a line, rather than one over many lines.

    It has if one of its first two lines can be read as it stands, or if its first line seems to end what it begins.
    """
    lines = [line for line in islice(head.split(b"\n"), 100) if line.strip()][:2]
    return (len(lines) < 2 and head.count(b"\n") < 2) or lines[0].rstrip().endswith(b"}") or any(map(_is_json, lines))


def _is_json(line: bytes) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except (ValueError, RecursionError):
        return False
