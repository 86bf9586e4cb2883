"""Which variant a unit has, by what is stated, its serial number or its year of build; 'cannot decide' is an answer."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from functools import lru_cache

from audit.nouns.machine import Break, Build, MachineCard
from audit.nouns.setup import Unit

_DIGITS = re.compile(r"(\d+)")

Serial = tuple[tuple[str, ...], tuple[int, ...]]
"""A serial's letters and its numbers: serials of one series have the same letters."""


class Series:
    """The serials of a card in classes: all of a class lie in the same ranges of its breaks.

    A fleet has a serial a unit, but few classes, so that what one unit was decided to have holds for the others.
    """

    def __init__(self, card: MachineCard) -> None:
        edges: dict[tuple[str, ...], set[tuple[int, ...]]] = {}
        for found in (found for build in card.builds for found in build.breaks):
            for serial in filter(None, (found.serial_from, found.serial_to)):
                letters, numbers = _known(serial)
                edges.setdefault(letters, set()).add(numbers)
        self.edges = {letters: sorted(numbers) for letters, numbers in edges.items()}

    def class_of(self, serial: str) -> tuple[tuple[str, ...], bool, int, int] | None:
        """The class of a serial; None for one that is in no range: none at all, or one of another series."""
        letters, numbers = _parts(serial)
        edges = self.edges.get(letters)
        if edges is None:
            return None
        return letters, bool(numbers), bisect_left(edges, numbers), bisect_right(edges, numbers)


def decide(card: MachineCard, unit: Unit) -> dict[str, str | None]:
    """The choice of every build of the card by ``build.<name>``, None where it can't be decided."""
    fitted = dict(unit.fitted)
    serial = _parts(unit.serial) if unit.serial else None
    return {
        f"build.{build.name}": fitted.get(build.name) or _by_breaks(build, serial, unit.build_year)
        for build in card.builds
    }


def _by_breaks(build: Build, serial: Serial | None, year: int | None) -> str | None:
    return next((found.choice for found in build.breaks if _fits(found, serial, year)), None)


def _fits(found: Break, serial: Serial | None, year: int | None) -> bool:
    """Whether the unit lies in the break's range; False too where it does not state what that takes."""
    if found.serial_from and (serial is None or not _not_after(_known(found.serial_from), serial)):
        return False
    if found.serial_to and (serial is None or not _not_after(serial, _known(found.serial_to))):
        return False
    if found.year_from is None and found.year_to is None:
        return True
    return year is not None and (found.year_from or 0) <= year <= (found.year_to or 9999)


def _not_after(first: Serial, second: Serial) -> bool:
    """Whether two serials are of one series and the first is not after the second."""
    return first[0] == second[0] and bool(first[1]) and first[1] <= second[1]


def _parts(serial: str) -> Serial:
    parts = _DIGITS.split(serial)
    return tuple(parts[::2]), tuple(int(part) for part in parts[1::2])


_known = lru_cache(maxsize=1024)(_parts)
"""The same for the serials on cards, which come again and again."""
