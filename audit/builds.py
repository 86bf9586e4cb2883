"""Which variant a unit has, by what is stated, its serial number or its year of build; 'cannot decide' is an answer."""

from __future__ import annotations

import re

from audit.nouns.machine import Break, Build, MachineCard
from audit.nouns.setup import Unit

_PARTS = re.compile(r"(\d+)")


def decide(card: MachineCard, unit: Unit) -> dict[str, str | None]:
    """The choice of every build of the card by ``build.<name>``, None where it can't be decided."""
    fitted = dict(unit.fitted)
    return {f"build.{build.name}": fitted.get(build.name) or _by_breaks(build, unit) for build in card.builds}


def _by_breaks(build: Build, unit: Unit) -> str | None:
    return next((found.choice for found in build.breaks if _fits(found, unit)), None)


def _fits(found: Break, unit: Unit) -> bool:
    """Whether the unit lies in the break's range; False too where the unit does not state what that takes."""
    if found.serial_from or found.serial_to:
        low = _between(found.serial_from, unit.serial)
        high = _between(unit.serial, found.serial_to) if found.serial_to else True
        if not ((low if found.serial_from else True) and high):
            return False
    if found.year_from is not None or found.year_to is not None:
        if unit.build_year is None:
            return False
        return (found.year_from or 0) <= unit.build_year <= (found.year_to or 9999)
    return True


def _between(first: str, second: str) -> bool:
    """Whether two serials are of one series and the first is not after the second."""
    one, two = _PARTS.split(first), _PARTS.split(second)
    if one[::2] != two[::2] or len(one) == 1:
        return False
    return [int(part) for part in one[1::2]] <= [int(part) for part in two[1::2]]
