"""The order of work: what comes first comes first, one walk round a state of the machine, few starts of the engine."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from itertools import groupby

import pytest

from audit.nouns.plan import Plan
from audit.nouns.quantity import When
from audit.nouns.setup import Setup
from audit.planning.order import in_order
from audit.planning.planner import Planner
from audit.planning.tasks import Key, Task, Tasks
from tests.audit.planning.plans import places, plan_in, spoiled

STATIONS = ("front", "left", "rear", "right")


def task(
    name: str, station: str = "front", when: When = When.STOPPED, before: Sequence[str] = (), after: Sequence[str] = (),
    moves: tuple[str, ...] = (), records: tuple[str, ...] = (), takes: tuple[str, ...] = (),
) -> Task:  # fmt: skip
    """A procedure done once a machine, called ``name``."""
    return Task(
        (name, ""), station, when, 1.0, 1, (), (), moves, (), records,
        tuple((other, "") for other in before), tuple((other, "") for other in after), takes,
    )  # fmt: skip


def look(name: str, station: str = "front", when: When = When.STOPPED) -> Task:
    """A reading to take."""
    return Task(("", name), station, when, 1.0, 1, (), (), brings=(name,))


def ordered(
    some: Sequence[Task], follows: Mapping[str, str] | None = None, shared: Mapping[str, frozenset[str]] | None = None
) -> list[str]:
    """Procedures, or quantities to take, in the order of work, all of them done."""
    number: dict[Key, int] = {one.key: place for place, one in enumerate(some)}
    takers = {one.key[1]: place for place, one in enumerate(some) if one.taking}
    tasks = Tasks(list(some), number, [1 << place for place in range(len(some))], {}, takers)
    done = in_order(tasks, (1 << len(some)) - 1, follows or {}, shared or {}, STATIONS)
    assert sorted(done) == list(range(len(some)))
    return [some[place].key[0] or some[place].key[1] for place in done]


def test_stations_follow_each_other_as_on_the_walk_round() -> None:
    some = [task("d", "right"), task("b", "left"), task("a", "front"), task("c", "rear"), task("b2", "left")]
    assert ordered(some) == ["a", "b", "b2", "c", "d"]


def test_a_station_that_must_come_first_goes_before_the_walk_round_order() -> None:
    assert ordered([task("a", "front", before=["c"]), task("b", "left"), task("c", "rear")]) == ["b", "c", "a"]


def test_the_engine_is_started_once_where_the_order_allows() -> None:
    some = [
        task("count", "left", When.AT_WORK), task("speed", "front", When.RUNNING), task("belt", "rear"),
        task("rotor", "right", When.RUNNING), task("drum", "front"),
    ]  # fmt: skip
    assert ordered(some) == ["drum", "belt", "speed", "rotor", "count"]


def test_the_engine_is_started_between_where_the_order_wants_it() -> None:
    some = [
        task("lower", "rear", When.RUNNING), task("raise", "rear", When.RUNNING), task("fan", "front", When.RUNNING),
        task("move", "rear", before=["raise"], after=["lower"]), task("drum", "front"),
    ]  # fmt: skip
    assert ordered(some) == ["raise", "drum", "move", "fan", "lower"]


def test_what_follows_one_task_is_done_in_the_order_in_which_it_is_named() -> None:
    assert ordered([task("y"), task("x"), task("z"), task("a", after=["z", "x", "y"])]) == ["a", "z", "x", "y"]


def test_an_event_that_must_be_recorded_after_another_is() -> None:
    some = [task("check", "front", records=("checked",)), task("move", "rear", records=("moved",))]
    assert ordered(some) == ["check", "move"]
    assert ordered(some, follows={"moved": "checked"}) == ["move", "check"]


def test_a_reading_is_taken_after_what_brings_it_and_after_the_settings_it_is_read_at() -> None:
    some = [look("speed", "front"), task("pulley", "rear", moves=("drive.pulley",)), look("other", "front")]
    assert ordered(some) == ["other", "speed", "pulley"]
    assert ordered(some, shared={"speed": frozenset({"drive.pulley"})}) == ["other", "pulley", "speed"]
    again = [look("speed", "front"), task("guard", "rear", takes=("speed",))]
    assert ordered(again) == ["guard", "speed"]


def test_looks_at_a_station_come_after_the_work_there() -> None:
    assert ordered([look("a", "left"), task("b", "left"), task("c", "front")]) == ["c", "b", "a"]


@pytest.mark.parametrize(
    "some",
    [
        [task("a", before=["b"]), task("b", before=["a"])],
        [task("a", after=["b"]), task("b", after=["c"]), task("c", after=["a"])],
        [task("a", before=["b"], after=["b"]), task("b")],
    ],
    ids=["two before each other", "three after each other", "before and after"],
)
def test_a_circle_is_an_error(some: list[Task]) -> None:
    with pytest.raises(ValueError, match="circle"):
        ordered(some)


@pytest.mark.parametrize("seed", range(200))
def test_random_work_keeps_to_what_is_called_for_and_visits_a_station_once_a_block(seed: int) -> None:
    chance = random.Random(seed)
    count = chance.randint(2, 12)
    some = []
    for place in range(count):
        earlier = [f"t{other}" for other in range(place) if chance.random() < 0.15]
        some.append(task(f"t{place}", chance.choice(STATIONS), chance.choice(list(When)), before=earlier))
    chance.shuffle(some)
    done = ordered(some)
    by_name = {one.key[0]: one for one in some}
    for one in some:
        assert all(done.index(other) < done.index(one.key[0]) for other, _ in one.before)
    free = [one for one in some if not one.before and not any(one.key in other.before for other in some)]
    alone = ordered(free) if free else []
    states = [when for when, _ in groupby(by_name[name].when for name in alone)]
    assert states == [when for when in When if when in {one.when for one in free}]
    for when in When:
        visited = [STATIONS.index(by_name[name].station) for name in alone if by_name[name].when is when]
        assert visited == sorted(visited)
    assert ordered(list(reversed(some))) == done


def walk(plan: Plan, stations: Sequence[str]) -> list[list[int]]:
    """Stations in the order in which they are come to, by block of one state of the machine."""
    found = []
    for _, block in groupby(plan.steps, key=lambda step: step.when):
        ranks = [stations.index(step.station) if step.station in stations else -1 for step in block]
        found.append([rank for rank, _ in groupby(ranks)])
    return found


def test_a_walk_round_comes_to_each_station_once(planner: Planner, legal: Callable[[str, str], Setup]) -> None:
    setup = spoiled(
        legal("axial-single", "corn"), shoe__sieve=20.0, shoe__chaffer=3.0, engine__screen_clean=False,
        feeder__slats="bent", header__knife="worn", fan_bearing__play="heavy", people__lights=False,
        unloading_chain__lubricated=False, chopper__knives="missing",
    )  # fmt: skip
    plan = plan_in(planner.plan(setup))
    stations = [station.id for station in planner.worksheet("axial-single", "corn").sheet.card.stations]
    blocks = walk(plan, stations)
    assert len(blocks) == len({step.when for step in plan.steps})
    assert max(map(len, blocks)) >= 5
    for visited in blocks:
        assert visited == sorted(set(visited))


def test_a_shield_of_a_station_is_opened_once_for_all_work_behind_it(
    planner: Planner, legal: Callable[[str, str], Setup]
) -> None:
    base = legal("axial-single", "corn")
    one = plan_in(planner.plan(spoiled(base, tailings_chain__lubricated=False)))
    more = plan_in(
        planner.plan(spoiled(base, tailings_chain__lubricated=False, unloading_chain__lubricated=False,
                             grain_auger_drive__deflection_force=0.0))
    )  # fmt: skip
    assert [step.procedure for step in one.steps] == ["open-shields", "oil-drive-chain"]
    opened = [step for step in more.steps if step.procedure == "open-shields"]
    assert [step.station for step in opened] == ["elevators"]
    assert more.steps[0] is opened[0]
    assert set(opened[0].because) == {"oil-drive-chain", "tension-belt"}
    assert places(more)["tension-belt@grain_auger_drive"] > 0
