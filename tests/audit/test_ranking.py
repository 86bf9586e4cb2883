"""Ranking held to the printed risk tables, cell by cell, and to the order of its terms.

Tables: MIL-STD-882E (2012), table III, risk assessment matrix; MIL-STD-882D (2000), appendix A, table A-III, mishap
risk assessment values, and table A-IV, its bands 1-5, 6-9, 10-17 and 18-20.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from audit.nouns.risk import Harm, Level, Probability, Rise, Risk, Severity
from audit.nouns.rule import Rule, Standing, Verdict
from audit.nouns.rulebook import Rulebook
from audit.ranking import holds_start, index, level, probability_at, rank_key, risk_of

SEVERITIES = (Severity.CATASTROPHIC, Severity.CRITICAL, Severity.MARGINAL, Severity.NEGLIGIBLE)

MIL_STD_882E_TABLE_III = """
    frequent    High     High     Serious  Medium
    probable    High     High     Serious  Medium
    occasional  High     Serious  Medium   Low
    remote      Serious  Medium   Medium   Low
    improbable  Medium   Medium   Medium   Low
"""
MIL_STD_882D_TABLE_A_III = """
    frequent    1   3   7   13
    probable    2   5   9   16
    occasional  4   6   11  18
    remote      8   10  14  19
    improbable  12  15  17  20
