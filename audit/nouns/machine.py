"""Machine cards and crop cards."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from unicodedata import normalize

from audit.nouns.problem import NOWHERE, Place
from audit.nouns.quantity import Value
from audit.nouns.source import Basis


@dataclass(frozen=True, slots=True)
class Target:
    """What a quantity should be: words, or a window of numbers in canonical units (None: open end)."""

    words: tuple[str, ...]
    low: float | None
    high: float | None
    text: str
    basis: Basis
    element: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True)
class Move:
    """What it takes to move a setting or to bring a reading right on this machine."""

    procedure: str
    minutes: float
    people: int
    tools: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Carried:
    """A setting or reading that this machine has.

    Attributes:
        words: subset of the quantity's words that exist here; empty for all.
        unit: unit of a bare number; '' for the quantity's own.
        lowest, highest, step: range here, in ``unit``; None for the quantity's own.
        together: settings that must be moved with it.
    """

    name: str
    words: tuple[str, ...]
    unit: str
    lowest: float | None
    highest: float | None
    step: float | None
    how: str
    move: Move | None
    together: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class ByPosition:
    """A parameter that depends on a setting or build: value by word."""

    by: str
    values: tuple[tuple[str, Value], ...]


@dataclass(frozen=True, slots=True)
class Component:
    """A shaft, drive or other part of the machine.

    Attributes:
        kind: name of its kind.   station: where it is reached on the walk round.
        driver, driven: shaft ids for a drive, '' otherwise.
        sets: for a variable drive, the setting that holds the driven speed, '' if nobody sets it by number.
        parameters: canonical values by name.
    """

    id: str
    kind: str
    title: str
    station: str
    parameters: tuple[tuple[str, Value | ByPosition], ...]
    driver: str = ""
    driven: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True)
class Break:
    """One line of a build decision: applies to serials and years in its range; '' and None for open ends."""

    choice: str
    serial_from: str = ""
    serial_to: str = ""
    year_from: int | None = None
    year_to: int | None = None


@dataclass(frozen=True, slots=True)
class Build:
    """A point in which machines of one type differ by build; ``build.<name>`` in rules."""

    name: str
    meaning: str
    choices: tuple[tuple[str, str], ...]
    breaks: tuple[Break, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Station:
    """A place on the walk round; quantities whose part is listed are set or read there."""

    id: str
    title: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachineCard:
    """One type of machine. ``targets`` are keyed by (crop or 'every', quantity)."""

    id: str
    title: str
    basis: Basis
    manual: str
    governed_shaft: str
    builds: tuple[Build, ...]
    stations: tuple[Station, ...]
    carried: tuple[Carried, ...]
    shafts: tuple[Component, ...]
    drives: tuple[Component, ...]
    parts: tuple[Component, ...]
    targets: tuple[tuple[str, str, Target], ...]
    place: Place
    origin: str = ""
    overrides: bool = False

    def components(self) -> tuple[Component, ...]:
        """Shafts, drives and other parts."""
        return self.shafts + self.drives + self.parts


@lru_cache(maxsize=8192)
def crop_key(name: str) -> str:
    """A crop's name as it is compared: case and the way accents are written are of no account."""
    return normalize("NFC", normalize("NFC", name.strip()).casefold())


@dataclass(frozen=True, slots=True)
class CropCard:
    """One crop.

    Attributes:
        also: other names and codes of it.   names: what it is called in other languages (ISO 639-1).
        measures: numbers for loss arithmetic in canonical units, keyed by name.
    """

    id: str
    name: str
    eppo: str
    also: tuple[str, ...]
    names: tuple[tuple[str, tuple[str, ...]], ...]
    row_crop: bool
    grain_class: str
    targets: tuple[tuple[str, Target], ...]
    measures: tuple[tuple[str, float, Basis], ...]
    place: Place
    origin: str = ""
    overrides: bool = False

    def called(self) -> tuple[str, ...]:
        """Everything that it may be called, its id first."""
        return (self.id, self.name, self.eppo, *self.also, *(name for _, some in self.names for name in some))
