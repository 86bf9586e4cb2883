"""Points in time as formats of farm systems write them: with an offset, or in the clock of a place.

A time without an offset is known only once its time zone is said (IANA's name, RFC 9557's ``Europe/Berlin``). Until
then it is kept as it was written, and proves nothing of how old anything is.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, available_timezones

from api.exchange.reading.nouns import NotRead

EARLIEST = datetime(1980, 1, 1, tzinfo=UTC)
"""Nothing that we read was taken before; year 1 and 1970 stand for 'not known' in files (common practice)."""
UNPLACED = (
    "Times without an offset are kept as they are written, and prove nothing of how old anything is. Name the time "
    "zone of their clock (--timezone, timezone) to have them count."
)
"""What a person is told of such times, once a file."""
TWICE = "Times in the hour in which clocks are changed are not certain; the earlier one is taken."


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time.

    Attributes:
        at: s since 1970.
        local: its offset is not known, and ``at`` is what it would be in UTC: it may lie 14 h before and 12 h after.
        uncertain: the clock of its time zone showed it twice, or never; the earlier of both is ``at``.
    """

    at: float
    local: bool = False
    uncertain: bool = False

    def note(self) -> str:
        """What a person should know of it, '' for nothing."""
        return UNPLACED if self.local else TWICE if self.uncertain else ""


def zone_named(name: str) -> ZoneInfo | None:
    """A time zone by IANA's name, None for ''. Raises NotRead."""
    if not name:
        return None
    known = available_timezones()
    if not known:
        raise NotRead("time zone", "none is known on this machine", "Install the time zone database (tzdata)")
    if name not in known:
        raise NotRead("time zone", f"'{name[:60]}' is none", "Write the name of a place in it, as Europe/Berlin or UTC")
    return ZoneInfo(name)


def moment(text: str, zone: ZoneInfo | None = None) -> Moment | None:
    """An ISO 8601 date and time, None for a placeholder or an empty text. Raises ValueError for what is none.

    Args:
        zone: of the clock that showed a time without an offset, None for not known.
    """
    plain = text.strip()
    if not plain:
        return None
    found = datetime.fromisoformat(plain)
    if found.year < EARLIEST.year:
        return None
    return Moment(found.timestamp()) if found.tzinfo is not None else placed(found, zone)


def placed(shown: datetime, zone: ZoneInfo | None) -> Moment:
    """The point in time at which a clock of a time zone showed a date and time without an offset."""
    if zone is None:
        return Moment(shown.replace(tzinfo=UTC).timestamp(), local=True)
    both = [shown.replace(tzinfo=zone, fold=fold).timestamp() for fold in (0, 1)]
    return Moment(min(both), uncertain=both[0] != both[1])
