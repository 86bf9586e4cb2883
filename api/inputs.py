"""Setups out of files and pipes: one JSON object, an array of them, or one a line; read as they come."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import BinaryIO

from audit.intake.json_text import MOST_BYTES

MOST_WHOLE = 256 * 1024 * 1024
"""Most bytes of a file that is not one setup a line, and so must be read whole."""


def setups_in(stream: BinaryIO) -> Iterator[tuple[bytes, str]]:
    """Every setup of a stream with its place in it: ':3' for a line, '[2]' for an item, '' for the whole.

    A line that is too long comes cut off, so that whoever reads it can say so; the rest of it is passed over.
    """
    first = _line(stream)
    while first.isspace():
        first = _line(stream)
    if not first:
        return
    if _is_whole(first):
        yield first, ":1"
        number = 1
        while line := _line(stream):
            number += 1
            if not line.isspace():
                yield line, f":{number}"
        return
    text = first + stream.read(MOST_WHOLE)
    if text.lstrip()[:1] != b"[":
        yield text, ""
        return
    yield from _items(text)


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
    return True


def _line(stream: BinaryIO) -> bytes:
    line = stream.readline(MOST_BYTES + 1)
    if len(line) > MOST_BYTES:
        while (rest := stream.readline(1024 * 1024)) and not rest.endswith(b"\n"):
            pass
    return line


def _items(text: bytes) -> Iterator[tuple[bytes, str]]:
    """The items of an array, each as its own text; a broken array comes whole, to be refused with its place."""
    try:
        plain = text.decode("utf-8-sig")
        json.loads(plain)
    except ValueError:
        yield text, ""
        return
    decoder = json.JSONDecoder()
    place = plain.index("[") + 1
    number = 0
    while True:
        while plain[place] in " \t\r\n,":
            place += 1
        if plain[place] == "]":
            return
        _, end = decoder.raw_decode(plain, place)
        number += 1
        yield plain[place:end].encode(), f"[{number}]"
        place = end
