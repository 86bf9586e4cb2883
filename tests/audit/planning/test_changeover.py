"""From crop to crop: what a card says must change, and the work from a setup of today to one for the next crop."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from audit.nouns.plan import Locks, Plan
from audit.nouns.setup import Setup
from audit.planning.changeover import changeover, what_changes
from audit.planning.planner import Planner
from tests.audit.planning.plans import conflict_in, moved, never, places, plan_in

# Common practice, corn to beans: feeder drum down on both sides and the conveyor chain checked after it, beater to its
# fast step, chopper to its fast pair with both pulleys, stationary knives in, cob deflector down; and the rotor faster,
# concave, chaffer and sieve closer, fan by the seed.
CORN_TO_BEANS = {
    "feeder.drum", "beater_drive.driving", "beater_drive.driven", "chopper_drive.driving", "chopper_drive.driven",
    "chopper.stationary_knives", "deflector.position", "rotor.concave_gap", "rotor.speed", "shoe.fan_speed",
    "shoe.chaffer", "shoe.sieve",
}  # fmt: skip
Demo = Mapping[tuple[str, str], Setup]


@pytest.fixture(scope="module")
def to_beans(planner: Planner) -> Plan:
    return plan_in(what_changes(planner, "axial-single", "corn", "soybean", "", (), never))


@pytest.fixture(scope="module")
def to_corn(planner: Planner) -> Plan:
    return plan_in(what_changes(planner, "axial-single", "soybean", "corn", "", (), never))


def test_corn_to_beans_changes_exactly_this(planner: Planner, to_beans: Plan) -> None:
    changed = moved(planner.worksheet("axial-single", "soybean"), to_beans)
    assert set(changed) == CORN_TO_BEANS
    assert changed["feeder.drum"] == (("raised", "raised"), ("lowered", "lowered"))
    assert changed["beater_drive.driving"] == ("small", "large")
    assert changed["beater_drive.driven"] == ("large", "small")
    assert changed["chopper_drive.driving"] == ("small", "large")
    assert changed["chopper_drive.driven"] == ("large", "small")
    assert changed["deflector.position"] == (("raised", "raised"), ("lowered", "lowered"))
    assert changed["chopper.stationary_knives"][0] == 0.0
    assert to_beans.proven


def test_beans_to_corn_changes_the_same_back_but_the_rotor_speed(planner: Planner, to_corn: Plan) -> None:
    # the shipped window for soybeans, 3,000 to 4,000 ft/min at the rotor's tip, lies inside that for corn, 2,500 to
    # 4,000 ft/min (crop cards): a rotor that is right for beans is never wrong for corn
    changed = moved(planner.worksheet("axial-single", "corn"), to_corn)
    assert set(changed) == CORN_TO_BEANS - {"rotor.speed"}
    assert changed["feeder.drum"] == (("lowered", "lowered"), ("raised", "raised"))
    assert changed["chopper_drive.driving"] == ("large", "small")
    assert changed["chopper.stationary_knives"][1] == 0.0


@pytest.mark.parametrize(
    "order",
    [
        ("raise-chopper@residue", "move-chopper-belt", "lower-chopper", "tension-belt@chopper_drive"),
        ("open-shields@residue", "move-chopper-belt"),
        ("move-feeder-drum", "check-feeder-chain"),
        ("open-shields@feeder", "move-beater-belt", "tension-belt@beater_drive"),
        ("change-header", "lock-header", "join-coupler"),
    ],
    ids=lambda order: order[0],
)
def test_order_of_work(to_beans: Plan, to_corn: Plan, order: tuple[str, ...]) -> None:
    for plan in (to_beans, to_corn):
        where = places(plan)
        found = [where[step] for step in order]
        assert found == sorted(found)


def test_losses_are_counted_after_the_last_setting(to_beans: Plan) -> None:
    where = places(to_beans)
    moves = [
        place
        for place, step in enumerate(to_beans.steps)
        for change in step.changes
        if change.quantity in CORN_TO_BEANS and not change.taken
    ]
    assert where["count-losses"] > max(moves)
    assert "settings.changed" not in to_beans.steps[where["count-losses"]].records
    assert "losses.counted" in to_beans.steps[where["count-losses"]].records


def test_what_belongs_to_the_crop_that_was_cut_is_asked_for_again(to_beans: Plan) -> None:
    taken = {change.quantity for step in to_beans.steps for change in step.changes if change.taken}
    assert {"loss.moisture", "loss.tank_damage", "loss.tank_foreign", "job.condition"} <= taken
    assert all(
        change.before is None
        for step in to_beans.steps
        for change in step.changes
        if change.quantity in ("loss.moisture", "job.condition")
    )


@pytest.mark.parametrize("card", ["axial-single", "axial-hybrid", "tangential-walker"])
@pytest.mark.parametrize(("first", "second"), [("corn", "wheat"), ("rice", "corn"), ("canola", "canola")])
def test_sided_settings_move_on_both_sides_and_nothing_moves_for_the_same_crop(
    planner: Planner, card: str, first: str, second: str
) -> None:
    worksheet = planner.worksheet(card, second)
    changed = moved(worksheet, plan_in(what_changes(planner, card, first, second, "", (), never)))
    assert bool(changed) == (first != second)
    for name, (_, after) in changed.items():
        assert isinstance(after, tuple) == worksheet.quantity(name).sided
        assert not isinstance(after, tuple) or after[0] == after[1]


def test_a_demo_machine_goes_from_corn_to_beans(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["corn", "unit-01"]
    planned = changeover(planner, setup, "soybean", "", Locks(), never)
    plan = plan_in(planned)
    assert planned.before.crop == "soybean"
    assert {"feeder.drum", "deflector.position", "beater_drive.driving"} <= set(
        moved(planner.worksheet(setup.unit.card, "soybean"), plan)
    )
    assert plan.values["job.crop"] == "soybean"
    assert plan.values["job.header_kind"] in ("flex-platform", "draper")
    assert "change-header" in places(plan)
    assert all(setup.values[name] == value for name, value in plan.values.items() if name.startswith("build."))


def test_faults_that_were_found_count_on(planner: Planner, demo_units: Demo) -> None:
    # on this unit the drum was moved after the conveyor chain was last checked
    setup = demo_units["corn", "unit-02"]
    here = plan_in(planner.plan(setup))
    assert ("conveyor-chain-not-checked-after-drum-move", "") in [one for step in here.steps for one in step.clears]
    next_crop = plan_in(changeover(planner, setup, "soybean", "", Locks(), never))
    assert "check-feeder-chain" in places(next_crop)
    checked = next_crop.values["feeder.chain_checked"]
    moved_at = next_crop.values["feeder.drum_moved"]
    assert isinstance(checked, float)
    assert isinstance(moved_at, float)
    assert checked > moved_at


def test_the_header_that_is_on_stays_if_the_next_crop_takes_it(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["soybean", "unit-10"]
    assert setup.values["job.header_kind"] == "draper"
    plan = plan_in(changeover(planner, setup, "wheat", "", Locks(), never))
    assert "change-header" not in places(plan)
    assert plan.values["job.header_kind"] == "draper"


def test_the_header_that_is_asked_for_is_put_on(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["corn", "unit-01"]
    for kind in ("flex-platform", "draper"):
        plan = plan_in(changeover(planner, setup, "soybean", kind, Locks(), never))
        assert plan.values["job.header_kind"] == kind
        assert "change-header" in places(plan)
    # asked for even where the one that is on would do
    plan = plan_in(changeover(planner, demo_units["soybean", "unit-10"], "wheat", "rigid-platform", Locks(), never))
    assert plan.values["job.header_kind"] == "rigid-platform"
    assert "change-header" in places(plan)


@pytest.mark.parametrize("kind", ["corn-head", "rigid-platform"])
def test_a_header_that_the_crop_does_not_take_is_a_conflict(planner: Planner, demo_units: Demo, kind: str) -> None:
    # the first is the one that is on, the second another one; soybeans are cut with a flex platform or a draper
    conflict = conflict_in(changeover(planner, demo_units["corn", "unit-01"], "soybean", kind, Locks(), never))
    assert conflict.rules == (("header-kind-wrong-for-crop", ""),)
    assert conflict.fixed == (("job.header_kind", kind),)
    assert conflict.locks == ()
    assert conflict.releases == ()


def test_a_changeover_respects_locks(planner: Planner, demo_units: Demo) -> None:
    locks = Locks(leave=("deflector.position",))
    conflict = conflict_in(changeover(planner, demo_units["corn", "unit-01"], "soybean", "", locks, never))
    assert conflict.rules == (("cob-deflector-wrong-for-crop", ""),)
    assert [lock.what for lock in conflict.locks] == ["deflector.position"]
    assert conflict.releases == (conflict.locks,)


def test_the_next_crop_of_an_incomplete_demo_setup(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["corn", "unit-14"]
    planned = changeover(planner, setup, "soybean", "", Locks(), never)
    plans = [branch.outcome for branch in planned.branches]
    assert plans
    for plan in plans:
        assert isinstance(plan, Plan)
        taken = sum(1 for step in plan.steps for change in step.changes if change.taken)
        assert taken > 100  # five readings are known, the rest is to be looked at
