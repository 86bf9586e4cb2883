"""Exact tests against published examples, against scipy, and against counting every way by hand."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, product
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from audit.fleet.chance import Table, at_least_as_many, false_discovery_rates, odds

tables = st.builds(
    lambda all_, here, broken, pick: Table(
        min(here, all_),
        max(0, min(here, all_) + min(broken, all_) - all_) + pick
        % (min(here, all_, broken) - max(0, min(here, all_) + min(broken, all_) - all_) + 1),
        all_,
        min(broken, all_),
    ),
    st.integers(1, 40), st.integers(0, 40), st.integers(0, 40), st.integers(0, 40),
)  # fmt: skip


@pytest.mark.parametrize(("right", "probability"), [(4, Fraction(1, 70)), (3, Fraction(17, 70)), (0, Fraction(1))])
def test_the_lady_tasting_tea(right: int, probability: Fraction) -> None:
    """Fisher, The Design of Experiments (1935), chapter II: 8 cups, 4 of each kind, 70 ways to pick four."""
    assert at_least_as_many([Table(4, right, 8, 4)]) == probability


def test_fishers_criminal_twins() -> None:
    """Fisher, The logic of inductive inference (JRSS 98, 1935): 10 of 13 monozygotic and 2 of 17 dizygotic twins of
    criminals were convicted too; so many or more have a chance of about 1 in 2150, exactly 619/1330665."""
    assert at_least_as_many([Table(13, 10, 30, 12)]) == Fraction(619, 1330665)


@given(tables)
def test_one_table_is_fishers_exact_test(table: Table) -> None:
    rest = table.all - table.here
    broken_rest = table.broken - table.broken_here
    square = [[table.broken_here, table.here - table.broken_here], [broken_rest, rest - broken_rest]]
    assert float(at_least_as_many([table])) == pytest.approx(
        stats.fisher_exact(square, alternative="greater").pvalue, rel=1e-9
    )


def test_several_tables_are_every_way_counted() -> None:
    """Every way to put the faults on machines, group by group of like machines."""
    strata = [Table(2, 2, 5, 3), Table(3, 1, 4, 2), Table(1, 0, 3, 0)]
    ways = [
        [sum(machine < table.here for machine in chosen) for chosen in combinations(range(table.all), table.broken)]
        for table in strata
    ]
    hits = [sum(pick) >= 3 for pick in product(*ways)]
    assert len(hits) == comb(5, 3) * comb(4, 2)
    assert at_least_as_many(strata) == Fraction(sum(hits), len(hits))


def test_machines_that_are_all_alike_decide_nothing() -> None:
    """A farm that has another crop than the rest is no farm with a habit, however many faults it has."""
    assert at_least_as_many([Table(5, 5, 5, 5), Table(0, 0, 9, 0)]) == 1


@given(st.lists(tables, min_size=1, max_size=3))
def test_a_fault_more_is_never_likelier(strata: list[Table]) -> None:
    first = strata[0]
    if first.broken_here < min(first.here, first.broken):
        more = [first._replace(broken_here=first.broken_here + 1), *strata[1:]]
        assert at_least_as_many(more) < at_least_as_many(strata)


def test_the_example_of_benjamini_and_hochberg() -> None:
    """Benjamini and Hochberg (1995), section 4.1 (memory): of fifteen tests the first four are called at 0.05."""
    given_ = "0.0001 0.0004 0.0019 0.0095 0.0201 0.0278 0.0298 0.0344 0.0459 0.3240 0.4262 0.5719 0.6528 0.7590 1.000"
    rates = false_discovery_rates([Fraction(p) for p in given_.split()])
    assert [rate <= Fraction(1, 20) for rate in rates] == [True] * 4 + [False] * 11
    assert rates[0] == Fraction("0.0015")
    assert rates[3] == Fraction("0.035625")


@given(st.lists(st.fractions(0, 1), min_size=1, max_size=20))
def test_rates_are_those_of_scipy(probabilities: list[Fraction]) -> None:
    expected = stats.false_discovery_control([float(p) for p in probabilities], method="bh")
    assert [float(rate) for rate in false_discovery_rates(probabilities)] == pytest.approx(list(expected))


def test_no_test_has_no_rate() -> None:
    assert false_discovery_rates([]) == []


def test_odds_add_up_over_tables() -> None:
    assert odds([Table(4, 3, 8, 4), Table(1, 0, 5, 2)]) == (3, 5, 3, 8)
