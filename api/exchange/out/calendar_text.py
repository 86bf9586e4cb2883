"""A calendar as text.

Source: RFC 5545: 3.1 (lines of at most 75 octets, folded), 3.3.11 (escaped text), 3.6.1 (VEVENT), 3.8.2.7 (TRANSP);
RFC 7986: 5.1 (NAME), 5.7 (REFRESH-INTERVAL).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

MEDIA = "text/calendar"
MOST_OCTETS = 75
REFRESH = "PT1H"
"""How often a calendar should look again."""
SHOWN_FOR = timedelta(minutes=15)
"""How long what happens at a moment is shown."""
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing in a calendar.

    Attributes:
        uid: the same as long as it is the same thing.
        begins: a day, or a moment in UTC.   last: its last day, for what lasts for days.
        category: what kind of thing it is.
    """

    uid: str
    begins: date | datetime
    summary: str
    description: str
    address: str
    category: str
    last: date | None = None


def calendar(name: str, entries: Iterable[Entry], now: datetime) -> bytes:
    """The whole calendar. ``now``: UTC."""
    lines = [
        "BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//combine setup audit//calendar//EN", "CALSCALE:GREGORIAN",
        f"NAME:{escaped(name)}", f"REFRESH-INTERVAL;VALUE=DURATION:{REFRESH}",
    ]  # fmt: skip
    for entry in entries:
        lines += _event(entry, now)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def escaped(text: str) -> str:
    """A text as a value: no control characters, and commas, semicolons, backslashes and line ends escaped."""
    plain = _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))
    for sign in ("\\", ";", ","):
        plain = plain.replace(sign, f"\\{sign}")
    return plain.replace("\n", "\\n")


def folded(line: str) -> bytes:
    """A line of at most 75 octets, and more that begin with a space; no character is cut."""
    found, part = bytearray(), bytearray()
    for sign in line:
        octets = sign.encode("utf-8", "replace")
        if len(part) + len(octets) > MOST_OCTETS:
            found += part + b"\r\n"
            part = bytearray(b" ")
        part += octets
    return bytes(found + part + b"\r\n")


def _event(entry: Entry, now: datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{escaped(entry.uid)}"
    yield f"DTSTAMP:{_moment(now)}"
    if isinstance(entry.begins, datetime):
        yield f"DTSTART:{_moment(entry.begins)}"
        yield f"DTEND:{_moment(entry.begins + SHOWN_FOR)}"
    else:
        last = max(entry.last or entry.begins, entry.begins)
        yield f"DTSTART;VALUE=DATE:{entry.begins:%Y%m%d}"
        yield f"DTEND;VALUE=DATE:{last + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{escaped(entry.summary)}"
    yield f"DESCRIPTION:{escaped(entry.description)}"
    yield f"URL:{entry.address}"
    yield f"CATEGORIES:{escaped(entry.category)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _moment(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
