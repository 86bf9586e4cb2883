"""Visits: as good as trying everything, sound by a check of their own, the same every time, and plain about what is left."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations, pairwise, permutations, product
from typing import Any

import pytest

from audit.fleet import scheduling
from audit.fleet.construction import ORDERS, first_plan, improved
from audit.fleet.jobs import Job, Slot, jobs_of
from audit.fleet.rounds import Book, Cost, Stop, cost_of, least_cost, timetable
from audit.fleet.schedule_check import flaws
from audit.fleet.scheduling import Day, schedule
from audit.fleet.units import Audited, FindingLine, UnitLine, Work
from audit.fleet.visits import Farm, Technician, Visits

START = date(2026, 9, 15)
Make = Callable[..., UnitLine]
Find = Callable[..., FindingLine]
Plan = Callable[..., Work]


def visits(farms: Mapping[str, int], technicians: int = 1, days: int = 2, hours: int = 6, **given: Any) -> Visits:
    """Technicians from one base; farms on a line, so many minutes out, all with harvest after the last day."""
    places = {"Base": 0, **farms}
    return Visits(
        start=START,
        minutes_a_day=hours * 60,
        leaves_at=420,
        technicians=given.get("technicians_are")
        or tuple(Technician(f"tech-{n}", "Base", days_from(days), ()) for n in range(technicians)),
        farms=given.get("farms_are") or tuple(Farm(name, START + timedelta(days=days), False) for name in farms),
        travel={(one, other): abs(places[one] - places[other]) for one in places for other in places},
    )


def days_from(count: int) -> tuple[date, ...]:
    return tuple(START + timedelta(days=n) for n in range(count))


@pytest.fixture
def audited(unit: Make, finding: Find, work: Plan) -> Callable[..., Audited]:
    """A unit with one finding and planned work."""

    def make(row: int, farm: str, minutes: float, hours: float = 10, held: bool = True, **given: Any) -> Audited:
        planned = work(minutes, given.pop("people", 1), **given.pop("work", {}))
        line = unit(row, farm=farm, held=held, work=planned, **given)
        return Audited(line, (finding(row, downtime=hours, holds=held),))

    return make


def at_best(book: Book) -> Cost:
    """The least cost, by trying every assignment and every order of farms."""
    slots = [slot for day in book.days for slot in book.slots_on(day)]
    return min(cost_of(book, rounds) for rounds in _every(book, slots))


def _every(book: Book, slots: list[Slot]) -> Iterator[dict[Slot, tuple[Stop, ...]]]:
    pieces = [piece for job in book.jobs for piece in job.pieces]
    ways = [
        [(), *(crew for crew in combinations(slots, piece.crew)
               if len({day for _, day in crew}) == 1 and set(crew) <= set(piece.slots))]
        for piece in pieces
    ]  # fmt: skip
    for chosen in product(*ways):
        day_of = {(p.unit, p.part): crew[0][1] for p, crew in zip(pieces, chosen, strict=True) if crew}
        if any(_half_done(job, day_of) for job in book.jobs):
            continue
        at: dict[Slot, dict[str, list[Any]]] = {slot: {} for slot in slots}
        crews: dict[tuple[date, str], set[Slot]] = {}
        for piece, crew in zip(pieces, chosen, strict=True):
            for slot in crew:
                at[slot].setdefault(piece.farm, []).append(piece)
                if piece.crew > 1:
                    crews.setdefault((slot[1], piece.farm), set()).add(slot)
        if any(len(crew) > 2 for crew in crews.values()):
            continue
        for order in product(*(permutations(at[slot]) for slot in slots)):
            rounds = {
                slot: tuple(Stop(farm, tuple(at[slot][farm])) for farm in farms)
                for slot, farms in zip(slots, order, strict=True)
            }
            if all(timetable(book, {s: rounds[s] for s in slots if s[1] == day}) is not None for day in book.days):
                yield rounds


def _half_done(job: Job, day_of: Mapping[tuple[str, int], date]) -> bool:
    days = [day_of.get((job.unit, piece.part)) for piece in job.pieces]
    known = [day for day in days if day is not None]
    return 0 < len(known) < len(days) or any(b <= a for a, b in pairwise(known))


@pytest.mark.parametrize("seed", range(12))
def test_nothing_is_better(seed: int, audited: Callable[..., Audited]) -> None:
    """Small cases of every kind: tight days, two technicians, work for two, work of two days, early harvests."""
    chance = random.Random(seed)
    farms = {"A": chance.randrange(10, 90), "B": -chance.randrange(10, 90), "C": chance.randrange(10, 90)}
    plan = visits(
        farms,
        technicians=2,
        farms_are=tuple(
            Farm(name, START + timedelta(days=chance.randrange(1, 4)), chance.random() < 0.3) for name in farms
        ),
        hours=5,
    )
    units = [
        audited(row, chance.choice("ABC"), chance.choice((40, 90, 150, 340)), chance.randrange(1, 40),
                chance.random() < 0.6, people=chance.choice((1, 1, 2)))
        for row in range(4)
    ]  # fmt: skip
    found = schedule(units, plan)
    book = Book(plan, jobs_of(units, plan)[0])
    assert found.proven
    assert found.cost == at_best(book)
    assert found.least <= found.cost[:2]
    assert least_cost(book)[0] <= found.cost.held_missed
    assert least_cost(book)[1] <= found.cost.risk_days


def test_some_rounds_at_a_time_are_sound_too(audited: Callable[..., Audited], monkeypatch: pytest.MonkeyPatch) -> None:
    """What is too large to be solved at once is solved in parts: never worse than the first plan, not called proven,
    no better than the proven best, and the same in each run."""
    chance = random.Random(3)
    farms = {name: chance.randrange(-60, 60) for name in "ABCDE"}
    plan = visits(farms, technicians=2, days=3, hours=5)
    units = [
        audited(row, chance.choice("ABCDE"), chance.randrange(30, 200), chance.randrange(1, 30), row % 3 > 0,
                people=1 + (row % 5 == 0))
        for row in range(8)
    ]  # fmt: skip
    best = schedule(units, plan, 6)
    monkeypatch.setattr(scheduling, "MOST_WAYS", 0)
    book = Book(plan, jobs_of(units, plan)[0])
    first = min(cost_of(book, first_plan(book, order)) for order in ORDERS)
    found = schedule(units, plan, 1)
    assert not found.proven
    assert best.cost <= found.cost < first
    assert found.least <= best.cost[:2]
    assert schedule(units, plan, 1) == found


def test_without_effort_the_first_plan_stands(audited: Callable[..., Audited]) -> None:
    """The solver finds nothing in no time; the plan is sound all the same, and its bounds are below the best."""
    plan = visits({"A": 20, "B": -30, "C": 45}, technicians=2, days=3)
    units = [audited(row, "ABC"[row % 3], 60 + 20 * row, 5 + row) for row in range(8)]
    found = schedule(units, plan, 1e-9)
    assert not found.proven
    book = Book(plan, jobs_of(units, plan)[0])
    assert found.cost == min(cost_of(book, first_plan(book, order)) for order in ORDERS)
    best = schedule(units, plan, 3).cost
    assert found.least <= best[:2]
    assert best <= found.cost


def test_the_same_every_time(audited: Callable[..., Audited]) -> None:
    plan = visits({"A": 20, "B": -30}, technicians=2)
    units = [audited(row, "AB"[row % 2], 60 + row) for row in range(6)]
    assert schedule(units, plan) == schedule(list(units), plan)


def test_held_units_come_before_all_else(audited: Callable[..., Audited]) -> None:
    """There is room for one: the held unit is chosen although the other has more hours at risk."""
    units = [audited(1, "A", 200, 90, held=False), audited(2, "A", 200, 5)]
    found = schedule(units, visits({"A": 20}, days=1))
    assert [unit for unit, _ in found.done] == ["unit-02"]
    assert [(one.unit, one.held) for one in found.left_out] == [("unit-01", False)]
    assert "no room before the harvest on 2026-09-16: it takes 200 min" in found.left_out[0].why
    assert "4.0 of the 6 h" in found.left_out[0].why
    assert "at most 120 min a day" in found.left_out[0].why


def test_most_risk_first(audited: Callable[..., Audited]) -> None:
    units = [audited(1, "A", 250, 5), audited(2, "B", 250, 50)]
    assert schedule(units, visits({"A": 20, "B": 40})).done == (("unit-02", START), ("unit-01", days_from(2)[1]))


def test_two_technicians_meet(audited: Callable[..., Audited]) -> None:
    """Who comes first waits; both are there for all of it."""
    plan = visits({"A": 20}, technicians=2, days=1)
    found = schedule([audited(1, "A", 100, people=2), audited(2, "A", 60, people=2)], plan)
    assert [(day.technician, day.visits[0].begins, day.visits[0].leaves) for day in found.days] == [
        ("tech-0", 440, 600),
        ("tech-1", 440, 600),
    ]


def test_a_helper_makes_one_enough(audited: Callable[..., Audited]) -> None:
    plan = visits({"A": 20}, farms_are=(Farm("A", START + timedelta(days=2), True),))
    found = schedule([audited(1, "A", 100, people=2)], plan)
    assert [day.technician for day in found.days] == ["tech-0"]


def test_work_longer_than_a_day(audited: Callable[..., Audited]) -> None:
    """700 min where a day has 320 at the farm: three visits on three days, done with the last."""
    found = schedule([audited(1, "A", 700)], visits({"A": 20}, days=4))
    assert [[piece.minutes for visit in day.visits for piece in visit.pieces] for day in found.days] == [[234]] * 3
    assert found.done == (("unit-01", days_from(3)[2]),)


def test_why_a_unit_is_in_no_visit(audited: Callable[..., Audited], unit: Make, finding: Find) -> None:
    day, late = START, START + timedelta(days=9)
    plan = visits(
        {"A": 20, "Far": 400, "Early": 30},
        technicians_are=(
            Technician("one", "Base", (day,), ("axial-single",)),
            Technician("two", "Base", (late,), ("axial-single", "axial-hybrid")),
        ),
        farms_are=(Farm("A", late, False), Farm("Far", late, False), Farm("Early", day, True)),
    )
    units = [
        Audited(unit(1, farm="A", held=True), (finding(1),)),
        audited(2, "A", 0, work={"conflict": True, "steps": 0}),
        audited(3, "Nowhere", 60),
        audited(4, "", 60),
        audited(5, "A", 60, card="tangential-walker"),
        audited(6, "Early", 60),
        audited(7, "A", 60, people=3),
        audited(8, "A", 60, people=2),
        audited(9, "Far", 60),
        audited(10, "A", 500),
        audited(11, "A", 60, card="axial-hybrid"),
        audited(12, "A", 0, held=False, work={"steps": 0}),
        Audited(unit(13, farm="A"), ()),
        audited(14, "A", 60),
    ]
    found = schedule(units, plan)
    told = {one.unit: one.why for one in found.left_out}
    expected = {
        "unit-01": "its work was not planned",
        "unit-02": "there is no plan",
        "unit-03": "not in the visits file",
        "unit-04": "nobody says on which farm",
        "unit-05": "nobody is trained on machine card tangential-walker",
        "unit-06": "has a day before the harvest",
        "unit-07": "3 technicians at once",
        "unit-08": "no two have the same day",
        "unit-09": "takes the whole day",
        "unit-10": "takes 2 days, and there are 1",
        "unit-11": "nobody who is trained on it has a day before the harvest",
    }
    assert told.keys() == expected.keys()
    assert all(words in told[name] for name, words in expected.items()), told
    assert [name for name, _ in found.done] == ["unit-14"]


def test_nothing_to_do(unit: Make) -> None:
    found = schedule([Audited(unit(1), ())], visits({"A": 20}))
    assert (found.days, found.left_out, found.proven, found.cost) == ((), (), True, Cost(0, 0, 0))


# ------------------------------------------------------------------------------------------------------- the check


@pytest.fixture
def sound(audited: Callable[..., Audited]) -> tuple[Book, tuple[Day, ...], Cost]:
    """A schedule with work for two, work of two days, a wait and two farms."""
    plan = visits({"A": 20, "B": -30}, technicians=2, days=3)
    units = [audited(1, "A", 100, people=2), audited(2, "B", 60), audited(3, "B", 500), audited(4, "A", 30)]
    found = schedule(units, plan)
    assert len(found.done) == 4
    return Book(plan, jobs_of(units, plan)[0]), found.days, found.cost


def test_the_check_finds_nothing_in_a_sound_one(sound: tuple[Book, tuple[Day, ...], Cost]) -> None:
    assert flaws(*sound) == []


def _first_visit(day: Day, **changed: Any) -> Day:
    return replace(day, visits=(replace(day.visits[0], **changed), *day.visits[1:]))


SPOILT: dict[str, Callable[[tuple[Day, ...]], tuple[Day, ...]]] = {
    "is left half done": lambda days: tuple(day for day in days if day.day != days[-1].day),
    "goes out twice": lambda days: (*days, days[0]),
    "does not work that day": lambda days: (replace(days[0], day=START + timedelta(days=30)), *days[1:]),
    "can't be at": lambda days: (_first_visit(days[0], arrives=days[0].visits[0].arrives - 5), *days[1:]),
    "before or after its work": lambda days: (_first_visit(days[0], leaves=999), *days[1:]),
    "is not at": lambda days: (_first_visit(days[0], farm="A" if days[0].visits[0].farm == "B" else "B"), *days[1:]),
    "does not add up": lambda days: (replace(days[0], travel=days[0].travel + 1), *days[1:]),
    "the way back": lambda days: (replace(days[0], back=days[0].back - 1), *days[1:]),
    "leaves too early": lambda days: (replace(days[0], leaves=300), *days[1:]),
    "longer than a day's work": lambda days: (replace(days[0], back=days[0].leaves + 361), *days[1:]),
    "two are not there": lambda days: tuple(
        replace(day, visits=tuple(replace(v, pieces=tuple(p for p in v.pieces if p.crew == 1)) for v in day.visits))
        if day.technician == "tech-1" else day for day in days
    ),
    "is done twice": lambda days: (*days, replace(days[-1], day=days[0].day, technician="tech-9")),
}  # fmt: skip


@pytest.mark.parametrize("says", SPOILT)
def test_the_check_sees_every_flaw(says: str, sound: tuple[Book, tuple[Day, ...], Cost]) -> None:
    book, days, cost = sound
    assert any(says in flaw for flaw in flaws(book, SPOILT[says](days), cost))


def test_the_check_looks_at_harvest_skill_and_work(sound: tuple[Book, tuple[Day, ...], Cost]) -> None:
    book, days, cost = sound
    plan = book.visits
    early = replace(plan, farms=tuple(replace(farm, harvest=START) for farm in plan.farms))
    assert any("before the harvest" in flaw for flaw in flaws(replace(book, visits=early), days, cost))
    unskilled = tuple(replace(one, skills=("axial-hybrid",)) for one in plan.technicians)
    assert any(
        "not trained" in flaw for flaw in flaws(replace(book, visits=replace(plan, technicians=unskilled)), days, cost)
    )
    longer = tuple(replace(job, minutes=job.minutes + 1) for job in book.jobs)
    assert any("less time" in flaw for flaw in flaws(replace(book, jobs=longer), days, cost))
    assert flaws(book, days, cost._replace(travel=cost.travel - 1)) == ["its cost does not add up"]
    backwards = tuple(replace(day, day=days[0].day + (days[-1].day - day.day)) for day in days)
    assert any("one day after the other" in flaw for flaw in flaws(book, backwards, cost))


def test_an_unsound_schedule_is_never_shown(audited: Callable[..., Audited], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scheduling, "flaws", lambda *_: ["something"])
    with pytest.raises(scheduling.Unsound, match="something"):
        schedule([audited(1, "A", 60)], visits({"A": 20}))


# ----------------------------------------------------------------------------------- some taken out and put in anew


@pytest.mark.parametrize("seed", range(4))
def test_putting_some_in_anew_is_never_worse_and_always_sound(seed: int, audited: Callable[..., Audited]) -> None:
    """Each result is held to the same timetable and cost as the plan it began with; none is half done."""
    chance = random.Random(seed)
    farms = {f"F{n}": chance.randrange(-90, 90) for n in range(8)}
    plan = visits(farms, technicians=3, days=4, hours=6)
    units = [
        audited(row, chance.choice(list(farms)), chance.choice((30, 60, 120, 200, 500)), chance.randrange(1, 40),
                chance.random() < 0.5, people=1 + (row % 4 == 0))
        for row in range(30)
    ]  # fmt: skip
    book = Book(plan, jobs_of(units, plan)[0])
    before = first_plan(book, ORDERS[0])
    costs = [cost_of(book, improved(book, before, tries)) for tries in (0, 10, 60)]
    assert costs[0] == cost_of(book, before)
    assert costs[2] <= costs[1] <= costs[0]
    assert costs[2] < costs[0]
    found = improved(book, before, 60)
    assert found == improved(book, before, 60)
    for day in book.days:
        assert timetable(book, {slot: stops for slot, stops in found.items() if slot[1] == day}) is not None
    done = [(piece.unit, piece.part) for stops in found.values() for stop in stops for piece in stop.pieces]
    for job in book.jobs:
        assert {done.count((job.unit, piece.part)) for piece in job.pieces} in ({0}, {job.pieces[0].crew})
