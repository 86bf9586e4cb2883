"""A calendar as text.

Source: RFC 5545: 3.1 (lines of at most 75 octets, folded), 3.3.5 (local times without a zone: the same on the clock
wherever they are read), 3.3.11 (escaped text), 3.6.1 (VEVENT), 3.8.1.11 (STATUS), 3.8.2.7 (TRANSP), 3.8.7.3
(LAST-MODIFIED), 3.8.7.4 (SEQUENCE); RFC 7986: 5.1 (NAME), 5.7 (REFRESH-INTERVAL).
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
        begins: a day, a moment with a zone, or a local time without one.   last: its last day, for what lasts for days.
        ends: when it is over, as it begins; None for what happens at a moment.
        category: what kind of thing it is.   place: where, '' for nowhere.
        changes: how often it was changed since it was made.   changed: when last, None where nobody counts that.
        cancelled: it is off; who has it takes it out.
        busy: whoever it is for has no time for anything else.
    """

    uid: str
    begins: date | datetime
    summary: str
    description: str
    address: str
    category: str
    last: date | None = None
    ends: datetime | None = None
    place: str = ""
    changes: int = 0
    changed: datetime | None = None
    cancelled: bool = False
    busy: bool = False


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
        yield f"DTEND:{_moment(entry.ends or entry.begins + SHOWN_FOR)}"
    else:
        last = max(entry.last or entry.begins, entry.begins)
        yield f"DTSTART;VALUE=DATE:{entry.begins:%Y%m%d}"
        yield f"DTEND;VALUE=DATE:{last + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{escaped(entry.summary)}"
    yield f"DESCRIPTION:{escaped(entry.description)}"
    if entry.place:
        yield f"LOCATION:{escaped(entry.place)}"
    yield f"URL:{entry.address}"
    yield f"CATEGORIES:{escaped(entry.category)}"
    if entry.changed is not None:
        yield f"LAST-MODIFIED:{_moment(entry.changed)}"
        yield f"SEQUENCE:{entry.changes}"
        yield f"STATUS:{'CANCELLED' if entry.cancelled else 'CONFIRMED'}"
    yield f"TRANSP:{'OPAQUE' if entry.busy and not entry.cancelled else 'TRANSPARENT'}"
    yield "END:VEVENT"


def _moment(at: datetime) -> str:
    return f"{at:%Y%m%dT%H%M%S}" if at.tzinfo is None else f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
