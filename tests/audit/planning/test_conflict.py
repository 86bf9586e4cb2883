"""Why there is no plan: smallest conflicts against trying every set, and conflicts on the shipped cards."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from itertools import combinations
from pathlib import Path

import pytest

import rules
from audit.intake.rulebook import read_rulebook
from audit.nouns.plan import Conflict, Lock, Locks, Plan
from audit.nouns.setup import Setup
from audit.planning.conflict import smallest_conflict
from audit.planning.planner import Planner
from tests.audit.planning.plans import conflict_in, never, plan_in, spoiled

Legal = Callable[[str, str], Setup]


@pytest.mark.parametrize("seed", range(400))
def test_smallest_conflict_is_as_small_as_trying_every_set_finds(seed: int) -> None:
    chance = random.Random(seed)
    elements = [f"element-{number}" for number in range(chance.randint(1, 9))]
    conflicts = [
        frozenset(chance.sample(elements, chance.randint(1, min(5, len(elements)))))
        for _ in range(chance.randint(1, 6))
    ]

    def feasible(kept: frozenset[str]) -> bool:
        return not any(conflict <= kept for conflict in conflicts)

    found = smallest_conflict(elements, feasible)
    smallest = next(
        size
        for size in range(len(elements) + 1)
        if any(not feasible(frozenset(some)) for some in combinations(elements, size))
    )
    assert len(found) == smallest
    assert not feasible(found)
    assert all(feasible(found - {element}) for element in found)
    assert smallest_conflict(elements, feasible) == found


def test_what_holds_together_is_no_conflict() -> None:
    with pytest.raises(ValueError, match="no conflict"):
        smallest_conflict([1, 2, 3], lambda _: True)


def test_what_cannot_hold_at_all_is_a_conflict_of_nothing() -> None:
    assert smallest_conflict([1, 2, 3], lambda _: False) == frozenset()


def test_drum_locked_where_the_crop_wants_it_elsewhere(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"))
    lock = Lock("leave", "feeder.drum")
    conflict = conflict_in(planner.plan(setup, Locks(leave=("feeder.drum", "shoe.sieve"), people=4)))
    assert conflict.rules == (("drum-set-for-another-crop", ""),)
    assert conflict.locks == (lock,)
    assert conflict.fixed == ()
    assert conflict.releases == ((lock,),)
    plan = plan_in(planner.plan(setup, Locks(leave=("shoe.sieve",), people=4)))  # without the lock there is a plan
    assert [step.procedure for step in plan.steps][:1] == ["move-feeder-drum"]


@pytest.mark.parametrize("what", ["feeder", "move-feeder-drum"])
def test_a_locked_part_or_procedure_is_named_as_it_was_given(planner: Planner, legal: Legal, what: str) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"))
    conflict = conflict_in(planner.plan(setup, Locks(leave=(what,))))
    assert conflict.rules == (("drum-set-for-another-crop", ""),)
    assert conflict.releases == ((Lock("leave", what),),)


def test_too_few_minutes(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"))
    needed = plan_in(planner.plan(setup)).minutes
    assert plan_in(planner.plan(setup, Locks(minutes=needed))).minutes == needed
    conflict = conflict_in(planner.plan(setup, Locks(minutes=needed - 1)))
    lock = Lock("minutes", f"{needed - 1:g}")
    assert conflict.rules == (("drum-set-for-another-crop", ""),)
    assert conflict.locks == (lock,)
    assert conflict.releases == ((lock,),)


def test_too_few_people(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"))
    conflict = conflict_in(planner.plan(setup, Locks(people=1)))
    assert conflict.locks == (Lock("people", "1"),)
    assert conflict.releases == ((Lock("people", "1"),),)
    assert plan_in(planner.plan(setup, Locks(people=2))).people == 2


def test_a_part_that_is_lacking(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), fan_drive__condition="cracked")
    assert "belt" in plan_in(planner.plan(setup)).parts_needed
    conflict = conflict_in(planner.plan(setup, Locks(lacking=("Belt", "drift"))))
    assert conflict.rules == (("belt-cracked-or-frayed", "fan_drive"),)
    assert conflict.locks == (Lock("lacking", "Belt"),)
    assert conflict.releases == ((Lock("lacking", "Belt"),),)


def test_two_locks_that_block_two_ways(planner: Planner, legal: Legal) -> None:
    # a hot bearing is greased or replaced; giving up either lock is enough, giving up both is never asked for
    setup = spoiled(legal("axial-single", "corn"), fan_bearing__temperature=110.0)
    grease, replace_it, other = (Lock("leave", name) for name in ("grease-bearing", "replace-bearing", "shoe.sieve"))
    assert [step.procedure for step in plan_in(planner.plan(setup)).steps] == ["open-shields", "grease-bearing"]
    conflict = conflict_in(planner.plan(setup, Locks(leave=(grease.what, replace_it.what, other.what))))
    assert conflict.rules == (("bearing-hot", "fan_bearing"),)
    assert conflict.locks == (grease, replace_it)
    assert conflict.releases == ((grease,), (replace_it,))


def test_two_faults_behind_two_locks_are_released_together(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"), fan_drive__condition="cracked")
    locks = (Lock("leave", "feeder.drum"), Lock("lacking", "belt"))
    conflict = conflict_in(planner.plan(setup, Locks(leave=("feeder.drum",), lacking=("belt",))))
    assert len(conflict.rules) == len(conflict.locks) == 1
    assert conflict.releases == (locks,)


def test_what_nothing_moves_is_named_with_its_value(planner: Planner, legal: Legal) -> None:
    # nothing is locked: the header's plate asks for a speed that this machine's header drive does not turn at
    setup = spoiled(legal("axial-single", "corn"), job__header_drive_speed=900.0)
    conflict = conflict_in(planner.plan(setup))
    assert conflict.rules == (("header-drive-speed-mismatch", ""),)
    assert [name for name, _ in conflict.fixed] == ["job.header_drive_speed"]
    assert conflict.releases == ()


def test_an_event_that_nothing_on_the_machine_records_is_named(planner: Planner, legal: Legal) -> None:
    # this machine has no beater belt to move, so that no procedure sets the order of these two right
    setup = spoiled(legal("tangential-walker", "oats"), beater__belt_moved=2000.0, beater__belt_tensioned=1000.0)
    conflict = conflict_in(planner.plan(setup))
    assert conflict.rules == (("beater-belt-not-tensioned-after-move", ""),)
    assert {name for name, _ in conflict.fixed} <= {"beater.belt_moved", "beater.belt_tensioned"}
    assert conflict.fixed


def test_taking_away_any_part_of_a_conflict_opens_a_plan_for_the_rest(planner: Planner, legal: Legal) -> None:
    base = legal("axial-hybrid", "soybean")
    setup = spoiled(base, feeder__drum=("raised", "raised"), fan_drive__condition="cracked", shoe__sieve=20.0)
    names = ("feeder.drum", "shoe.sieve", "replace-belt")
    planned = planner.plan(setup, Locks(leave=names))
    conflict = conflict_in(planned)
    assert conflict.releases == (tuple(Lock("leave", name) for name in names),)
    for name in names:
        rest = conflict_in(planner.plan(setup, Locks(leave=tuple(other for other in names if other != name))))
        assert set(rest.releases[0]) == {Lock("leave", other) for other in names if other != name}


CONTRADICTION = {
    "packs/header/deck-gap-wide-while-parked.yaml": "at_least: 35 mm",
    "packs/header/deck-gap-narrow-while-parked.yaml": "at_most: 25 mm",
}
RULE = """\
title: Front deck gap while parked
why: An invented house rule.
harm: {{to: header, how: none, severity: negligible, probability: improbable, downtime: 0 h}}
basis: {{ground: common practice}}
hold: {{corn_head.deck_gap_front: {{{relation}}}}}
cure: [set-deck-plates]
cases:
  - {{name: in the middle, at: {{corn_head.deck_gap_front: 30 mm}}, gives: broken, past: 5 mm}}
  - {{name: on the limit, at: {{corn_head.deck_gap_front: {limit}}}, gives: kept}}
  - {{name: not read, at: {{}}, gives: unknown}}
