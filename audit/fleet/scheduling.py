"""Who goes where on which day: a first plan in order of urgency, then better ones by the solver, then checked.

Where the whole plan is small enough it is solved at once and may be proven. Else some farms at a time are put in anew,
then a few rounds at a time are solved anew until the effort is spent (large neighbourhood search), and the distance to
a bound is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from random import Random

from audit.fleet.construction import ORDERS, first_plan, improved
from audit.fleet.jobs import Job, LeftOut, Piece, Slot, jobs_of
from audit.fleet.rounds import (
    Book,
    Cost,
    Rounds,
    Stop,
    cost_of,
    done_on,
    least_cost,
    timetable,
    travelled,
)
from audit.fleet.schedule_check import flaws
from audit.fleet.units import Audited
from audit.fleet.visits import Visits

MOST_WAYS = 20_000
"""Most ways between two stops in a plan that is solved at once."""
_MOST_WAITING = 5
"""Most units left out that are looked at beside those of the rounds that are solved anew."""
_PART_STOPS = 9
_PART_EFFORT = 0.25
_LEAST_EFFORT = 0.1
"""Stops of the rounds that are solved anew together, and effort for each step of it: for better, and at least."""
_TRIES = 20
"""How often some farms' work is put in anew for each unit of effort."""
_MOST_PARTS = 6.0
"""Most effort of the solver where it can only see parts."""
EFFORT = 20.0
"""Deterministic time of the solver that a schedule may take, in its own unit: about a second each."""


class Unsound(RuntimeError):
    """A schedule that does not stand up to the check; it is an error of this program and is never shown."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One stop: when it is reached, when work begins, when it is left; minutes after midnight."""

    farm: str
    arrives: int
    begins: int
    leaves: int
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Day:
    """One technician's day."""

    technician: str
    day: date
    base: str
    leaves: int
    visits: tuple[Visit, ...]
    back: int
    travel: int


@dataclass(frozen=True, slots=True)
class Schedule:
    """Who goes where on which day.

    Attributes:
        days: those on which someone goes out, by date and technician.
        done: day on which each unit is done.
        left_out: units with something wrong that are in no visit, held ones first, and why.
        proven: no schedule is better.   cost, least: what it costs, and a bound below every schedule's.
    """

    days: tuple[Day, ...]
    done: tuple[tuple[str, date], ...]
    left_out: tuple[LeftOut, ...]
    proven: bool
    cost: Cost
    least: tuple[int, int]


def schedule(units: Sequence[Audited], visits: Visits, effort: float = EFFORT) -> Schedule:
    """The schedule for all units that have planned work.

    Args:
        effort: deterministic time of the solver; the same effort gives the same schedule on every machine.

    Raises: Unsound: the schedule found breaks one of its own conditions.
    """
    jobs, out = jobs_of(units, visits)
    book = Book(visits, jobs)
    rounds: Rounds = {}
    proven, least = True, (0, 0)
    if jobs:
        first = min((first_plan(book, order) for order in ORDERS), key=lambda found: cost_of(book, found))
        rounds, proven, least = _better(book, first, effort)
    days = tuple(_days(book, rounds))
    done = done_on(rounds)
    finished = {job.unit: day for job in jobs if (day := done.get((job.unit, len(job.pieces) - 1)))}
    late = [
        LeftOut(job.unit, job.farm, job.held, _no_room(book, job, days)) for job in jobs if job.unit not in finished
    ]
    found = Schedule(
        days=days,
        done=tuple(sorted(finished.items(), key=lambda pair: (pair[1], pair[0]))),
        left_out=tuple(sorted((*out, *late), key=lambda one: (not one.held, one.farm, one.unit))),
        proven=proven,
        cost=cost_of(book, rounds),
        least=least,
    )
    wrong = flaws(book, found.days, found.cost)
    if wrong:
        raise Unsound("; ".join(wrong))
    return found


def _no_room(book: Book, job: Job, days: Sequence[Day]) -> str:
    """Why a unit that could be in a schedule is in none: what the days before its harvest are used for."""
    slots = {slot for piece in job.pieces for slot in piece.slots}
    names = [one.name for one in book.visits.technicians]
    out = {(names.index(day.technician), day.day): day.back - day.leaves for day in days}
    most = book.visits.minutes_a_day
    left = max(most - out.get(slot, 0) for slot in slots)
    taken = sum(out.get(slot, 0) for slot in slots)
    crew = " by two technicians together" if job.pieces[0].crew > 1 else ""
    visits = f" in {len(job.pieces)} visits" if len(job.pieces) > 1 else ""
    return (
        f"no room before the harvest on {job.harvest}: it takes {job.minutes} min{crew}{visits} and the way; other "
        f"work takes {taken / 60:.1f} of the {most * len(slots) / 60:g} h there are and leaves at most {left} min a day"
    )


# --------------------------------------------------------------------------------------------------- and better ones


