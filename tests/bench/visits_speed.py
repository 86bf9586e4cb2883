"""How fast visits are scheduled as a fleet grows, and what more effort brings, in one run; processor time.

    python tests/bench/visits_speed.py [machines] [farms]

An invented fleet: ten machines a farm, farms anywhere in a square, technicians with enough days for about nine tenths of
the work, so that something is left out. Ratios are to a schedule of a tenth of the fleet.
"""

from __future__ import annotations

import sys
import time
from datetime import date, timedelta
from random import Random

from audit.fleet.jobs import jobs_of
from audit.fleet.rounds import Book, least_cost
from audit.fleet.scheduling import EFFORT, Schedule, schedule
from audit.fleet.units import Audited, FindingLine, UnitLine, Work
from audit.fleet.visits import Farm, Technician, Visits
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict

START = date(2026, 8, 3)
SIDE = 120
"""Side of the square, min on the road."""


def main(machines: int, farms: int) -> None:
    """Prints processor times, costs and ratios."""
    plan, units = fleet(machines, farms)
    small_plan, small = fleet(max(1, machines // 10), max(1, farms // 10))
    base, _ = timed(small, small_plan, EFFORT)
    for name, effort in (("first plan, hardly any better", 1e-9), ("as it is shown", EFFORT)):
        spent, found = timed(units, plan, effort)
        least = least_cost(Book(plan, jobs_of(units, plan)[0]))
        print(
            f"{name}: {machines} machines on {farms} farms, {spent:.1f} s, {spent / base:.1f} times a tenth of the fleet; "
            f"{len(found.done)} done, {len(found.left_out)} left out; held missed {_over(found.cost[0], least[0])}, "
            f"risk days {_over(found.cost[1], least[1])}, {found.cost.travel} min on the road"
        )


def _over(cost: int, least: int) -> str:
    return f"{cost} ({cost / least:.3f} times the bound)" if least else f"{cost} (bound 0)"


def timed(units: list[Audited], plan: Visits, effort: float) -> tuple[float, Schedule]:
    """Processor seconds of one schedule, and the schedule."""
    began = time.process_time()
    found = schedule(units, plan, effort)
    return time.process_time() - began, found


def fleet(machines: int, farms: int) -> tuple[Visits, list[Audited]]:
    """Machines with planned work, and who may go there; the same every time."""
    chance = Random(machines)
    work = [chance.choice((25, 40, 60, 90, 120, 180, 300)) for _ in range(machines)]
    days = 12
    technicians = max(1, round(sum(work) * 0.9 / (days * 420)))
    places = {f"farm-{n:03}": (chance.uniform(0, SIDE), chance.uniform(0, SIDE)) for n in range(farms)}
    bases = {f"base-{n}": (chance.uniform(0, SIDE), chance.uniform(0, SIDE)) for n in range(max(1, technicians // 5))}
    everywhere = {**places, **bases}
    plan = Visits(
        start=START,
        minutes_a_day=600,
        leaves_at=420,
        technicians=tuple(
            Technician(f"tech-{n:02}", f"base-{n % len(bases)}", tuple(START + timedelta(days=d) for d in range(days)), ())
            for n in range(technicians)
        ),
        farms=tuple(Farm(name, START + timedelta(days=chance.randrange(6, 16)), n % 3 == 0) for n, name in enumerate(places)),
        travel={
            (one, other): round(abs(a - c) + abs(b - d))
            for one, (a, b) in everywhere.items()
            for other, (c, d) in everywhere.items()
        },
    )  # fmt: skip
    return plan, [_unit(row, f"farm-{row % farms:03}", minutes, chance) for row, minutes in enumerate(work)]


def _unit(row: int, farm: str, minutes: int, chance: Random) -> Audited:
    held = chance.random() < 0.4
    line = UnitLine(
        row=row, unit=f"unit-{row:04}", farm=farm, serial=f"KX-{row:05}", build_year=2020, card="axial-single",
        crop="corn", header_kind="corn-head", taken=1000.0, by="", held=held, kept=0, broken=1, unknown=0, worst=None,
        work=Work(float(minutes), chance.choice((1, 1, 1, 2)), (), (), steps=3, proven=True, conflict=False),
    )  # fmt: skip
    finding = FindingLine(
        row=row, rule="drum-high", on="", station="feeder", verdict=Verdict.BROKEN, level=Level.SERIOUS, index=8,
        holds=held, downtime=chance.uniform(1, 60), share=0.1, people=False, quantity="feeder.drum", side="",
        found="raised", wanted="lowered",
    )  # fmt: skip
    return Audited(line, (finding,))


if __name__ == "__main__":
    main(*((int(sys.argv[1]), int(sys.argv[2])) if len(sys.argv) > 2 else (2000, 200)))
