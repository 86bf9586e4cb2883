"""Rounds made by putting in one piece of work after another: a first plan, and better ones by taking some out again.

The solver makes few rounds as good as they can be; this makes many rounds good soon. What a piece adds to a round's
way is worked out once for a farm and kept until the round changes, so that a whole fleet takes seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from itertools import combinations, pairwise
from random import Random

from audit.fleet.jobs import Job, Piece, Slot
from audit.fleet.rounds import Book, Cost, Rounds, Stop, timetable, travelled, without

_PAIRED = 8
"""Most technicians of whom pairs are tried for work that takes two: those for whom it is nearest."""
_FARMS = 4
"""Most farms whose work is taken out together."""
_WAITING = 12
"""Most units left out that are tried again each time."""

Order = Callable[[Job], tuple[object, ...]]

ORDERS: tuple[Order, ...] = (
    lambda job: (not job.held, -job.risk / job.minutes, job.unit),
    lambda job: (not job.held, job.harvest, -job.risk / job.minutes, job.unit),
    lambda job: (not job.held, job.farm, -job.risk / job.minutes, job.unit),
)
"""Ways to choose who comes first in a first plan."""


class _Round:
    """One round, never changed. ``free``: minutes of the day that are left; below 0 where it is too long."""

    __slots__ = ("_added", "book", "farms", "free", "shared", "slot", "stops", "way")

    def __init__(self, book: Book, slot: Slot, stops: tuple[Stop, ...]) -> None:
        self.book, self.slot, self.stops = book, slot, stops
        self.farms = frozenset(stop.farm for stop in stops)
        self.shared = frozenset(stop.farm for stop in stops if stop.shared)
        self.way = travelled(book, slot, stops)
        self.free = book.visits.minutes_a_day - self.way - sum(stop.minutes for stop in stops)
        self._added: dict[str, tuple[int, int]] = {}

    def added(self, farm: str) -> tuple[int, int]:
        """By how much the way grows to pass by a farm, min, and before which stop that is least."""
        if farm in self.farms:
            return 0, 0
        found = self._added.get(farm)
        if found is None:
            ways, base = self.book.visits.travel, self.book.base(self.slot)
            way = [base, *(stop.farm for stop in self.stops), base]
            found = self._added[farm] = min(
                (ways[one, farm] + ways[farm, other] - ways[one, other], place)
                for place, (one, other) in enumerate(pairwise(way))
            )
        return found

    def with_piece(self, piece: Piece) -> _Round:
        """The round with one more piece: at the stop there is, else where the way grows least."""
        if piece.farm in self.farms:
            stops = tuple(Stop(s.farm, (*s.pieces, piece)) if s.farm == piece.farm else s for s in self.stops)
        else:
            place = self.added(piece.farm)[1]
            stops = (*self.stops[:place], Stop(piece.farm, (piece,)), *self.stops[place:])
        return _Round(self.book, self.slot, stops)


Today = dict[Slot, _Round]
"""The rounds of one day."""


def first_plan(book: Book, order: Order) -> dict[Slot, tuple[Stop, ...]]:
    """Day by day, each unit in turn where it makes the way longest by least."""
    waiting = {job.unit: list(job.pieces) for job in sorted(book.jobs, key=order)}
    rounds: dict[Slot, tuple[Stop, ...]] = {}
    for day in book.days:
        today: Today = {slot: _Round(book, slot, ()) for slot in book.slots_on(day)}
        for pieces in waiting.values():
            if pieces and _put(book, today, pieces[0]):
                pieces.pop(0)
        rounds |= {slot: one.stops for slot, one in today.items()}
    return without(rounds, {unit for unit, pieces in waiting.items() if pieces})


def _put(book: Book, today: Today, piece: Piece) -> bool:
    """Puts one more piece of work into the day's rounds; False where it does not fit."""
    longer: dict[Slot, int] = {}
    for slot, one in today.items():
        if one.free >= piece.minutes and slot in piece.slots:
            added = one.added(piece.farm)[0]
            if added + piece.minutes <= one.free:
                longer[slot] = added
    if len(longer) < piece.crew:
        return False
    there = {slot for slot, one in today.items() if piece.farm in one.shared} if piece.crew > 1 else set()
    if piece.crew > 1:  # of many technicians there are many pairs
        few = sorted(longer, key=lambda slot: (slot not in there, longer[slot], slot))[:_PAIRED]
        longer = {slot: longer[slot] for slot in few}
    crews = [crew for crew in combinations(sorted(longer), piece.crew) if there <= set(crew)]  # else others share there
    for crew in sorted(crews, key=lambda crew: (sum(longer[slot] for slot in crew), crew)):
        new = {slot: today[slot].with_piece(piece) for slot in crew}
        if _is_in_time(book, today, new):
            today |= new
            return True
    return False


