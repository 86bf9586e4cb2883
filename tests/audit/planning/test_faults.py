"""One fault at a time on a machine that is right otherwise: there is a plan, and it is work on what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from audit.nouns.plan import Conflict
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.candidates import bounds
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime
from tests.audit.planning.plans import Budget, never, places, plan_in, spoiled

CARDS = ("axial-single", "axial-hybrid", "tangential-walker")
Legal = Callable[[str, str], Setup]


def wrong(quantity: Quantity, right: Value | Sided) -> Iterator[Value | Sided]:
    """Other values of a quantity, both sides the same."""
    side = right[0] if isinstance(right, tuple) else right
    some: list[Value]
    if quantity.form is Form.YES_NO:
        some = [not side]
    elif quantity.form is Form.WORD:
        some = [word for word, _ in quantity.words if word != side]
    else:
        assert isinstance(side, float)
        low, high = bounds(quantity)
        some = [value for value in (0.9 * side, 1.1 * side, low, high) if low <= value <= high]
    for value in some:
        yield (value, value) if quantity.sided else value


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("crop", ["corn", "soybean"])
def test_every_single_fault_that_a_procedure_mends_has_a_plan(
    planner: Planner, legal: Legal, card: str, crop: str
) -> None:
    base = legal(card, crop)
    worksheet = planner.worksheet(card, crop)
    stuck, faults = [], 0
    for name in worksheet.inputs:
        role = worksheet.quantity(name).role
        if name not in worksheet.tasks.remedies or role not in (Role.READING, Role.SETTING) or name not in base.values:
            continue
        for value in wrong(worksheet.quantity(name), base.values[name]):
            setup = spoiled(base, **{name.replace(".", "__"): value})
            if not worksheet.failing(worksheet.filled(setup.values)):
                continue
            faults += 1
            try:
                (branch,) = planner.plan(setup, out_of_time=Budget()).branches
            except OutOfTime:
                stuck.append(f"{name} {value}: not decided")
                continue
            if isinstance(branch.outcome, Conflict):
                stuck.append(f"{name} {value}: {branch.outcome.rules}")
    assert faults > 150
    assert not stuck, "\n".join(stuck)


@pytest.mark.parametrize("card", CARDS)
def test_a_slow_driven_shaft_has_its_own_belt_seen_to(planner: Planner, legal: Legal, card: str) -> None:
    # common practice: where a belt drive's driven shaft is slow and its driving shaft is not, that belt slips
    base = legal(card, "corn")
    drives = planner.rulebook.machines[card].drives
    driving = {drive.driver for drive in drives}
    looked_at = 0
    for drive in drives:
        name = f"{drive.driven}.measured_speed"
        value = base.values.get(name)
        if drive.kind not in ("v_belt", "stepped_v_belt") or drive.driven in driving or not isinstance(value, float):
            continue
        planned = planner.plan(spoiled(base, **{name.replace(".", "__"): 0.9 * value}), out_of_time=never)
        if ("belt-slipping", drive.id) not in [(finding.rule, finding.on) for finding in planned.before.findings]:
            continue
        looked_at += 1
        tensioned = {step.on for step in plan_in(planned).steps if step.procedure in ("tension-belt", "replace-belt")}
        assert tensioned == {drive.id}, name
    assert looked_at >= 3


@pytest.mark.parametrize("card", CARDS)
def test_a_feeder_that_stands_still_has_its_drive_seen_to_and_its_speed_set(
    planner: Planner, legal: Legal, card: str
) -> None:
    # two rules are broken over one reading, and no one task mends both
    plan = plan_in(planner.plan(spoiled(legal(card, "corn"), feeder_jackshaft__measured_speed=0.0), out_of_time=never))
    done = {(step.procedure, step.on) for step in plan.steps}
    assert ("set-feeder-speed", "") in done
    assert done & {("tension-belt", "feeder_variable_drive"), ("trace-shaft-speed", "feeder_jackshaft")}


@pytest.mark.parametrize("card", CARDS)
def test_a_shaft_read_too_fast_is_looked_at_not_every_belt_behind_it(planner: Planner, legal: Legal, card: str) -> None:
    base = legal(card, "corn")
    speed = base.values["separator.measured_speed"]
    assert isinstance(speed, float)
    planned = planner.plan(spoiled(base, separator__measured_speed=1.2 * speed), out_of_time=never)
    slipping = {finding.on for finding in planned.before.findings if finding.rule == "belt-slipping"}
    assert len(slipping) >= 4
    plan = plan_in(planned)
    assert ("trace-shaft-speed", "separator") in {(step.procedure, step.on) for step in plan.steps}
    assert plan.moves == 1


@pytest.mark.parametrize("card", CARDS)
def test_counts_that_cannot_all_be_true_are_counted_again(planner: Planner, legal: Legal, card: str) -> None:
    base = legal(card, "soybean")
    header, behind = base.values["loss.header"], base.values["loss.behind"]
    assert isinstance(header, float)
    assert isinstance(behind, float)
    plan = plan_in(planner.plan(spoiled(base, loss__header=2 * max(header, behind) + 50.0), out_of_time=never))
    assert set(places(plan)) == {"count-losses"}
    assert plan.moves == 0
