"""What is known of the machine so far, and the speeds that follow from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product

from api.card_interview.parts import fastest_and_slowest
from api.card_interview.question import ByWord, Number, Refused, Size, Window
from audit.measures import show
from audit.nouns.kind import Kind
from audit.nouns.machine import Move
from audit.physics.formula import OutOfRange

Reach = tuple[float, float]
"""Lowest and highest speed, r/min."""


@dataclass(frozen=True, slots=True)
class BuildDraft:
    """What differs between builds: ``breaks`` are choice and the card's own words for where it begins or ends."""

    meaning: str
    choices: Mapping[str, str]
    breaks: tuple[tuple[str, Mapping[str, str]], ...]


@dataclass(frozen=True, slots=True)
class Shaft:
    """One shaft; ``stated`` holds the parameters of its kind as they go on the card."""

    id: str
    title: str
    station: str
    kind: str
    stated: Mapping[str, Size | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Drive:
    """One drive.

    Attributes:
        stated: parameters of its kind that are known, words among them.
        notes: what the card's reader should know of it.
    """

    id: str
    kind: str
    driver: str
    driven: str
    stated: Mapping[str, Size | str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


NOT_ASKED = Number(0.0, "")


@dataclass(frozen=True, slots=True)
class Left:
    """What was not known: of what, which number or word, and what can't be judged without it."""

    of: str
    what: str
    lost: str


@dataclass
class Draft:
    """The card as far as it is known.

    Attributes:
        left: what was not known.
        dropped: shafts that can't go on the card, each with why.
        settings: what is moved on the machine; a window of numbers, words, or None for no more said.
        moves: what it takes to move a setting, or to bring a reading right, where that is not what is usual.
        targets: by crop (``every`` for all) and quantity.
    """

    name: str
    title: str = ""
    manual: str = ""
    threshing: str = ""
    governed: Number = NOT_ASKED
    builds: dict[str, BuildDraft] = field(default_factory=dict)
    shafts: dict[str, Shaft] = field(default_factory=dict)
    drives: dict[str, Drive] = field(default_factory=dict)
    dropped: dict[str, str] = field(default_factory=dict)
    bearings: tuple[str, ...] = ()
    settings: dict[str, Window | tuple[str, ...] | None] = field(default_factory=dict)
    moves: dict[str, Move] = field(default_factory=dict)
    targets: dict[str, dict[str, Window | tuple[str, ...]]] = field(default_factory=dict)
    left: list[Left] = field(default_factory=list)

    def behind(self, shaft: str) -> list[str]:
        """The shafts that drive this one, from the nearest on; what is not known yet ends the row."""
        found: list[str] = []
        while shaft in self.drives:
            shaft = self.drives[shaft].driver
            found.append(shaft)
        return found

    def words(self) -> dict[str, tuple[str, ...]]:
        """Positions of each build that a size may depend on."""
        return {f"build.{name}": tuple(build.choices) for name, build in self.builds.items()}

    def on_card(self) -> list[Shaft]:
        """The shafts that a known row of drives reaches from the engine."""
        return [one for one in self.shafts.values() if one.id not in self.dropped and self.reached(one.id)]

    def reached(self, shaft: str) -> bool:
        row = [shaft, *self.behind(shaft)]
        return row[-1] == "engine" and not any(one in self.dropped for one in row)


def reaches(draft: Draft, kinds: Mapping[str, Kind]) -> dict[str, Reach]:
    """Lowest and highest speed of every shaft that is reached so far. Raises Refused for sizes no formula takes."""
    found: dict[str, Reach] = {"engine": (draft.governed.value, draft.governed.value)}
    waiting = [drive for drive in draft.drives.values() if draft.reached(drive.driven)]
    while waiting:
        drive = next(one for one in waiting if one.driver in found)
        waiting.remove(drive)
        found[drive.driven] = carried(drive, kinds[drive.kind], found[drive.driver])
    return found


def carried(drive: Drive, kind: Kind, driver: Reach) -> Reach:
    """What a drive makes of its driver's speed, over all its positions. Raises Refused."""
    carry = kind.carry
    assert carry is not None  # every drive kind says how it carries speed
    ends: list[float] = []
    for speed, args in zip(driver, (carry.slow_args, carry.fast_args), strict=True):
        for stated in positions(drive):
            try:
                ends.append(carry.function(speed, *(stated[str(name)] for name in args)))
            except OutOfRange as error:
                raise Refused(f"no speed follows from this: {error}.") from None
    return min(ends), max(ends)


def positions(drive: Drive) -> Iterator[dict[str, float]]:
    """The numbers of a drive for every position that goes together: a stepped belt is never on two like steps."""
    words: dict[str, list[str]] = {}
    for one in drive.stated.values():
        if isinstance(one, ByWord):
            words.setdefault(one.by, list(one.values))
    for picked in product(*words.values()):
        if drive.kind == "stepped_v_belt" and len(picked) == 2 and picked[0] == picked[1]:
            continue
        at = dict(zip(words, picked, strict=True))
        yield {
            name: (one.values[at[one.by]] if isinstance(one, ByWord) else one).value
            for name, one in drive.stated.items()
            if not isinstance(one, str)
        }


def with_drive(draft: Draft, drive: Drive) -> Draft:
    """The draft with one more drive, or another in its place."""
    return replace(draft, drives={**draft.drives, drive.driven: drive})


def must_turn_sensibly(draft: Draft, drive: Drive, kinds: Mapping[str, Kind]) -> dict[str, Reach]:
    """Speeds with one more drive. Raises Refused if any shaft could not turn so fast or so slow."""
    tried = with_drive(draft, drive)
    found = reaches(tried, kinds)
    for id in (drive.driven, *(one for one in found if drive.driven in tried.behind(one))):
        if id not in found:
            continue
        (low, high), (least, most) = found[id], fastest_and_slowest(id, draft.shafts[id].kind)
        if low < least or high > most:
            raise Refused(
                f"then {id} would turn {said(found[id])}; such a shaft turns {show(least, 'r/min')} to "
                f"{show(most, 'r/min')} (common practice). Look at this number again; 'back' leads to the ones before."
            )
    return found


def ratio_of(value: float) -> Number:
    """A ratio as it goes on the card."""
    return Number(value, f"{value:.6g}")


def said(reach: Reach) -> str:
    """A reach in words."""
    low, high = reach
    return show(low, "r/min") if abs(high - low) < 0.5 else f"{show(low, 'r/min')} to {show(high, 'r/min')}"
