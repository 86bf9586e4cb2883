"""A record as text: one event a line in RFC 8785 JSON, so that it can be verified from the text alone."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from api.store.events import Event, Fault, canonical
from api.store.verifying import chain_faults

MOST_BYTES = 16 * 1024 * 1024
"""Most bytes of a line; far more than any event has."""
_KINDS: dict[str, type] = dict.fromkeys(Event.__slots__, str) | {"number": int, "content": dict}


_HEAD = re.compile(r"([0-9]{1,15}):([0-9a-f]{64})")
"""How an event is named that was noted elsewhere: its number and its hash."""


class NotALine(Exception):
    """A line is no event as it is written here, and why."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(f"line {number} {why}")
        self.number = number


def head_of(text: str) -> tuple[int, str] | None:
    """Number and hash of an event that was noted elsewhere, None for a text that names none."""
    found = _HEAD.fullmatch(text.strip())
    return None if found is None else (int(found[1]), found[2])


def line_of(event: Event) -> bytes:
    """An event as a line, without its end."""
    return canonical({name: getattr(event, name) for name in Event.__slots__})


def events_of(lines: Iterable[bytes]) -> Iterator[Event]:
    """The events of a text, in order. Raises NotALine: no event, or not in the one form in which an event is written.

    A repeated key or a second way to write a number would let one line be read in two ways, so it is refused.
    """
    for number, line in enumerate(lines, 1):
        if len(line) > MOST_BYTES:
            raise NotALine(number, "is too long")
        text = line.removesuffix(b"\n")
        try:
            plain = json.loads(text)
            same = canonical(plain) == text
        except (ValueError, RecursionError):
            raise NotALine(number, "is not JSON") from None
        if not _is_event(plain):
            raise NotALine(number, "is no event of a record")
        if not same:
            raise NotALine(number, "is not in the form in which it was written (RFC 8785)")
        yield Event(**plain)


@dataclass(slots=True)
class Verified:
    """One record out of a text: its last event, and where it is not as it was written."""

    organisation: str
    number: int = 0
    hash: str = ""
    faults: list[Fault] = field(default_factory=list)


def verified(
    lines: Iterable[bytes],
    head: tuple[int, str] | None = None,
    kept: Callable[[str], Iterable[Event]] | None = None,
) -> Iterator[Verified]:
    """Each record of a text, verified.

    Args:
        head: number and hash of an event that each record must hold.
        kept: gives the record of an organisation from elsewhere, of which this one must be the beginning.

    Raises: NotALine.
    """
    seen: set[str] = set()
    for organisation, some in groupby(events_of(lines), lambda one: one.organisation):
        found = Verified(organisation)
        walked = _noting(some, found)
        if kept is not None:
            walked = _compared(walked, iter(kept(organisation)), found.faults)
        found.faults += chain_faults(walked, head=head)
        if organisation in seen:
            found.faults.append(Fault(0, f"the record of {organisation} is not in one piece"))
        seen.add(organisation)
        yield found


def _noting(some: Iterable[Event], found: Verified) -> Iterator[Event]:
    for one in some:
        found.number, found.hash = one.number, one.hash
        yield one


def _compared(some: Iterable[Event], kept: Iterator[Event], faults: list[Fault]) -> Iterator[Event]:
    for one in some:
        other = next(kept, None)
        if other is None:
            faults.append(Fault(one.number, f"event {one.number} is on record no more"))
        elif other != one:
            faults.append(Fault(one.number, f"event {one.number} is another one on record now"))
        yield one


def _is_event(plain: Any) -> bool:
    if not isinstance(plain, dict) or set(plain) != set(Event.__slots__):
        return False
    at = plain["at"]
    if isinstance(at, bool) or not isinstance(at, int | float):
        return False
    return all(type(plain[name]) is kind for name, kind in _KINDS.items() if name != "at")
