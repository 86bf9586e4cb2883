"""Points in time as formats of farm systems write them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

EARLIEST = datetime(1980, 1, 1, tzinfo=UTC)
"""Nothing that we read was taken before; year 1 and 1970 stand for 'not known' in files (common practice)."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time.

    Attributes:
        at: s since 1970.   local: it came without an offset and was read as if in UTC.
    """

    at: float
    local: bool


def moment(text: str) -> Moment | None:
    """An ISO 8601 date and time, None for a placeholder or an empty text. Raises ValueError for what is none."""
    plain = text.strip()
    if not plain:
        return None
    found = datetime.fromisoformat(plain)
    local = found.tzinfo is None
    found = found.replace(tzinfo=UTC) if local else found
    return None if found.year < EARLIEST.year else Moment(found.timestamp(), local)