def _is_in_time(book: Book, today: Today, new: Mapping[Slot, _Round]) -> bool:
    """Whether everybody is back in time with some rounds anew. Only who shares work may have to wait for others."""
    if any(one.free < 0 for one in new.values()):
        return False
    if not any(one.shared for one in new.values()):
        return True
    return timetable(book, {slot: one.stops for slot, one in {**today, **new}.items() if one.shared}) is not None


# ------------------------------------------------------------------------------------- some taken out and put in anew


def improved(book: Book, rounds: Rounds, tries: int) -> dict[Slot, tuple[Stop, ...]]:
    """Rounds that cost no more: work of a few farms is taken out and put in again, and kept where that is better.

    Args:
        tries: how often; the same number gives the same rounds on every machine.
    """
    days = {day: {slot: _Round(book, slot, rounds[slot]) for slot in book.slots_on(day)} for day in book.days}
    chance, farms = Random(0), sorted({job.farm for job in book.jobs})
    ways = book.visits.travel
    near = {one: sorted(farms, key=lambda other, one=one: (ways[one, other], other)) for one in farms}  # type: ignore[misc]
    done = _done(days)
    for _ in range(tries):
        some = set(near[chance.choice(farms)][: chance.randint(1, _FARMS)])
        jobs = [job for job in book.jobs if job.farm in some]
        late = [job for job in book.jobs if job.farm not in some and job.unit not in done]
        jobs += chance.sample(late, min(len(late), _WAITING))
        _put_anew(book, days, done, jobs, chance)
    return {slot: one.stops for today in days.values() for slot, one in today.items()}


def _done(days: Mapping[date, Today]) -> dict[str, date]:
    """The day on which the last piece of each unit is done."""
    return {
        piece.unit: day
        for day in sorted(days)
        for one in days[day].values()
        for stop in one.stops
        for piece in stop.pieces
    }


def _put_anew(book: Book, days: dict[date, Today], done: dict[str, date], jobs: Sequence[Job], chance: Random) -> None:
    """Takes some units out and puts them in again, each on the first day it fits; all stays where that is no better."""
    units = {job.unit for job in jobs}
    farms = {job.farm for job in jobs}
    tried = {day: dict(today) for day, today in days.items()}
    for today in tried.values():
        for slot, one in today.items():
            if not farms.isdisjoint(one.farms):
                today[slot] = _Round(book, slot, without({slot: one.stops}, units)[slot])
    held_first = chance.random() < 0.5
    weight = {job.unit: job.risk / job.minutes * chance.uniform(0.7, 1.3) for job in jobs}
    found: dict[str, date] = {}
    for job in sorted(jobs, key=lambda job: (held_first and not job.held, -weight[job.unit], job.unit)):
        day = _placed(book, tried, job)
        if day is not None:
            found[job.unit] = day
    changed = [day for day, today in tried.items() if any(today[slot] is not one for slot, one in days[day].items())]
    before, after = ([today[day] for day in changed] for today in (days, tried))
    if not _cost(book, jobs, found, after) < _cost(book, jobs, done, before):
        return
    if not all(_is_in_time(book, {}, today) for today in after):
        return  # where a detour is the shorter way, a stop that is left out can make a round too long
    days |= tried
    for unit in units:
        done.pop(unit, None)
    done |= found


def _placed(book: Book, days: dict[date, Today], job: Job) -> date | None:
    """Puts all pieces of a unit in, one day after the other; gives the last day, None where not all of them fit."""
    before = {day: dict(today) for day, today in days.items()} if len(job.pieces) > 1 else {}
    left, last = list(job.pieces), None
    for day in book.days:
        if _put(book, days[day], left[0]):
            left.pop(0)
            last = day
            if not left:
                return last
    days |= before
    return None


def _cost(book: Book, jobs: Iterable[Job], done: Mapping[str, date], days: Iterable[Today]) -> Cost:
    """The part of the cost that these units and the ways of these days have."""
    missed = stays = 0
    for job in jobs:
        day = done.get(job.unit)
        missed += job.risk if job.held and day is None else 0
        stays += job.risk * (book.horizon if day is None else book.offset(day))
    return Cost(missed, stays, sum(one.way for today in days for one in today.values()))
