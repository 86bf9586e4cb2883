"""Units with planned work as jobs for a schedule, and why some of them can be in none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from audit.fleet.units import Audited
from audit.fleet.visits import Farm, Technician, Visits

Slot = tuple[int, date]
"""One technician, by place in the list, on one day."""


class Piece(NamedTuple):
    """What is done of one unit in one visit.

    Attributes:
        part: 0 for the first visit; a unit whose work is longer than a day needs several, on different days.
        crew: technicians it takes at the same time, 1 or 2.
        slots: who may do it, when.
    """

    unit: str
    part: int
    farm: str
    minutes: int
    crew: int
    slots: frozenset[Slot]


@dataclass(frozen=True, slots=True)
class Job:
    """All work on one unit.

    Attributes:
        risk: tenths of an hour at risk, at least 1: what it has that is broken, and what it may have that is unknown.
        people: that the work takes; a farm's helper is one of them.
    """

    unit: str
    farm: str
    card: str
    minutes: int
    people: int
    held: bool
    risk: int
    harvest: date
    pieces: tuple[Piece, ...]


class LeftOut(NamedTuple):
    """A unit that no schedule can have, or that this one has not, and why."""

    unit: str
    farm: str
    held: bool
    why: str


def jobs_of(units: Sequence[Audited], visits: Visits) -> tuple[tuple[Job, ...], tuple[LeftOut, ...]]:
    """Jobs in order of unit, and the units with something wrong for which there is no job."""
    farms = {farm.name: farm for farm in visits.farms}
    jobs, out = [], []
    for unit in units:
        line = unit.line
        if not unit.findings or (line.work is not None and not line.work.steps and not line.work.conflict):
            continue
        made = _job(unit, farms.get(line.farm), visits)
        if isinstance(made, Job):
            jobs.append(made)
        else:
            out.append(LeftOut(line.unit, line.farm, line.held, made))
    return tuple(jobs), tuple(out)


def _job(unit: Audited, farm: Farm | None, visits: Visits) -> Job | str:
    line, work = unit.line, unit.line.work
    if work is None:
        return "its work was not planned"
    if work.conflict:
        return "there is no plan that puts it right; 'setup-audit plan' says why"
    if farm is None:
        return "its farm is not in the visits file" if line.farm else "nobody says on which farm it is"
    skilled = [
        (number, one) for number, one in enumerate(visits.technicians) if not one.skills or line.card in one.skills
    ]
    if not skilled:
        return f"nobody is trained on machine card {line.card}"
    slots = frozenset((number, day) for number, one in skilled for day in one.days if day < farm.harvest)
    if not slots:
        return f"nobody who is trained on it has a day before the harvest on {farm.harvest}"
    crew = max(1, work.people - farm.helper)
    if crew > 2:
        return f"its work takes {crew} technicians at once; more than two are not planned"
    days = [day for _, day in slots]
    if crew == 2 and all(days.count(day) < 2 for day in days):
        return "it takes two technicians, no two have the same day before the harvest, and the farm has no helper"
    cut = _cut(math.ceil(work.minutes), farm, [one for _, one in skilled], visits)
    if cut is None:
        return "the way there and back takes the whole day"
    count, minutes = cut
    if count > len(set(days)):
        return f"its work takes {count} days, and there are {len(set(days))} before the harvest on {farm.harvest}"
    hours = unit.hours + unit.hours_hidden
    pieces = tuple(Piece(line.unit, part, farm.name, minutes, crew, slots) for part in range(count))
    return Job(
        unit=line.unit,
        farm=farm.name,
        card=line.card,
        minutes=minutes * count,
        people=work.people,
        held=line.held,
        risk=max(1, round(hours * 10)),
        harvest=farm.harvest,
        pieces=pieces,
    )


def _cut(minutes: int, farm: Farm, skilled: Sequence[Technician], visits: Visits) -> tuple[int, int] | None:
    """Into how many visits of how many minutes the work must be cut; None where nobody can get there and back."""
    ways = [visits.travel[one.base, farm.name] + visits.travel[farm.name, one.base] for one in skilled]
    most = visits.minutes_a_day - min(ways)
    if most <= 0:
        return None
    count = max(1, math.ceil(minutes / most))
    return count, math.ceil(minutes / count)
