"""A reading over which two rules are broken that no one procedure mends: it takes the cures of both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

import rules
from audit.intake.rulebook import read_rulebook
from audit.nouns.plan import Lock, Locks
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from tests.audit.planning.plans import conflict_in, never, plan_in, spoiled
from tests.audit.planning.reference import Reference

Legal = Callable[[str, str], Setup]
RULE = """\
title: Bearing warmer than {limit}
why: An invented house rule.
harm: {{to: bearing, how: none, severity: negligible, probability: improbable, downtime: 0 h}}
basis: {{ground: common practice}}
each: bearing
hold: {{each.temperature: {{at_most: {limit}}}}}
cure: [{cure}]
cases:
  - {{name: on the limit, at: {{each.temperature: {limit}}}, gives: kept}}
  - {{name: far over it, at: {{each.temperature: 120 degC}}, gives: broken}}
  - {{name: not taken, at: {{}}, gives: unknown}}
"""
GREASED = RULE.format(limit="60 degC", cure="grease-bearing")
REPLACED = RULE.format(limit="70 degC", cure="replace-bearing")
ON = "fan_bearing"


@pytest.fixture
def strict(site: Callable[[Mapping[str, str | bytes]], Path]) -> Planner:
    """A planner by a site's rulebook, in which a warm bearing is greased and a hot one replaced as well."""
    files: dict[str, str | bytes] = {
        "packs/drives/bearing-warm-here.yaml": GREASED,
        "packs/drives/bearing-hot-here.yaml": REPLACED,
    }
    return Planner(read_rulebook(rules.root(), [site(files)]))


@pytest.mark.parametrize(
    ("temperature", "work"),
    [
        (59.0, set()),
        (65.0, {("grease-bearing", ON)}),
        (75.0, {("grease-bearing", ON), ("replace-bearing", ON)}),
        (110.0, {("grease-bearing", ON), ("replace-bearing", ON)}),
    ],
)
def test_each_broken_rule_gets_its_cure(
    strict: Planner, legal: Legal, temperature: float, work: set[tuple[str, str]]
) -> None:
    base = legal("axial-single", "wheat")
    setup = spoiled(base, fan_bearing__temperature=temperature)
    plan = plan_in(strict.plan(setup, out_of_time=never))
    assert {(step.procedure, step.on) for step in plan.steps if step.on == ON} == work
    assert plan.moves == bool(work)
    reference = Reference(strict.worksheet("axial-single", "wheat"), base.values)
    wanted = reference.solve(setup.values, Locks())
    assert wanted is not None
    assert (round(60 * plan.minutes), plan.parts, plan.moves) == wanted[:3]


def test_a_lock_on_one_of_the_two_cures_is_a_conflict(strict: Planner, legal: Legal) -> None:
    setup = spoiled(legal("axial-single", "wheat"), fan_bearing__temperature=75.0)
    lock = Lock("leave", "replace-bearing")
    conflict = conflict_in(strict.plan(setup, Locks(leave=("replace-bearing",)), out_of_time=never))
    assert conflict.rules == (("bearing-hot-here", ON),)
    assert conflict.locks == (lock,)
    assert conflict.releases == ((lock,),)
