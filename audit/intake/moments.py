"""Points in time as people and programs write them."""

from __future__ import annotations

from datetime import datetime

from audit.measures import Unreadable


def read_moment(text: object) -> float:
    """Seconds since 1970 of an RFC 3339 date and time. Raises Unreadable, also where the offset is missing."""
    if isinstance(text, str):
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            moment = None
        if moment is not None and moment.tzinfo is not None:
            return moment.timestamp()
        if moment is not None:
            raise Unreadable(f"'{text[:40]}' has no offset; write '{text[:40]}Z' or with '+02:00'.")
    shown = f"'{text[:40]}'" if isinstance(text, str) else str(text)[:40]
    raise Unreadable(f"{shown} is not a date and time; write it like '2026-08-11T07:40:00Z'.")