def _better(book: Book, rounds: Rounds, effort: float) -> tuple[Rounds, bool, tuple[int, int]]:
    """Better rounds, whether they are proven best, and bounds below every schedule's cost."""
    from audit.fleet.schedule_solver import Window, solve  # an extra: whoever plans no visits need not have it

    least = least_cost(book)
    slots = tuple(slot for day in book.days for slot in book.slots_on(day))
    if _ways(slots, book.jobs) <= MOST_WAYS:
        answer = solve(Window(book, slots, book.jobs, (), frozenset(), rounds), effort / 3)
        bounds = (max(least[0], answer.bounds[0]), max(least[1], answer.bounds[1]))
        return answer.rounds, answer.proven, bounds
    rounds = improved(book, rounds, int(effort * _TRIES))
    return _by_parts(book, rounds, min(effort, _MOST_PARTS)), False, least


def _ways(slots: Iterable[Slot], jobs: Iterable[Job]) -> int:
    """Ways between two stops that a plan of some rounds chooses from: the size of what is solved."""
    farms: dict[Slot, set[str]] = {slot: set() for slot in slots}
    for job in jobs:
        for slot in job.pieces[0].slots:
            if slot in farms:
                farms[slot].add(job.farm)
    return sum((len(some) + 1) ** 2 for some in farms.values())


def _by_parts(book: Book, rounds: Rounds, effort: float) -> Rounds:
    """Solves some rounds anew, with what nobody does yet; over and over until the effort is spent."""
    from audit.fleet.schedule_solver import Window, solve

    now, spent, chance = dict(rounds), 0.0, Random(0)
    while spent < effort:
        slots = _some(book, now, chance)
        inside = {piece.unit for slot in slots for stop in now[slot] for piece in stop.pieces}
        outside = {piece.unit for slot in now.keys() - slots for stop in now[slot] for piece in stop.pieces}
        waiting = [job for job in book.jobs if job.unit not in inside | outside]
        waiting.sort(key=ORDERS[0])
        jobs = [job for job in book.jobs if job.unit in inside - outside] + waiting[:_MOST_WAITING]
        pinned = [
            (piece, slot[1])
            for slot in sorted(slots)
            for stop in now[slot]
            for piece in stop.pieces
            if piece.unit in inside & outside
        ]
        answer = solve(
            Window(
                book=book,
                slots=tuple(sorted(slots)),
                jobs=tuple(jobs),
                pinned=tuple(dict.fromkeys(pinned)),
                shared_elsewhere=frozenset(
                    (slot[1], stop.farm) for slot in now.keys() - slots for stop in now[slot] if stop.shared
                ),
                now={slot: now[slot] for slot in slots},
            ),
            _PART_EFFORT,
        )
        spent += answer.effort + _LEAST_EFFORT
        now |= answer.rounds
    return now


def _some(book: Book, now: Rounds, chance: Random) -> set[Slot]:
    """Rounds to solve together: some near each other or any, whole where technicians share work."""
    groups = _sharing(now)
    first = groups[chance.randrange(len(groups))]
    if chance.random() < 0.5:
        here = _places(book, now, first)
        ways = book.visits.travel
        near = {id(group): min(ways[a, b] for a in here for b in _places(book, now, group)) for group in groups}
        others = sorted(groups, key=lambda group: (near[id(group)], group))
    else:
        others = chance.sample(groups, len(groups))
    found, stops = set(first), 0
    for group in others:
        stops += sum(len(now[slot]) + 1 for slot in group)
        if stops > _PART_STOPS:
            break
        found |= set(group)
    return found


def _sharing(now: Rounds) -> list[list[Slot]]:
    """Rounds in groups that share no work."""
    group = {slot: [slot] for slot in now}
    meets: dict[tuple[date, str], Slot] = {}
    for slot, stops in now.items():
        for stop in stops:
            other = meets.setdefault((slot[1], stop.farm), slot) if stop.shared else slot
            if group[other] is not group[slot]:
                group[other] += group[slot]
                for one in group[other]:
                    group[one] = group[other]
    return [some for slot, some in sorted(group.items()) if slot == some[0]]


def _places(book: Book, now: Rounds, slots: Iterable[Slot]) -> list[str]:
    """Where some rounds lead; their bases where they lead nowhere."""
    return [stop.farm for slot in slots for stop in now[slot]] or [book.base(slot) for slot in slots]


# ------------------------------------------------------------------------------------------------- as it is shown


def _days(book: Book, rounds: Rounds) -> Iterator[Day]:
    """Rounds with their times, by date and technician."""
    for day in book.days:
        today = {slot: rounds.get(slot, ()) for slot in book.slots_on(day)}
        times = timetable(book, today)
        if times is None:
            raise Unsound(f"rounds on {day} take longer than the day")
        for slot, stops in today.items():
            if stops:
                yield _day(book, slot, stops, times)


def _day(book: Book, slot: Slot, stops: Sequence[Stop], times: Mapping[tuple[Slot, str], int]) -> Day:
    ways, leaves, base = book.visits.travel, book.visits.leaves_at, book.base(slot)
    now, here, visits = leaves, base, []
    for stop in stops:
        arrives, begins = now + ways[here, stop.farm], leaves + times[slot, stop.farm]
        now, here = begins + stop.minutes, stop.farm
        pieces = tuple(sorted(stop.pieces, key=lambda piece: (-piece.crew, piece.unit)))
        visits.append(Visit(stop.farm, arrives, begins, now, pieces))
    name = book.visits.technicians[slot[0]].name
    back = now + ways[here, base]
    return Day(name, slot[1], base, leaves, tuple(visits), back, travelled(book, slot, stops))
