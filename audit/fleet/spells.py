"""A day's log of one unit: when did each rule go out of window, for how long, over what area.

What stood at a time stamp stands until the next one, if that comes within the gap limit. After a longer silence nobody
knows what stood: that time counts neither as in nor as out, and a spell ends there. The last row stands for no time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import NamedTuple

from audit.fleet.units import Fault
from audit.nouns.risk import Level


@dataclass(frozen=True, slots=True)
class Mark:
    """What one row of a log says of one question that is not in order."""

    broken: bool
    level: Level
    index: int
    downtime: float
    people: bool


class Row(NamedTuple):
    """One time-stamped setup of the log.

    Attributes:
        at: s since 1970.
        hectares_per_s: ground speed times working width, None where either is not known.
        marks: questions that are broken or unknown; the rest are kept or not asked.
    """

    at: float
    hectares_per_s: float | None
    marks: Mapping[Fault, Mark]


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time during which a rule was broken.

    Attributes:
        start, end: s since 1970.
        open: it was still broken at the end, and a gap follows, or nothing.
        seconds: broken within it, without the flickers.
        flickers: times it was in window for less than the debounce, and so did not end the spell.
    """

    start: float
    end: float
    open: bool
    seconds: float
    flickers: int


@dataclass(frozen=True, slots=True)
class OutOfWindow:
    """One question over the whole log.

    Attributes:
        level, index, downtime, people: of the worst it came to.
        seconds: broken, all told.   seconds_unknown: not answered.   longest: the longest spell, s.
        hectares: cut while it was broken, as far as that is known.   seconds_no_area: broken time without known area.
        spells: those that last at least the debounce.
        short: spells below it; their time is in ``seconds``.
    """

    rule: str
    on: str
    level: Level
    index: int
    downtime: float
    people: bool
    seconds: float
    seconds_unknown: float
    hectares: float
    seconds_no_area: float
    spells: tuple[Spell, ...]
    short: int

    @property
    def damage_time(self) -> float:
        """What ranks it: hours of standing if the harm happens, times hours out of window, h²."""
        return self.downtime * self.seconds / 3600


@dataclass(frozen=True, slots=True)
class LogAudit:
    """A log as audited.

    Attributes:
        covered: time between rows no further apart than the gap limit, s.
        gaps: start and end of each silence beyond it.
        hectares: cut in the covered time as far as known.   seconds_no_area: covered time without known area.
        out: questions that were ever broken, most damage times time first.
        never_answered: questions that were never broken and were unknown at some time, with that time in s.
        same_time: rows that were overtaken by another of the same time.
        unordered: rows that stood after a later one.
    """

    rows: int
    start: float
    end: float
    gap_limit: float
    debounce: float
    covered: float
    gaps: tuple[tuple[float, float], ...]
    hectares: float
    seconds_no_area: float
    out: tuple[OutOfWindow, ...]
    never_answered: tuple[tuple[Fault, float], ...]
    same_time: int
    unordered: int


class _Piece(NamedTuple):
    """The time for which one row stands."""

    start: float
    end: float
    mark: Mark | None
    hectares: float | None

    @property
    def seconds(self) -> float:
        return self.end - self.start

    @property
    def is_out(self) -> bool:
        return self.mark is not None and self.mark.broken


