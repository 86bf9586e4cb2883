"""Student's t against a printed table and against an implementation of others."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from audit.history import student
from audit.history.student import t_quantile, t_within

# R. A. Fisher, Statistical Methods for Research Workers, 1925, table of t, as reprinted in a textbook of probability:
# degrees of freedom, two-sided 90 %, 95 %, 98 %, 99 %
PRINTED = [
    (1, 6.314, 12.706, 31.821, 63.657), (2, 2.920, 4.303, 6.965, 9.925), (3, 2.353, 3.182, 4.541, 5.841),
    (4, 2.132, 2.776, 3.747, 4.604), (5, 2.015, 2.571, 3.365, 4.032), (7, 1.895, 2.365, 2.998, 3.499),
    (10, 1.812, 2.228, 2.764, 3.169), (15, 1.753, 2.131, 2.602, 2.947), (20, 1.725, 2.086, 2.528, 2.845),
    (29, 1.699, 2.045, 2.462, 2.756),
]  # fmt: skip


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"{row[0]} degrees of freedom")
def test_the_printed_table(row: tuple[int, float, float, float, float]) -> None:
    freedom, *printed = row
    assert [round(t_quantile(confidence, freedom), 3) for confidence in (0.90, 0.95, 0.98, 0.99)] == printed


@given(st.integers(1, 400), st.floats(0.01, 0.999))
def test_quantiles_agree_with_scipy(freedom: int, confidence: float) -> None:
    assert t_quantile(confidence, freedom) == pytest.approx(stats.t.ppf((1 + confidence) / 2, freedom), rel=1e-9)


@given(st.integers(1, 400), st.floats(0.0, 1000.0))
def test_probabilities_agree_with_scipy(freedom: int, t: float) -> None:
    assert t_within(t, freedom) == pytest.approx(1 - 2 * stats.t.sf(t, freedom), abs=1e-12)


@given(st.integers(1, 200), st.floats(0.01, 0.999))
def test_a_quantile_is_the_inverse(freedom: int, confidence: float) -> None:
    assert t_within(t_quantile(confidence, freedom), freedom) == pytest.approx(confidence, rel=1e-12)


@pytest.mark.parametrize(("confidence", "freedom"), [(0.95, 0), (0.0, 5), (1.0, 5), (-0.1, 5), (float("nan"), 5)])
def test_a_quantile_that_is_none_is_refused(confidence: float, freedom: int) -> None:
    with pytest.raises(ValueError, match="confidence"):
        t_quantile(confidence, freedom)


@pytest.mark.parametrize(("t", "freedom"), [(-1.0, 5), (1.0, 0), (float("nan"), 5)])
def test_a_probability_that_is_none_is_refused(t: float, freedom: int) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        t_within(t, freedom)


def test_worked_examples() -> None:
    assert doctest.testmod(student) == (0, 2)
