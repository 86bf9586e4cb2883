"""Rounds: where each technician goes on each day, in which order, for which work; their times and cost."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from audit.fleet.jobs import Job, Piece, Slot
from audit.fleet.visits import Visits

Task = tuple[str, int]
"""A piece of work by name: unit and part."""


class Stop(NamedTuple):
    """Work on one farm in one round."""

    farm: str
    pieces: tuple[Piece, ...]

    @property
    def minutes(self) -> int:
        """Work on this stop, min."""
        return sum(piece.minutes for piece in self.pieces)

    @property
    def shared(self) -> bool:
        """Whether some of it takes two technicians."""
        return any(piece.crew > 1 for piece in self.pieces)


Rounds = Mapping[Slot, tuple[Stop, ...]]


class Cost(NamedTuple):
    """What a schedule is judged by, in this order; less is better.

    Attributes:
        held_missed: tenths of an hour at risk of held units that are not done before harvest.
        risk_days: tenths of an hour at risk times the days that they stay, from the start; what is not done stays to
            the end.
        travel: min.
    """

    held_missed: int
    risk_days: int
    travel: int


@dataclass(frozen=True, slots=True)
class Book:
    """Everything that is to be scheduled, with what each piece belongs to."""

    visits: Visits
    jobs: tuple[Job, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """Days on which anybody works."""
        return tuple(sorted({day for one in self.visits.technicians for day in one.days}))

    @property
    def horizon(self) -> int:
        """Days from the start to the day after the last one."""
        return self.offset(self.days[-1]) + 1

    def offset(self, day: date) -> int:
        """Days since the start."""
        return (day - self.visits.start).days

    def slots_on(self, day: date) -> tuple[Slot, ...]:
        """Who works on a day."""
        return tuple((number, day) for number, one in enumerate(self.visits.technicians) if day in one.days)

    def base(self, slot: Slot) -> str:
        """Where a round begins and ends."""
        return self.visits.technicians[slot[0]].base


def timetable(book: Book, rounds: Mapping[Slot, Sequence[Stop]]) -> dict[tuple[Slot, str], int] | None:
    """When work begins on each stop of one day's rounds, in minutes after leaving; None where a round is too long.

    Work for two is done first on a stop, and whoever comes first waits for the other.
    """
    travel, most = book.visits.travel, book.visits.minutes_a_day
    meet: dict[str, int] = {}
    while True:
        found: dict[tuple[Slot, str], int] = {}
        late = dict(meet)
        for slot, stops in rounds.items():
            now, here = 0, book.base(slot)
            for stop in stops:
                now += travel[here, stop.farm]
                if stop.shared:
                    now = max(now, meet.get(stop.farm, 0))
                    late[stop.farm] = max(late.get(stop.farm, 0), now)
                found[slot, stop.farm] = now
                now, here = now + stop.minutes, stop.farm
            if now + travel[here, book.base(slot)] > most:  # two who wait for each other end here too
                return None
        if late == meet:
            return found
        meet = late


def travelled(book: Book, slot: Slot, stops: Sequence[Stop]) -> int:
    """Minutes on the road in one round."""
    way = [book.base(slot), *(stop.farm for stop in stops), book.base(slot)]
    return sum(book.visits.travel[one, other] for one, other in pairwise(way))


def done_on(rounds: Rounds) -> dict[Task, date]:
    """The day on which each piece is done."""
    return {
        (piece.unit, piece.part): slot[1] for slot, stops in rounds.items() for stop in stops for piece in stop.pieces
    }


def cost_of(book: Book, rounds: Rounds) -> Cost:
    """The cost of rounds in which every unit has all its pieces or none."""
    done = done_on(rounds)
    missed = risk_days = 0
    for job in book.jobs:
        day = done.get((job.unit, len(job.pieces) - 1))
        missed += job.risk if job.held and day is None else 0
        risk_days += job.risk * (book.horizon if day is None else book.offset(day))
    return Cost(missed, risk_days, sum(travelled(book, slot, stops) for slot, stops in rounds.items()))


def without(rounds: Rounds, units: Collection[str]) -> dict[Slot, tuple[Stop, ...]]:
    """The rounds without some units; stops at which nothing is left are passed by."""
    out = {}
    for slot, stops in rounds.items():
        kept = (Stop(stop.farm, tuple(p for p in stop.pieces if p.unit not in units)) for stop in stops)
        out[slot] = tuple(stop for stop in kept if stop.pieces)
    return out


def least_cost(book: Book) -> tuple[int, int]:
    """Bounds below which no schedule comes: held hours missed, and risk times days, in tenths of an hour.

    Work is taken for a liquid that is poured into each day's time, less the shortest way there and back, by risk per
    minute: by the rearrangement inequality nothing removes risk sooner. Whole jobs, real ways, skills, and harvest
    dates only make it worse.
    """
    ways = book.visits.travel
    farms = {job.farm for job in book.jobs}
    room: dict[date, int] = {}
    for day in book.days:
        for slot in book.slots_on(day):
            base = book.base(slot)
            shortest = min((ways[base, farm] for farm in farms), default=0)
            back = min((ways[farm, base] for farm in farms), default=0)
            room[day] = room.get(day, 0) + max(0, book.visits.minutes_a_day - shortest - back)
    held = [job for job in book.jobs if job.held]
    missed = 0.0
    for until in {job.harvest for job in held}:
        before = sum(minutes for day, minutes in room.items() if day < until)
        left = _poured((job for job in held if job.harvest <= until), [(before, 0)], 1)
        missed = max(missed, left)
    days = [(minutes, book.offset(day)) for day, minutes in sorted(room.items())]
    stays = _poured(book.jobs, days, book.horizon)
    return int(-(-missed // 1)), int(-(-stays // 1))


def _poured(jobs: Iterable[Job], room: Sequence[tuple[int, int]], over: int) -> float:
    """Risk times the price of where it is poured; what finds no room pays ``over``."""
    places = [[float(minutes), float(price)] for minutes, price in room]
    total, place = 0.0, 0
    for job in sorted(jobs, key=lambda job: (-job.risk / _effort(job), job.unit)):
        left = float(_effort(job))
        while left > 1e-9 and place < len(places):
            took = min(left, places[place][0])
            total += job.risk * took / _effort(job) * places[place][1]
            left -= took
            places[place][0] -= took
            if places[place][0] <= 1e-9:
                place += 1
        total += job.risk * left / _effort(job) * over
    return total - 1e-6


def _effort(job: Job) -> int:
    """Technicians' minutes of a job."""
    return max(1, sum(piece.minutes * piece.crew for piece in job.pieces))