def audit_log(rows: Iterable[Row], gap_limit: float, debounce: float) -> LogAudit:
    """Spells out of window of every question of a log.

    Args:
        rows: in the order of the log, at least one.
        gap_limit: longest time for which a row stands, s.
        debounce: shortest time in window that ends a spell, and shortest spell that is told, s.
    """
    as_read = list(rows)
    unordered = sum(later.at < earlier.at for earlier, later in pairwise(as_read))
    newest = {row.at: row for row in as_read}  # of one time the last one read stands
    ordered = [newest[at] for at in sorted(newest)]
    pairs = [(one, other.at) for one, other in pairwise(ordered)]
    stands = [(row, end) for row, end in pairs if end - row.at <= gap_limit]
    faults = dict.fromkeys(fault for row in ordered for fault in row.marks)
    out = [_out(fault, stands, ordered, debounce) for fault in faults if _ever_broken(fault, ordered)]
    silent = [
        (fault, sum(end - row.at for row, end in stands if fault in row.marks))
        for fault in faults
        if not _ever_broken(fault, ordered)
    ]
    return LogAudit(
        rows=len(as_read),
        start=ordered[0].at,
        end=ordered[-1].at,
        gap_limit=gap_limit,
        debounce=debounce,
        covered=sum(end - row.at for row, end in stands),
        gaps=tuple((row.at, end) for row, end in pairs if end - row.at > gap_limit),
        hectares=sum(row.hectares_per_s * (end - row.at) for row, end in stands if row.hectares_per_s is not None),
        seconds_no_area=sum(end - row.at for row, end in stands if row.hectares_per_s is None),
        out=tuple(sorted(out, key=lambda one: (-one.damage_time, one.index, -one.downtime, one.rule, one.on))),
        never_answered=tuple(sorted(silent, key=lambda pair: (-pair[1], pair[0]))),
        same_time=len(as_read) - len(ordered),
        unordered=unordered,
    )


def _ever_broken(fault: Fault, rows: Sequence[Row]) -> bool:
    return any(fault in row.marks and row.marks[fault].broken for row in rows)


def _out(fault: Fault, stands: Sequence[tuple[Row, float]], rows: Sequence[Row], debounce: float) -> OutOfWindow:
    pieces = []
    for row, end in stands:
        area = None if row.hectares_per_s is None else row.hectares_per_s * (end - row.at)
        pieces.append(_Piece(row.at, end, row.marks.get(fault), area))
    broken = [piece for piece in pieces if piece.is_out]
    marks = [row.marks[fault] for row in rows if fault in row.marks and row.marks[fault].broken]
    worst = min(marks, key=lambda mark: (mark.level, mark.index, -mark.downtime))
    at_end = {row.at for row in rows if fault in row.marks and row.marks[fault].broken}
    spells = [spell for stretch in _stretches(pieces) for spell in _spells(stretch, at_end, debounce)]
    long = tuple(spell for spell in spells if spell.end - spell.start >= debounce)
    return OutOfWindow(
        rule=fault[0],
        on=fault[1],
        level=worst.level,
        index=worst.index,
        downtime=worst.downtime,
        people=any(mark.people for mark in marks),
        seconds=sum(piece.seconds for piece in broken),
        seconds_unknown=sum(piece.seconds for piece in pieces if piece.mark is not None and not piece.is_out),
        hectares=sum(piece.hectares for piece in broken if piece.hectares is not None),
        seconds_no_area=sum(piece.seconds for piece in broken if piece.hectares is None),
        spells=long,
        short=len(spells) - len(long),
    )


def _stretches(pieces: Sequence[_Piece]) -> list[list[_Piece]]:
    """Pieces without a gap between them."""
    found: list[list[_Piece]] = []
    for piece in pieces:
        if found and found[-1][-1].end == piece.start:
            found[-1].append(piece)
        else:
            found.append([piece])
    return found


def _spells(stretch: Sequence[_Piece], still_broken: Set[float], debounce: float) -> list[Spell]:
    """Spells of one stretch; those that are less than the debounce apart are one, with a flicker between them.

    Args:
        still_broken: times of the rows that are broken; one of them may end the stretch.
    """
    runs = [(state, list(pieces)) for state, pieces in groupby(stretch, key=lambda piece: piece.is_out)]
    found: list[Spell] = []
    for is_out, pieces in runs:
        if not is_out:
            continue
        start, end = pieces[0].start, pieces[-1].end
        ends_open = end == stretch[-1].end and end in still_broken
        seconds = end - start
        if found and start - found[-1].end < debounce:
            last = found.pop()
            found.append(Spell(last.start, end, ends_open, last.seconds + seconds, last.flickers + 1))
        else:
            found.append(Spell(start, end, ends_open, seconds, 0))
    return found
