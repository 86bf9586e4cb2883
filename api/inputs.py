"""Setups out of files and pipes: one JSON object, an array of them, or one a line; read as they come."""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Iterator
from typing import BinaryIO

from audit.intake.json_text import MOST_BYTES

MOST_WHOLE = 256 * 1024 * 1024
"""Most bytes of a file that is not one setup a line, and so must be read whole."""

_OPENING, _BETWEEN, _CLOSING = (re.compile(rf"[ \t\r\n]*{sign}[ \t\r\n]*") for sign in (r"\[", ",", r"\]"))


def setups_in(stream: BinaryIO) -> Iterator[tuple[bytes, str]]:
    """Every setup of a stream with its place in it: ':3' for a line, '[2]' for an item, '' for the whole.

    A line that is too long comes cut off, so that whoever reads it can say so; the rest of it is passed over. What is
    broken comes as it stands, to be refused with its place.
    """
    first = _line(stream).removeprefix(codecs.BOM_UTF8)
    number = 1
    while first.isspace():
        first = _line(stream)
        number += 1
    if not first:
        return
    if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):  # its line ends are not ours: one refusal for all
        yield first, ""
        return
    if not _is_whole(first):
        text = first + stream.read(MOST_WHOLE)
        if text.lstrip()[:1] == b"[":
            yield from _items(text)
        else:
            yield text, ""
        return
    yield first, f":{number}"
    while line := _line(stream):
        number += 1
        if not line.isspace():
            yield line, f":{number}"


def _is_whole(line: bytes) -> bool:
    """Whether a line is a setup of its own (or one cut off for its length), rather than the start of a larger text."""
    stripped = line.strip()
    if len(line) > MOST_BYTES:
        return True
    if not stripped.startswith(b"{"):
        return not stripped.startswith(b"[")
    try:
        json.loads(stripped)
    except ValueError:
        return stripped.endswith(b"}")
    except RecursionError:
        return True
    return True


def _line(stream: BinaryIO) -> bytes:
    line = stream.readline(MOST_BYTES + 1)
    if len(line) > MOST_BYTES and not line.endswith(b"\n"):
        while (rest := stream.readline(1024 * 1024)) and not rest.endswith(b"\n"):
            pass
    return line


def _items(text: bytes) -> Iterator[tuple[bytes, str]]:
    """The items of an array, each as its own text; from where it is broken on, the whole of it."""
    try:
        plain = text.decode()
    except ValueError:
        yield text, ""
        return
    decoder = json.JSONDecoder()
    opening = _OPENING.match(plain)
    place = opening.end() if opening else 0
    number = 0
    closing = _CLOSING.match(plain, place)
    while closing is None:
        number += 1
        try:
            _, end = decoder.raw_decode(plain, place)
        except (ValueError, RecursionError):
            break
        yield plain[place:end].encode(), f"[{number}]"
        closing = _CLOSING.match(plain, end)
        between = _BETWEEN.match(plain, end)
        if between is None:  # the end, or two items with nothing between them
            break
        place = between.end()
    if closing is None or closing.end() != len(plain):
        yield text, ""
