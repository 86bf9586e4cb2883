"""The few entries of the ISO 11783-11 data dictionary that a combine's setup or age can be filled from.

Numbers and resolutions as open implementations publish them; the dictionary holds no entry for the speed of a rotor or
cylinder, a feeder, a reel, nor for vanes or a spreader, so that these can never come from task files.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.exchange.reading.nouns import Role


@dataclass(frozen=True, slots=True)
class Entry:
    """What an entry fills.

    Attributes:
        quantity: last part of the name of the setting or reading.
        factor: what one step of the whole number is worth, in ``measure``.
    """

    quantity: str
    role: Role
    factor: float
    measure: str


_PER_SECOND = 0.001 * 60
"""A thousandth of a turn in a second, in r/min."""

SETTINGS: dict[int, Entry] = {
    242: Entry("sieve", Role.WANTED, 1, "mm"),
    243: Entry("sieve", Role.ACTUAL, 1, "mm"),
    246: Entry("chaffer", Role.WANTED, 1, "mm"),
    247: Entry("chaffer", Role.ACTUAL, 1, "mm"),
    250: Entry("concave_gap", Role.WANTED, 1, "mm"),
    251: Entry("concave_gap", Role.ACTUAL, 1, "mm"),
    254: Entry("fan_speed", Role.WANTED, _PER_SECOND, "r/min"),
    255: Entry("fan_speed", Role.ACTUAL, _PER_SECOND, "r/min"),
}
ENGINE_HOURS = 493
"""Lifetime engine hours. Entry 215, lifetime working hours, leaves out the hours that the engine ran idle, so it is no
substitute: a setup's age is counted in engine hours."""
HOURS_PER_STEP = 0.1
WORKING_HOURS = 215
PRACTICE = (179, 471)
"""Cultural practice, actual and wanted."""
HARVESTING = 8
PROPRIETARY = range(0xE000, 0xFFFF)
"""Entries whose meaning only their maker knows."""


def code(text: str) -> int | None:
    """An entry's number from its four hexadecimal digits, None for anything else."""
    try:
        return int(text, 16) if len(text) == 4 else None
    except ValueError:
        return None
