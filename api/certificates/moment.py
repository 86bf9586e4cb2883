"""Points in time as people read them."""

from __future__ import annotations

from datetime import UTC, datetime

CLOCKS_DIFFER = 300
"""Seconds by which the clock of whoever checks may be behind the server's."""
_LATEST = 253402300799
"""The last second of the year 9999."""


def shown(moment: float) -> str:
    """A time in UTC to the minute, never later than it is."""
    return datetime.fromtimestamp(min(moment, _LATEST), UTC).strftime("%Y-%m-%d %H:%M UTC")


def span(seconds: float) -> str:
    """A length of time in its largest fitting unit, rounded down."""
    for unit, length in (("day", 86400), ("hour", 3600), ("minute", 60)):
        count = int(seconds // length)
        if count >= (2 if unit == "day" else 1):
            return f"{count} {unit}{'s' * (count != 1)}"
    return "less than a minute"
