"""The gate: it clears only what nothing speaks against, and says everything that does."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.clearing import CLOCKS_DIFFER, decide, found_in, why_not_acceptable
from audit.nouns.clearance import Acceptance, Decision, Effect, Job, Judgement, Stand, Terms, Why
from audit.nouns.finding import Clearance, Comparison, Finding
from audit.nouns.risk import Level, Probability, Risk, Severity
from audit.nouns.rule import Rule, Verdict
from audit.nouns.rulebook import Rulebook

NOW = 1_790_000_000.0
DAY = 86400.0
CORN = Job("corn", "corn-head")
MACHINE, PEOPLE = "drum-set-for-another-crop", "header-safety-stop-off"
STAND = Stand("setup-1", "d" * 64, CORN, NOW - DAY, 1000.0)
TERMS = Terms()


@pytest.fixture(scope="module")
def rules(rulebook: Rulebook) -> Mapping[str, Rule]:
    """One shipped rule about the machine and one about people, under names of our own."""
    machine = next(rule for rule in rulebook.rules.values() if not rule.harm.people)
    people = next(rule for rule in rulebook.rules.values() if rule.harm.people)
    return MappingProxyType({MACHINE: replace(machine, id=MACHINE), PEOPLE: replace(people, id=PEOPLE)})


def finding(rule: str = MACHINE, on: str = "", found: object = "lowered", **changes: object) -> Finding:
    risk = Risk(Level.HIGH, 3, Severity.CRITICAL, Probability.PROBABLE, 10.0, 1.0, rule == PEOPLE)
    comparison = Comparison("feeder.drum", "right", found, "raised", "", None, 1.0, False)  # type: ignore[arg-type]
    plain = Finding(rule, on, "feeder", Verdict.BROKEN, risk, True, (comparison,), (), ())
    return replace(plain, **changes)  # type: ignore[arg-type]


def acceptance(about: Finding, **changes: object) -> Acceptance:
    plain = Acceptance(
        "a-1", about.rule, about.on, CORN, found_in(about), "the foreman", "spare part on its way", NOW - 60, NOW + DAY
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def decided(rules: Mapping[str, Rule], *findings: Finding, **changes: object) -> Decision:
    given: dict[str, object] = {
        "job": CORN, "stand": STAND, "judgement": Judgement("r" * 64, findings), "rules": rules, "in_force": "r" * 64,
        "acceptances": (), "effects": {}, "terms": TERMS, "now": NOW, "hours": 1000.0,
    }  # fmt: skip
    return decide(**{**given, **changes})  # type: ignore[arg-type]


def whys(decision: Decision) -> list[Why]:
    return [reason.why for reason in decision.reasons]


def test_nothing_found_is_cleared(rules: Mapping[str, Rule]) -> None:
    decision = decided(rules)
    assert decision.clearance is Clearance.CLEARED
    assert decision.reasons == ()


def test_an_open_finding_holds_and_is_named(rules: Mapping[str, Rule]) -> None:
    decision = decided(rules, finding())
    assert decision.clearance is Clearance.HELD
    assert [reason.finding for reason in decision.reasons] == [finding()]


def test_what_is_not_known_holds(rules: Mapping[str, Rule]) -> None:
    decision = decided(rules, finding(verdict=Verdict.UNKNOWN, found=None))
    assert whys(decision) == [Why.FINDING]
    assert "not known" in decision.reasons[0].text


def test_a_finding_below_the_level_does_not_hold(rules: Mapping[str, Rule]) -> None:
    assert decided(rules, finding(holds_start=False)).clearance is Clearance.CLEARED


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"stand": None, "judgement": None}, Why.NO_SETUP),
        ({"stand": replace(STAND, unit_retired=True)}, Why.RETIRED),
        ({"job": Job("soybean", "draper")}, Why.OTHER_JOB),
        ({"job": Job("corn", "draper")}, Why.OTHER_JOB),
        ({"stand": replace(STAND, job=Job("corn", "")), "job": Job("corn", "")}, Why.OTHER_JOB),
        ({"stand": replace(STAND, taken=NOW + CLOCKS_DIFFER + 1)}, Why.FROM_THE_FUTURE),
        ({"stand": replace(STAND, overtaken_by="setup-2")}, Why.OVERTAKEN),
        ({"stand": replace(STAND, unit_changed=True)}, Why.UNIT_CHANGED),
        ({"stand": replace(STAND, taken=NOW - TERMS.most_days * DAY - 1)}, Why.TOO_OLD),
        ({"stand": replace(STAND, taken=float("nan"))}, Why.TOO_OLD),
        ({"stand": replace(STAND, hours=None)}, Why.HOURS_UNKNOWN),
        ({"stand": replace(STAND, hours=float("inf"))}, Why.HOURS_UNKNOWN),
        ({"hours": 1000.0 + TERMS.most_hours + 0.1}, Why.TOO_MANY_HOURS),
        ({"terms": replace(TERMS, most_hours=float("nan"))}, Why.TOO_MANY_HOURS),
        ({"judgement": None}, Why.NOT_JUDGED),
        ({"judgement": Judgement("other", ())}, Why.NOT_JUDGED),
    ],
)
def test_each_doubt_holds_alone(rules: Mapping[str, Rule], changes: dict[str, object], why: Why) -> None:
    decision = decided(rules, **changes)
    assert decision.clearance is Clearance.HELD
    assert whys(decision) == [why]


@pytest.mark.parametrize(
    "changes",
    [
        {"stand": replace(STAND, taken=NOW - TERMS.most_days * DAY)},
        {"hours": 1000.0 + TERMS.most_hours},
        {"hours": None},
        {"stand": replace(STAND, taken=NOW + CLOCKS_DIFFER)},
    ],
)
def test_on_the_limit_is_cleared(rules: Mapping[str, Rule], changes: dict[str, object]) -> None:
    assert decided(rules, **changes).clearance is Clearance.CLEARED


def test_an_acceptance_clears_its_finding_and_stays_visible(rules: Mapping[str, Rule]) -> None:
    given = acceptance(finding())
    decision = decided(rules, finding(), acceptances=[given])
    assert decision.clearance is Clearance.CLEARED
    assert [(one.finding, one.acceptance) for one in decision.accepted] == [(finding(), given)]
    assert decision.lapsed == ()


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"until": NOW}, "expired"),
        ({"until": float("nan")}, "expired"),
        ({"withdrawn": NOW - 1}, "taken back"),
        ({"job": Job("wheat", "draper")}, "another job"),
        ({"found": (("feeder.drum", "left", "lowered"),)}, "not what was accepted"),
        ({"at": NOW + 2 * CLOCKS_DIFFER}, "clock"),
    ],
)
def test_an_acceptance_that_no_longer_counts_holds_and_is_told(
    rules: Mapping[str, Rule], changes: dict[str, object], says: str
) -> None:
    decision = decided(rules, finding(), acceptances=[acceptance(finding(), **changes)])
    assert whys(decision) == [Why.FINDING]
    assert says in decision.lapsed[0].why


def test_an_acceptance_covers_no_other_value_part_or_rule(rules: Mapping[str, Rule]) -> None:
    given = [acceptance(finding())]
    for other in (finding(found="middle"), finding(on="left_elevator"), finding(rule=PEOPLE)):
        assert decided(rules, other, acceptances=given).clearance is Clearance.HELD


def test_danger_to_people_cannot_be_accepted(rules: Mapping[str, Rule]) -> None:
    danger = finding(rule=PEOPLE)
    assert why_not_acceptable(danger, rules) is not None
    assert decided(rules, danger, acceptances=[acceptance(danger)]).clearance is Clearance.HELD


def test_what_is_not_known_cannot_be_accepted(rules: Mapping[str, Rule]) -> None:
    unknown = finding(verdict=Verdict.UNKNOWN, found=None)
    assert why_not_acceptable(unknown, rules) is not None
    assert decided(rules, unknown, acceptances=[acceptance(unknown)]).clearance is Clearance.HELD


def test_an_acceptance_of_nothing_found_is_told(rules: Mapping[str, Rule]) -> None:
    decision = decided(rules, acceptances=[acceptance(finding())])
    assert decision.clearance is Clearance.CLEARED
    assert "nothing of what it accepts" in decision.lapsed[0].why


def test_a_warning_does_not_hold_but_is_shown(rules: Mapping[str, Rule]) -> None:
    decision = decided(rules, finding(), effects={MACHINE: Effect.WARNED})
    assert decision.clearance is Clearance.CLEARED
    assert decision.warned == (finding(),)


@pytest.mark.parametrize("effect", list(Effect))
def test_no_effect_lets_danger_to_people_pass(rules: Mapping[str, Rule], effect: Effect) -> None:
    assert decided(rules, finding(rule=PEOPLE), effects={PEOPLE: effect}).clearance is Clearance.HELD


def test_a_rule_that_is_not_known_any_more_is_held_as_if_for_people(rules: Mapping[str, Rule]) -> None:
    gone = finding(rule="not-in-the-rulebook")
    decision = decided(rules, gone, acceptances=[acceptance(gone)], effects={gone.rule: Effect.SHOWN})
    assert decision.clearance is Clearance.HELD


FINDINGS = st.lists(
    st.builds(
        finding,
        rule=st.sampled_from([MACHINE, PEOPLE]),
        on=st.sampled_from(["", "left_elevator"]),
        found=st.sampled_from(["lowered", "middle", 3.5, None]),
        verdict=st.sampled_from([Verdict.BROKEN, Verdict.UNKNOWN]),
        holds_start=st.booleans(),
    ),
    max_size=4,
)
STANDS = st.none() | st.builds(
    Stand,
    setup=st.just("setup-1"),
    digest=st.just("d" * 64),
    job=st.sampled_from([CORN, Job("wheat", "draper")]),
    taken=st.floats(NOW - 40 * DAY, NOW + DAY),
    hours=st.none() | st.floats(900, 1100),
    overtaken_by=st.sampled_from(["", "setup-2"]),
    unit_changed=st.booleans(),
    unit_retired=st.booleans(),
)


@given(
    STANDS,
    FINDINGS,
    st.lists(st.tuples(st.integers(0, 3), st.floats(-DAY, DAY), st.booleans()), max_size=4),
    st.none() | st.floats(900, 1200),
    st.sampled_from(["r" * 64, "s" * 64]),
)
def test_cleared_only_if_nothing_speaks_against_it(
    stand: Stand | None,
    findings: list[Finding],
    accepted: list[tuple[int, float, bool]],
    hours: float | None,
    judged_by: str,
) -> None:
    """Said a second time, the other way round: a start is cleared only if all of this is so."""
    harm = {MACHINE: False, PEOPLE: True}
    rules: dict[str, Any] = {name: _Rule(name, _Harm(people)) for name, people in harm.items()}
    given = [
        acceptance(findings[n], id=f"a-{i}", until=NOW + left, withdrawn=NOW if back else None)
        for i, (n, left, back) in enumerate(accepted)
        if n < len(findings)
    ]
    decision = decided(
        rules,
        stand=stand,
        judgement=Judgement(judged_by, tuple(findings)),
        acceptances=given,
        hours=hours,
    )
    good = (
        stand is not None
        and judged_by == "r" * 64
        and stand.job == CORN
        and NOW - 14 * DAY <= stand.taken <= NOW + 300
        and not (stand.overtaken_by or stand.unit_changed or stand.unit_retired)
        and stand.hours is not None
        and max(stand.hours, hours or 0) - stand.hours <= 50
        and all(
            not one.holds_start
            or (
                one.rule == MACHINE
                and one.verdict is Verdict.BROKEN
                and any(
                    (a.rule, a.on, a.found) == (one.rule, one.on, found_in(one))
                    and a.until > NOW
                    and a.withdrawn is None
                    for a in given
                )
            )
            for one in findings
        )
    )
    assert (decision.clearance is Clearance.CLEARED) == good
    assert (decision.clearance is Clearance.CLEARED) == (decision.reasons == ())
    told = {one.acceptance.id for one in decision.accepted} | {one.acceptance.id for one in decision.lapsed}
    assert told == {one.id for one in given}


@dataclasses.dataclass
class _Harm:
    people: bool


@dataclasses.dataclass
class _Rule:
    title: str
    harm: _Harm
