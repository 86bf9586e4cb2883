"""The planner against a whole integer model on over a thousand random as-found setups, all cards and crops.

Every plan is also replayed by the planner itself: one that would not check clean is a RuntimeError here. Setups with a
header that the crop does not take are tested with changeovers.
"""

from __future__ import annotations

import random

import pytest

from audit.nouns.plan import Conflict, Locks, Plan
from audit.nouns.quantity import Role
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime
from audit.planning.tasks import numbers
from audit.planning.worksheet import WorkSheet
from tests.audit.planning.plans import LOOKS, Budget, never
from tests.audit.planning.reference import Cost, Reference
from tests.audit.planning.spoiling import Spoiled, Spoiler

EACH = 28
"""Setups of every card and crop; 3 cards and 12 crops make over a thousand."""
PROOF = 20
"""How many times a plan's looks the proof that there is none may take: loss counts hang together four at a time."""
CARDS = ("axial-single", "axial-hybrid", "tangential-walker")
CROPS = ("barley", "canola", "corn", "dry-beans", "flax", "oats", "peas", "rice", "sorghum", "soybean", "sunflower", "wheat")  # fmt: skip


@pytest.fixture(scope="module")
def fresh(rulebook: Rulebook) -> Planner:
    """Another planner, that has planned nothing of what the first one has."""
    return Planner(rulebook)


def test_every_card_and_crop_is_in_the_sweep(rulebook: Rulebook) -> None:
    assert set(rulebook.machines) == set(CARDS)
    assert set(rulebook.crops) == set(CROPS)
    assert EACH * len(CARDS) * len(CROPS) >= 1000


@pytest.mark.parametrize("crop", CROPS)
@pytest.mark.parametrize("card", CARDS)
def test_plans_cost_what_the_whole_model_finds(planner: Planner, fresh: Planner, card: str, crop: str) -> None:
    worksheet = planner.worksheet(card, crop)
    chance = random.Random(f"{card} {crop}")
    builds = tuple((f"build.{b.name}", chance.choice(b.choices)[0]) for b in worksheet.sheet.card.builds)
    legal = planner.legal_setup(card, crop, "", builds, never)
    reference = Reference(worksheet, legal.values)
    wrong, plans = [], 0
    spoiled = list(Spoiler(worksheet, legal).setups(f"{card} {crop}", EACH))
    found = [outcome(planner, one) for one in spoiled]
    again = [outcome(fresh, one) for one in reversed(spoiled)]
    again.reverse()
    for one, first, second in zip(spoiled, found, again, strict=True):
        wanted = reference.solve(one.setup.values, one.locks)
        assert first == second  # what was planned before makes no difference
        if first is None and wanted is None:
            first = outcome(planner, one, PROOF * LOOKS)
        if isinstance(first, Plan):
            plans += 1
            check_order(worksheet, first)
            check_sums(worksheet, first)
        if not agree(first, wanted):
            wrong.append(f"{told(first)} instead of {wanted}: {changed(legal.values, one)}")
    assert not wrong, "\n".join(wrong)
    assert plans >= EACH // 3


def outcome(planner: Planner, one: Spoiled, looks: int = LOOKS) -> Plan | Conflict | None:
    """Plan or conflict; None where it took too long."""
    try:
        (branch,) = planner.plan(one.setup, one.locks, Budget(looks)).branches
    except OutOfTime:
        return None
    return branch.outcome


def told(found: Plan | Conflict | None) -> str:
    if found is None:
        return "nothing in time"
    if isinstance(found, Conflict):
        return f"conflict of {found.rules}"
    return f"{cost(found)}{'' if found.proven else ' unproven'}"


def cost(plan: Plan) -> Cost:
    return round(plan.minutes * 60), plan.parts, plan.moves, round(plan.change * 1_000_000)


def agree(found: Plan | Conflict | None, wanted: Cost | None) -> bool:
    """Whether the planner found the same; edges are found by halving here, so the last digit of change may differ."""
    if not isinstance(found, Plan):
        return isinstance(found, Conflict) and wanted is None
    return (
        found.proven and wanted is not None and cost(found)[:3] == wanted[:3] and abs(cost(found)[3] - wanted[3]) <= 2
    )


def changed(legal: object, one: Spoiled) -> str:
    assert isinstance(legal, dict)
    names = sorted({*legal, *one.setup.values})
    values = one.setup.values
    differing = {name: (legal.get(name), values.get(name)) for name in names if legal.get(name) != values.get(name)}
    return f"{one.setup.unit.card} {one.setup.crop} {differing} {one.locks if one.locks != Locks() else ''}"


def check_sums(worksheet: WorkSheet, plan: Plan) -> None:
    """Totals are those of the steps, and nothing is done twice."""
    assert plan.minutes == pytest.approx(sum(step.minutes for step in plan.steps))
    assert plan.parts == sum(len(step.parts) for step in plan.steps)
    assert plan.people == max((step.people for step in plan.steps), default=0)
    assert len({(step.procedure, step.on) for step in plan.steps}) == len(plan.steps)
    owners = [change.quantity for step in plan.steps for change in step.changes if not change.taken]
    assert len(owners) == len(set(owners))
    settings = [
        change
        for step in plan.steps
        for change in step.changes
        if worksheet.quantity(change.quantity).role is Role.SETTING and not change.taken
    ]
    assert all(plan.values[change.quantity] == change.after for change in settings)


def check_order(worksheet: WorkSheet, plan: Plan) -> None:
    """What a task calls for before it stands before it, what it calls for after it after it; records in their order."""
    tasks = worksheet.tasks
    place = {tasks.number[step.procedure, step.on]: at for at, step in enumerate(plan.steps)}
    called = 0
    for number, at in place.items():
        task = tasks.all[number]
        called |= tasks.closure[number]
        assert all(place[tasks.number[key]] < at for key in task.before)
        assert all(place[tasks.number[key]] > at for key in task.after)
        if not task.changes_job():
            assert all(place[tasks.takers[name]] > at for name in task.takes)
    assert set(numbers(called)) == place.keys()
    for first, second in worksheet.follows.items():
        at_first = [place[number] for number in place if first in tasks.all[number].records]
        at_second = [place[number] for number in place if second in tasks.all[number].records]
        assert not at_first or not at_second or max(at_first) < max(at_second)
