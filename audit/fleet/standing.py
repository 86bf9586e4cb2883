"""How the fleet stands: worst units first, what holds, work by farm, parts to order."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from audit.fleet.units import Audited, Fleet


@dataclass(frozen=True, slots=True)
class FarmWork:
    """What is to be done on one farm.

    Attributes:
        held: units that may not start.   to_do: units with planned work.
        minutes: of all their work.   two_people: minutes of the units whose work takes more than one person somewhere.
        parts: how many units take each.   tools: all that any of them takes.
        unplanned: units with findings whose work was not planned.   stuck: units for which there is no such work.
        hours: hours at risk on the farm.
    """

    farm: str
    units: int
    held: int
    to_do: int
    minutes: float
    two_people: float
    parts: tuple[tuple[str, int], ...]
    tools: tuple[str, ...]
    unplanned: tuple[str, ...]
    stuck: tuple[str, ...]
    hours: float


@dataclass(frozen=True, slots=True)
class PartWanted:
    """A part to order: for how many units, on which farms, and the first harvest that waits for it."""

    part: str
    units: tuple[str, ...]
    held: int
    farms: tuple[str, ...]
    first_harvest: date | None


def worst_first(fleet: Fleet) -> tuple[Audited, ...]:
    """Units in order of what is wrong: by the worst finding (level, index, broken before unknown), then by hours at
    risk, then by id. Units without a finding come last."""
    return tuple(sorted(fleet.units, key=_badness))


def _badness(unit: Audited) -> tuple[bool, tuple[int, int, bool], float, float, str]:
    worst = min(
        ((int(one.level), one.index, one.verdict.value == "unknown") for one in unit.findings), default=(9, 99, True)
    )
    return not unit.line.held, worst, -unit.hours, -unit.hours_hidden, unit.line.unit


def work_of(units: Iterable[Audited]) -> tuple[float, tuple[tuple[str, int], ...], tuple[str, ...]]:
    """Minutes, parts by how many units take them, and tools, of the planned work of some units."""
    minutes, parts, tools = 0.0, Counter[str](), set[str]()
    for unit in units:
        if unit.line.work is not None:
            minutes += unit.line.work.minutes
            parts.update(unit.line.work.parts)
            tools.update(unit.line.work.tools)
    return minutes, tuple(sorted(parts.items())), tuple(sorted(tools))


def by_farm(fleet: Fleet) -> tuple[FarmWork, ...]:
    """Work by farm, most hours at risk first."""
    farms: dict[str, list[Audited]] = defaultdict(list)
    for unit in fleet.units:
        farms[unit.line.farm].append(unit)
    found = []
    for farm, units in farms.items():
        planned = [(unit, unit.line.work) for unit in units if unit.line.work is not None]
        minutes, parts, tools = work_of(units)
        found.append(
            FarmWork(
                farm=farm,
                units=len(units),
                held=sum(unit.line.held for unit in units),
                to_do=sum(work.steps > 0 for _, work in planned),
                minutes=minutes,
                two_people=sum(work.minutes for _, work in planned if work.people > 1),
                parts=parts,
                tools=tools,
                unplanned=tuple(unit.line.unit for unit in units if unit.findings and unit.line.work is None),
                stuck=tuple(unit.line.unit for unit, work in planned if work.conflict),
                hours=sum(unit.hours for unit in units),
            )
        )
    return tuple(sorted(found, key=lambda one: (-one.hours, one.farm)))


def to_order(fleet: Fleet, harvests: Mapping[str, date]) -> tuple[PartWanted, ...]:
    """Parts that the planned work takes: those that the earliest harvest waits for first, then by number of units."""
    wanted: dict[str, list[Audited]] = defaultdict(list)
    for unit in fleet.units:
        for part in dict.fromkeys(unit.line.work.parts if unit.line.work else ()):
            wanted[part].append(unit)
    found = []
    for part, units in wanted.items():
        farms = sorted({unit.line.farm for unit in units})
        first = min((harvests[farm] for farm in farms if farm in harvests), default=None)
        held = sum(unit.line.held for unit in units)
        found.append(PartWanted(part, tuple(unit.line.unit for unit in units), held, tuple(farms), first))
    return tuple(sorted(found, key=lambda one: (one.first_harvest or date.max, -len(one.units), one.part)))
