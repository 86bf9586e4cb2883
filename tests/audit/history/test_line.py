"""Least squares against certified and published values, and against an implementation of others."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from audit.history import line
from audit.history.line import fit_line
from audit.history.student import t_quantile

# NIST Statistical Reference Datasets, linear regression, Norris (calibration of ozone monitors): y, x.
NORRIS = [
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3),
    (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5),
    (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8),
    (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
    (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
]  # fmt: skip
# its certified values
INTERCEPT, SLOPE, SLOPE_ERROR, RESIDUAL = -0.262323073774029, 1.00211681802045, 0.429796848199937e-3, 0.884796396144373


def test_certified_values() -> None:
    found = fit_line([x for _, x in NORRIS], [y for y, _ in NORRIS])
    assert found is not None
    assert found.n == 36
    assert found.slope == pytest.approx(SLOPE, rel=1e-13)
    assert found.at(0.0) == pytest.approx(INTERCEPT, rel=1e-11)
    assert found.residual == pytest.approx(RESIDUAL, rel=1e-12)
    assert found.slope_error == pytest.approx(SLOPE_ERROR, rel=1e-12)


# F. J. Anscombe, Graphs in Statistical Analysis, The American Statistician 27(1), 1973 (memory): four sets with
# one line, y = 3.00 + 0.500 x, standard error of the slope 0.118
X = (10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5)
ANSCOMBE = [
    (X, (8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68)),
    (X, (9.14, 8.14, 8.74, 8.77, 9.26, 8.10, 6.13, 3.10, 9.13, 7.26, 4.74)),
    (X, (7.46, 6.77, 12.74, 7.11, 7.81, 8.84, 6.08, 5.39, 8.15, 6.42, 5.73)),
    ((8,) * 7 + (19,) + (8,) * 3, (6.58, 5.76, 7.71, 8.84, 8.47, 7.04, 5.25, 12.50, 5.56, 7.91, 6.89)),
]


@pytest.mark.parametrize(("xs", "ys"), ANSCOMBE)
def test_four_sets_with_one_line(xs: tuple[float, ...], ys: tuple[float, ...]) -> None:
    found = fit_line(xs, ys)
    assert found is not None
    assert found.slope_error is not None
    assert (round(found.slope, 3), round(found.at(0.0), 2), round(found.slope_error, 3)) == (0.5, 3.0, 0.118)


points = st.lists(st.tuples(st.floats(0, 5000), st.floats(-100, 100)), min_size=3, max_size=20)


@given(points)
def test_lines_agree_with_scipy(some: list[tuple[float, float]]) -> None:
    xs, ys = [x for x, _ in some], [y for _, y in some]
    assume(max(xs) - min(xs) > 1.0)
    assume(max(ys) - min(ys) > 1e-3)
    found, theirs = fit_line(xs, ys), stats.linregress(xs, ys)
    assert found is not None
    assert found.slope == pytest.approx(theirs.slope, rel=1e-6, abs=1e-9)
    assert found.slope_error is not None
    assert found.slope_interval is not None
    assert found.slope_error == pytest.approx(theirs.stderr, rel=1e-6, abs=1e-6)
    assert found.slope_interval[1] - found.slope == pytest.approx(t_quantile(0.95, len(xs) - 2) * found.slope_error)


@given(
    st.floats(-10, 10), st.floats(-1, 1), st.lists(st.integers(0, 5000), min_size=2, max_size=12, unique=True)
)  # fmt: skip
def test_points_on_a_line_give_that_line(height: float, slope: float, xs: list[int]) -> None:
    found = fit_line(xs, [height + slope * x for x in xs])
    assert found is not None
    assert found.slope == pytest.approx(slope, rel=1e-9, abs=1e-9)
    assert found.at(0.0) == pytest.approx(height, rel=1e-9, abs=1e-8)


@given(points, st.floats(-500, 500))
def test_the_band_holds_the_level_at_both_ends_of_the_interval(some: list[tuple[float, float]], level: float) -> None:
    """By Fieller's theorem the ends are where the edge of the line's own confidence band has the level."""
    xs, ys = [x for x, _ in some], [y for _, y in some]
    assume(max(xs) - min(xs) > 1.0)
    assume(max(ys) - min(ys) > 1e-3)
    found = fit_line(xs, ys)
    assert found is not None
    assert found.slope_interval is not None
    assert found.residual is not None
    reached = found.reaches_interval(level)
    low, high = found.slope_interval
    if reached is None:
        assert low <= 1e-9 * abs(found.slope)
        assert high >= -1e-9 * abs(found.slope)
        return
    assert low > 0.0 or high < 0.0
    assert reached[0] <= found.reaches(level) <= reached[1]
    assume(min(abs(low), abs(high)) > 1e-3 * abs(found.slope))  # nearer to no trend, rounding swamps the ends
    for x in reached:
        half = t_quantile(0.95, found.n - 2) * found.residual
        half *= math.sqrt(1 / found.n + (x - found.mean_x) ** 2 / found.spread)
        assert abs(found.at(x) - level) == pytest.approx(half, rel=1e-5, abs=1e-6)


def test_what_has_no_line() -> None:
    assert fit_line([], []) is None
    assert fit_line([1.0], [2.0]) is None
    assert fit_line([5.0, 5.0, 5.0], [1.0, 2.0, 3.0]) is None
    assert fit_line([0.0, 1e-200], [1.0, 2.0]) is None


@given(st.floats(-1e6, 1e6), st.lists(st.floats(0, 5000), min_size=3, max_size=9, unique=True))
def test_equal_values_have_no_slope_at_all(value: float, xs: list[float]) -> None:
    assume(max(xs) - min(xs) > 1.0)
    found = fit_line(xs, [value] * len(xs))
    assert found is not None
    assert (found.slope, found.residual, found.mean_y) == (0.0, 0.0, value)


def test_two_points_have_a_rate_and_no_interval() -> None:
    found = fit_line([0.0, 100.0], [1.0, 2.0])
    assert found is not None
    assert (found.slope, found.reaches(3.0)) == (0.01, 200.0)
    assert (found.slope_error, found.slope_interval, found.reaches_interval(3.0)) == (None, None, None)


def test_worked_examples() -> None:
    assert doctest.testmod(line) == (0, 1)
