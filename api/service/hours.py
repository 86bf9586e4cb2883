"""Engine hours that a farm system says: they only ever rise, and a fall is a question, never an answer."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from api.exchange.reading.nouns import HourReading
from api.service.draft import Draft
from api.service.recording import with_hours
from api.store.machine_words import COUNTS, OLDER, Hours
from api.store.units import UnitRow
from audit.clearing import CLOCKS_DIFFER

MOST_HOURS = 60_000.0
"""More than any engine runs; a sender that counts in seconds or minutes shows itself by it."""
ROUNDING = 1.0
"""h. Systems round to tenths or whole hours, so that the same meter seems to fall by less."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A reading that was understood.

    Attributes:
        text: what it changed, '' for nothing.   kept: as it goes on record.   after: the unit, if its hours rose.
    """

    text: str
    kept: Hours
    after: UnitRow | None


@dataclass(frozen=True, slots=True)
class Fall:
    """A reading that is lower than what is known, and not older: a person must say."""

    text: str


def why_not(reading: HourReading, now: float) -> str:
    """Why a reading can't be one, '' if it can."""
    if not isfinite(reading.hours) or not 0 <= reading.hours <= MOST_HOURS:
        return f"has {reading.hours:g} engine hours, which no engine has (0 to {MOST_HOURS:g})"
    earliest = reading.earliest()
    if earliest is not None and earliest > now + CLOCKS_DIFFER:
        return "has engine hours of a time that is yet to come, so one of the clocks is wrong"
    return ""


def hear(draft: Draft, unit: UnitRow, reading: HourReading, origin: str) -> Heard | Fall:
    """What a reading says of a unit.

    A reading whose offset is not known is an older one only if it is so by every clock there is; else it asks.
    """
    known, known_at = unit.engine_hours, unit.hours_at
    hours = reading.hours
    taken = reading.taken if reading.local or reading.taken is None else min(reading.taken, draft.now)
    latest = reading.latest()
    at = draft.now if latest is None else min(latest, draft.now)
    before = latest is not None and known_at is not None and at <= known_at

    def kept(fate: str) -> Hours:
        return Hours(unit.id, hours, taken, fate, origin, known, known_at, draft.now, reading.local)

    if draft.has_hours(unit.id, hours, taken):
        return Heard("", kept(OLDER), None)
    if known is not None and known - ROUNDING <= hours <= known:
        return Heard("", kept(OLDER), None)
    if known is None or (hours > known and not (before and at != known_at and hours > known + ROUNDING)):
        shown = f"{hours:g} engine hours" if known is None else f"engine hours {known:g} to {hours:g}"
        return Heard(shown, kept(COUNTS), with_hours(unit, hours, at))
    if hours < known and before:
        return Heard(f"{hours:g} engine hours are older than what is known, kept as history", kept(OLDER), None)
    if hours > known:
        return Fall(f"it had {hours:g} engine hours before it had {known:g}: was the meter replaced between?")
    return Fall(f"it has {hours:g} engine hours after {known:g}: was the meter replaced?")
