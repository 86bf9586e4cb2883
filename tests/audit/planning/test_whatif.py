"""A what-if: two setups of one unit side by side, and what differs between them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest

from audit.nouns.plan import Locks, Plan
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from audit.planning.whatif import what_if
from tests.audit.planning.plans import conflict_in, moved, never, plan_in, spoiled

Legal = Callable[[str, str], Setup]
Demo = Mapping[tuple[str, str], Setup]


def test_nothing_changed_differs_in_nothing(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["corn", "unit-03"]
    found = what_if(planner, setup, setup, Locks(), never)
    assert found.facts == ()
    assert found.before == found.after == planner.plan(setup)


def test_a_faster_rotor_shows_in_its_facts_and_in_the_plan(planner: Planner, legal: Legal) -> None:
    before = legal("axial-single", "corn")
    after = spoiled(before, rotor__speed=1000.0)
    found = what_if(planner, before, after, Locks(), never)
    assert plan_in(found.before).steps == ()
    plan = plan_in(found.after)
    worksheet = planner.worksheet("axial-single", "corn")
    # back to the fastest that corn allows: 4,000 ft/min at the tip of a 762 mm rotor is 509 r/min, in steps of 10
    assert moved(worksheet, plan)["rotor.speed"] == (1000.0, 500.0)
    assert found.after.before.findings
    assert not found.before.before.findings
    by_name = {one.name: (one.value, other.value) for one, other in found.facts}
    assert "rotor.tip_speed" in by_name
    was, is_now = by_name["rotor.tip_speed"]
    assert isinstance(was, float)
    assert isinstance(is_now, float)
    assert is_now / was == pytest.approx(1000.0 / before.values["rotor.speed"])  # type: ignore[operator]
    assert all(one.name == other.name and one.value != other.value for one, other in found.facts)
    assert all(name.startswith("rotor.") for name in by_name)


def test_a_fact_that_is_no_longer_known_differs(planner: Planner, legal: Legal) -> None:
    before = legal("axial-single", "corn")
    after = replace(before, values={name: value for name, value in before.values.items() if name != "rotor.speed"})
    found = what_if(planner, before, after, Locks(), never)
    (tip,) = (pair for pair in found.facts if pair[0].name == "rotor.tip_speed")
    assert tip[0].value is not None
    assert tip[1].value is None
    steps = [(step.procedure, step.on) for step in plan_in(found.after).steps]
    assert ("", "rotor.speed") in steps


def test_locks_hold_for_both(planner: Planner, legal: Legal) -> None:
    before = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"))
    after = legal("axial-single", "corn")
    found = what_if(planner, before, after, Locks(leave=("feeder.drum",)), never)
    assert conflict_in(found.before).releases
    assert plan_in(found.after).steps == ()


def test_neither_setup_is_changed(planner: Planner, demo_units: Demo) -> None:
    setup = demo_units["soybean", "unit-16"]
    changed = spoiled(setup, shoe__fan_speed=700.0)
    kept = dict(setup.values), dict(changed.values)
    found = what_if(planner, setup, changed, Locks(), never)
    assert (dict(setup.values), dict(changed.values)) == kept
    assert isinstance(found.after.branches[0].outcome, Plan)


@pytest.mark.parametrize("other", [("axial-single", "soybean"), ("axial-hybrid", "corn")])
def test_another_card_or_crop_is_no_what_if(planner: Planner, legal: Legal, other: tuple[str, str]) -> None:
    with pytest.raises(ValueError, match="another crop"):
        what_if(planner, legal("axial-single", "corn"), legal(*other), Locks(), never)