"""


def cells(table: str) -> list[tuple[Probability, Severity, str]]:
    """Cells of a printed table, row by row."""
    found = []
    for line in table.strip().splitlines():
        probability, *row = line.split()
        found += [(Probability[probability.upper()], s, cell) for s, cell in zip(SEVERITIES, row, strict=True)]
    return found


MATRIX, INDEX = cells(MIL_STD_882E_TABLE_III), cells(MIL_STD_882D_TABLE_A_III)


def risk(**terms: object) -> Risk:
    """A risk that differs from a middling one in the terms given."""
    middling = Risk(Level.MEDIUM, 11, Severity.MARGINAL, Probability.OCCASIONAL, 4.0, 0.1, False)
    return replace(middling, **terms)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("probability", "severity", "printed"),
    [pytest.param(p, s, cell, id=f"MIL-STD-882E table III, {p.name}/{s.name}".lower()) for p, s, cell in MATRIX],
)
def test_level_is_the_printed_cell(probability: Probability, severity: Severity, printed: str) -> None:
    assert level(severity, probability).name == printed.upper()


@pytest.mark.parametrize(
    ("probability", "severity", "printed"),
    [pytest.param(p, s, cell, id=f"MIL-STD-882D table A-III, {p.name}/{s.name}".lower()) for p, s, cell in INDEX],
)
def test_index_is_the_printed_cell(probability: Probability, severity: Severity, printed: str) -> None:
    assert index(severity, probability) == int(printed)


def test_tables_are_whole() -> None:
    assert len(MATRIX) == len(INDEX) == 20
    assert sorted(int(cell) for _, _, cell in INDEX) == list(range(1, 21))


def band(value: int) -> Level:
    """MIL-STD-882D table A-IV: 1-5 high, 6-9 serious, 10-17 medium, 18-20 low."""
    lasts = {5: Level.HIGH, 9: Level.SERIOUS, 17: Level.MEDIUM, 20: Level.LOW}
    return next(found for last, found in lasts.items() if value <= last)


@pytest.mark.parametrize("probability", Probability)
@pytest.mark.parametrize("severity", Severity)
def test_bands_of_the_index_give_the_matrix(severity: Severity, probability: Probability) -> None:
    assert band(index(severity, probability)) is level(severity, probability)


@pytest.mark.parametrize("severity", Severity)
def test_more_probable_is_never_ranked_milder(severity: Severity) -> None:
    for often, seldom in pairwise(Probability):
        assert index(severity, often) < index(severity, seldom)
        assert level(severity, often) <= level(severity, seldom)


@pytest.mark.parametrize("probability", Probability)
def test_more_severe_is_never_ranked_milder(probability: Probability) -> None:
    for worse, milder in pairwise(Severity):
        assert index(worse, probability) < index(milder, probability)
        assert level(worse, probability) <= level(milder, probability)


WORST_FIRST = [
    ("level", (risk(level=Level.HIGH, index=20), Verdict.UNKNOWN, "z", ""), (risk(index=1), Verdict.BROKEN, "a", "")),
    ("index", (risk(index=10, downtime=0.0), Verdict.UNKNOWN, "z", ""), (risk(downtime=99.0), Verdict.BROKEN, "a", "")),
    ("downtime", (risk(downtime=5.0, share=0.0), Verdict.UNKNOWN, "z", ""), (risk(share=9.0), Verdict.BROKEN, "a", "")),
    ("proof", (risk(share=0.0), Verdict.BROKEN, "z", ""), (risk(share=9.0), Verdict.UNKNOWN, "a", "")),
    ("margin", (risk(share=0.2), Verdict.BROKEN, "z", ""), (risk(), Verdict.BROKEN, "a", "")),
    ("rule id", (risk(), Verdict.BROKEN, "a", "z"), (risk(), Verdict.BROKEN, "b", "a")),
    ("component", (risk(), Verdict.BROKEN, "a", "a"), (risk(), Verdict.BROKEN, "a", "b")),
]


@pytest.mark.parametrize(("worse", "milder"), [pytest.param(a, b, id=name) for name, a, b in WORST_FIRST])
def test_each_term_outranks_all_later_ones(
    worse: tuple[Risk, Verdict, str, str], milder: tuple[Risk, Verdict, str, str]
) -> None:
    assert rank_key(*worse) < rank_key(*milder)


RISING = Harm(
    "chain", "parts", Severity.CRITICAL, Probability.REMOTE, 6.0,
    rises=(Rise(0.1, Probability.OCCASIONAL), Rise(0.5, Probability.PROBABLE)),
)  # fmt: skip


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0.0, Probability.REMOTE),
        (0.0999, Probability.REMOTE),
        (0.1, Probability.OCCASIONAL),
        (0.4999, Probability.OCCASIONAL),
        (0.5, Probability.PROBABLE),
        (7.0, Probability.PROBABLE),
    ],
)
def test_probability_rises_with_the_margin(share: float, expected: Probability) -> None:
    assert probability_at(RISING, share) is expected
    found = risk_of(RISING, Verdict.BROKEN, share)
    assert (found.probability, found.severity) == (expected, Severity.CRITICAL)
    assert found.level is level(Severity.CRITICAL, expected)
    assert (found.index, found.downtime, found.share) == (index(Severity.CRITICAL, expected), 6.0, share)


def test_unknown_is_ranked_as_the_worst_it_could_hide() -> None:
    unknown = risk_of(RISING, Verdict.UNKNOWN, 0.0)
    assert unknown.probability is Probability.PROBABLE
    assert unknown.level is Level.HIGH
    assert all(unknown.index <= risk_of(RISING, Verdict.BROKEN, share).index for share in (0.0, 0.1, 0.5, 100.0))


def test_unknown_without_rises_has_the_rules_own_probability() -> None:
    harm = replace(RISING, rises=())
    assert risk_of(harm, Verdict.UNKNOWN, 0.0).probability is Probability.REMOTE


@pytest.mark.parametrize("people", [True, False])
def test_danger_to_people_is_carried_into_the_risk(people: bool) -> None:
    assert risk_of(replace(RISING, people=people), Verdict.BROKEN, 0.0).people is people


@pytest.fixture
def rule(rulebook: Rulebook) -> Rule:
    return rulebook.rules["chopper-belt-on-mismatched-pulleys"]


@pytest.mark.parametrize("hold_at", Level)
@pytest.mark.parametrize("found", Level)
def test_a_rule_in_force_holds_from_the_chosen_level_up(rule: Rule, found: Level, hold_at: Level) -> None:
    assert holds_start(risk(level=found), rule, hold_at) is (found.value <= hold_at.value)


@pytest.mark.parametrize("hold_at", Level)
def test_a_trial_rule_never_holds(rule: Rule, hold_at: Level) -> None:
    assert holds_start(risk(level=Level.HIGH), rule, hold_at)
    assert not holds_start(risk(level=Level.HIGH), replace(rule, standing=Standing.TRIAL), hold_at)