"""


def test_two_rules_of_a_site_that_contradict_each_other_are_both_named(
    site: Callable[[Mapping[str, str | bytes]], Path], legal: Legal
) -> None:
    files = {
        name: RULE.format(relation=relation, limit=relation.split(": ")[1]) for name, relation in CONTRADICTION.items()
    }
    contradicting = Planner(read_rulebook(rules.root(), [site(files)]))
    setup = spoiled(legal("axial-single", "wheat"), corn_head__deck_gap_front=30.0)
    conflict = conflict_in(contradicting.plan(setup, Locks(leave=("shoe.sieve",))))
    assert sorted(conflict.rules) == [("deck-gap-narrow-while-parked", ""), ("deck-gap-wide-while-parked", "")]
    assert conflict.locks == ()
    assert conflict.fixed == ()
    assert conflict.releases == ()
    with pytest.raises(ValueError, match="no legal setup"):
        contradicting.legal_setup("axial-single", "wheat", "", (), never)
    single = Planner(read_rulebook(rules.root(), [site(dict([next(iter(files.items()))]))]))
    assert isinstance(plan_in(single.plan(setup)), Plan)


def test_a_conflict_is_the_same_every_time(planner: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "corn"), feeder__drum=("lowered", "lowered"), shoe__fan_speed=10.0)
    locks = Locks(leave=("feeder.drum", "shoe.fan_speed"))
    first, second = (planner.plan(setup, locks).branches[0].outcome for _ in range(2))
    assert isinstance(first, Conflict)
    assert first == second
