"""Holds a schedule to its conditions, from what is shown alone: every time, way, date and sum is worked out anew."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from audit.fleet.jobs import Piece
from audit.fleet.rounds import Book, Cost

if TYPE_CHECKING:
    from audit.fleet.scheduling import Day

Share = tuple[date, str, int, int, str]
"""Work for two as one of them does it: day, farm, from, until, who."""


def flaws(book: Book, days: Sequence[Day], cost: Cost) -> list[str]:
    """What is wrong with a schedule; empty if nothing is."""
    found = [flaw for day in days for flaw in _of_day(book, day)]
    went = [(day.technician, day.day) for day in days]
    found += [f"{name} goes out twice on {day}" for name, day in {one for one in went if went.count(one) > 1}]
    done: dict[str, dict[int, date]] = defaultdict(dict)
    shared: dict[tuple[str, int], list[Share]] = defaultdict(list)
    for day in days:
        for visit in day.visits:
            now = visit.begins
            for piece in visit.pieces:
                if piece.crew == 1 and piece.part in done[piece.unit]:
                    found.append(f"{piece.unit} is done twice")
                done[piece.unit][piece.part] = day.day
                if piece.crew > 1:
                    share = (day.day, visit.farm, now, now + piece.minutes, day.technician)
                    shared[piece.unit, piece.part].append(share)
                now += piece.minutes
    found += _not_together(shared)
    return found + list(_of_jobs(book, done)) + list(_of_cost(book, days, done, cost))


def _of_day(book: Book, day: Day) -> Iterator[str]:
    visits, ways = book.visits, book.visits.travel
    who = next((one for one in visits.technicians if one.name == day.technician), None)
    jobs = {job.unit: job for job in book.jobs}
    farms = {farm.name: farm for farm in visits.farms}
    name = f"{day.technician} on {day.day}"
    if who is None or day.day not in who.days:
        yield f"{name}: does not work that day"
        return
    now, here, travel = day.leaves, who.base, 0
    if day.leaves < visits.leaves_at:
        yield f"{name}: leaves too early"
    for visit in day.visits:
        travel += ways[here, visit.farm]
        now += ways[here, visit.farm]
        if visit.arrives != now or visit.begins < now:
            yield f"{name}: can't be at {visit.farm} by then"
        now, here = visit.begins + sum(piece.minutes for piece in visit.pieces), visit.farm
        if visit.leaves != now:
            yield f"{name}: leaves {visit.farm} before or after its work"
        for piece in visit.pieces:
            job = jobs[piece.unit]
            if piece.farm != visit.farm or job.farm != visit.farm:
                yield f"{name}: {piece.unit} is not at {visit.farm}"
            if day.day >= farms[visit.farm].harvest:
                yield f"{name}: {piece.unit} is not done before the harvest"
            if who.skills and job.card not in who.skills:
                yield f"{name}: is not trained on {job.card}"
    travel += ways[here, who.base]
    if day.back != now + ways[here, who.base] or day.travel != travel:
        yield f"{name}: the way back does not add up"
    if day.back - day.leaves > visits.minutes_a_day:
        yield f"{name}: is out for longer than a day's work"


def _not_together(shared: dict[tuple[str, int], list[Share]]) -> Iterator[str]:
    """Work for two must be done by two, at one place and time."""
    for (unit, _), shares in shared.items():
        places = {share[:4] for share in shares}
        if len(shares) != 2 or len(places) != 1 or len({share[4] for share in shares}) != 2:
            yield f"{unit}: two are not there at the same time"


def _of_jobs(book: Book, done: dict[str, dict[int, date]]) -> Iterator[str]:
    """A unit has all its work, part after part on later days, by as many as it takes; or none."""
    farms = {farm.name: farm for farm in book.visits.farms}
    for job in book.jobs:
        days = [done[job.unit].get(part) for part in range(len(job.pieces))] if job.unit in done else []
        known = [day for day in days if day is not None]
        if len(known) != len(days):
            yield f"{job.unit}: is left half done"
        elif any(later <= earlier for earlier, later in pairwise(known)):
            yield f"{job.unit}: its parts are not done one day after the other"
        if _minutes(job.pieces) < job.minutes or job.people - farms[job.farm].helper > job.pieces[0].crew:
            yield f"{job.unit}: has less time or fewer people than its work takes"


def _minutes(pieces: Sequence[Piece]) -> int:
    return sum(piece.minutes for piece in pieces)


def _of_cost(book: Book, days: Sequence[Day], done: dict[str, dict[int, date]], cost: Cost) -> Iterator[str]:
    """The cost that is told is the cost that it has."""
    last = max(day for one in book.visits.technicians for day in one.days) if book.jobs else book.visits.start
    end = (last - book.visits.start).days + 1
    ready = {unit: (max(parts.values()) - book.visits.start).days for unit, parts in done.items()}
    missed = sum(job.risk for job in book.jobs if job.held and job.unit not in ready)
    risk_days = sum(job.risk * ready.get(job.unit, end) for job in book.jobs)
    if cost != Cost(missed, risk_days, sum(day.travel for day in days)):
        yield "its cost does not add up"
