"""Setups out of JSON text, in pieces of bounded size: one setup a line, an array of them, or a single one."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import islice

from api.fleet.blocks import Found, Piece, Stretch, Text
from api.fleet.streams import Counted
from audit.intake.json_text import MOST_BYTES

_STEP = 256 * 1024
"""Bytes that are read at a time where the rest of a line is passed over."""
_SPACE = ord(" ")
"""The last of the bytes that are space."""
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
    """One setup a line, in pieces that end with a line. A line that is too long comes cut off, to be refused.

    Args:
        ahead: what was read already.   size: bytes that are read at a time.
    """
    rest, more, number = b"", ahead, 1
    start = stream.count - len(ahead)
    while rest or more:
        end, whole = more.rfind(b"\n") + 1, True
        if end or not more:
            begin = more.find(b"\n") + 1 if rest else 0
            text = Text(rest + more[:begin], more, begin, end)
            rest, more = more[end:], b""
        elif len(rest) + len(more) <= MOST_BYTES:
            rest, more = rest + more, stream.read(size)
            continue
        else:
            text, whole = Text((rest + more)[: MOST_BYTES + 1]), False
            rest, more = b"", _after_line(stream)
        text.lines = found = lines_of(text)
        behind = stream.count - len(rest) - len(more)
        if found.lines:
            stretch = Stretch(start, behind - start) if whole else None
            yield Piece("lines", text, number, len(found.lines), stretch=stretch)
        number, start = number + found.total, behind
        more = more or stream.read(size)


def _after_line(stream: Counted) -> bytes:
    """Passes the rest of a line over; returns what was read of those after it."""
    while more := stream.read(_STEP):
        _, end, rest = more.partition(b"\n")
        if end:
            return rest
    return b""


def parted(text: Text, first: int) -> tuple[list[int], list[memoryview]]:
    """The lines of a text that are not blank, and the number of each; nothing is copied."""
    found = text.lines or lines_of(text)
    return [first + place for place in found.places], found.lines


def lines_of(text: Text) -> Found:
    """The lines of a text; nothing is copied."""
    places: list[int] = []
    lines: list[memoryview] = []
    total = 0
    for some, start, size in ((text.ahead, 0, len(text.ahead)), (text.rest, text.begin, text.end)):
        view, find = memoryview(some), some.find
        while start < size:
            end = find(b"\n", start, size)
            if end < 0:
                end = size
            # most are told not to be blank by their first byte
            if some[start] > _SPACE or some[start:end].strip():
                places.append(total)
                lines.append(view[start:end])
            total += 1
            start = end + 1
    return Found(total, places, lines)


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
