"""Variable-speed belt drives: no printed farm example exists, so a second derivation stands in for it."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
import scipy.optimize  # type: ignore[import-untyped]
import sympy  # type: ignore[import-untyped]
from hypothesis import assume, given
from hypothesis import strategies as st

from audit.physics import belts, variator
from audit.physics.formula import OutOfRange


@pytest.mark.parametrize(
    ("half_angle", "slope"),
    [
        pytest.param(half, slope, id=f"Skinner 2020 radius slope, half angle {half} deg")
        for half, slope in [(13, 4.331), (14, 4.011), (15, 3.732), (17, 3.271), (19, 2.904)]
    ],
)
def test_diameter_per_millimetre_of_travel(half_angle: float, slope: float) -> None:
    assert variator.diameter_change(1.0, 2 * half_angle) == pytest.approx(slope, abs=0.0005)
    # The source states it for the radius: 1 / (2 tan β).
    assert variator.diameter_change(1.0, 2 * half_angle) / 2 == pytest.approx(
        1 / (2 * math.tan(math.radians(half_angle))), rel=1e-12
    )


def test_mate_of_a_printed_pair() -> None:
    # Shigley ch. 17: 18 and 6 in sheaves, 96 in apart, need 230.074 in.
    length, centre = 230.074 * 25.4, 96 * 25.4
    assert variator.mate_diameter(18 * 25.4, length, centre) / 25.4 == pytest.approx(6, abs=0.001)
    assert variator.mate_diameter(6 * 25.4, length, centre) / 25.4 == pytest.approx(18, abs=0.001)


@pytest.mark.parametrize(("diameter", "length", "centre"), [(250, 2600, 800), (480, 2600, 800), (300, 1900, 450)])
def test_mate_by_another_root_finder(diameter: float, length: float, centre: float) -> None:
    def miss(mate: float) -> float:
        return belts.open_belt_length(diameter, mate, centre) - length

    found = scipy.optimize.brentq(miss, 10, 2 * centre - diameter, xtol=1e-10)
    assert variator.mate_diameter(diameter, length, centre) == pytest.approx(found, rel=1e-9)


def test_slope_of_the_length_is_half_the_wrap() -> None:
    one, two, apart = sympy.symbols("one two apart", positive=True)
    half = (one - two) / 2
    length = 2 * sympy.sqrt(apart**2 - half**2) + sympy.pi * (one + two) / 2 + 2 * half * sympy.asin(half / apart)
    slope = sympy.diff(length, two) - (sympy.pi - 2 * sympy.asin(half / apart)) / 2
    for numbers in ({one: 480, two: 200, apart: 800}, {one: 150, two: 400, apart: 500}):
        assert abs(sympy.N(slope.subs(numbers), 30)) < 1e-25


diameters = st.floats(60, 800)


@given(diameters, diameters, st.floats(100, 3000))
def test_mate_of_the_mate_is_the_sheave(one: float, other: float, centre: float) -> None:
    assume((one + other) / 2 * 1.001 <= centre)
    length = belts.open_belt_length(one, other, centre)
    mate = variator.mate_diameter(one, length, centre)
    assert mate == pytest.approx(other, rel=1e-7)
    assert variator.mate_diameter(mate, length, centre) == pytest.approx(one, rel=1e-7)


@given(st.floats(200, 400), st.floats(1, 60))
def test_opening_one_sheave_closes_the_other_and_the_sum_is_not_kept(start: float, growth: float) -> None:
    length, centre = belts.open_belt_length(300, 300, 700), 700.0
    before = variator.mate_diameter(start, length, centre)
    after = variator.mate_diameter(start + growth, length, centre)
    assert after < before
    # An even pair has the greatest sum; the further apart the two are, the smaller it gets.
    away_before, away_after = abs(start - before), abs(start + growth - after)
    if abs(away_after - away_before) > 0.5:
        assert (start + growth + after < start + before) == (away_after > away_before)


@given(st.floats(-200, 200), st.floats(20, 60))
def test_travel_and_diameter_are_inverse(travel: float, groove: float) -> None:
    change = variator.diameter_change(travel, groove)
    assert variator.axial_travel_for(change, groove) == pytest.approx(travel, rel=1e-12, abs=1e-12)


@given(st.floats(200, 600), st.floats(0.4, 1), st.floats(20, 80), st.floats(20, 60))
def test_gap_and_belt_diameter_are_inverse(rim: float, share: float, width: float, groove: float) -> None:
    outside = rim * share
    gap = variator.rim_gap(rim, outside, width, groove)
    assert gap >= width
    assert variator.outside_diameter_for_gap(rim, gap, width, groove) == pytest.approx(outside, rel=1e-9)


def test_a_worn_belt_sinks_by_the_same_slope_as_travel() -> None:
    new = variator.outside_diameter_for_gap(400, 60, 50.8, 26)
    worn = variator.outside_diameter_for_gap(400, 60, 49.8, 26)
    assert new - worn == pytest.approx(variator.diameter_change(1.0, 26))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: variator.diameter_change(300, 26), "axial_travel is 300 mm"),
        (
            lambda: variator.diameter_change(3, 13),
            "groove_angle is 13 deg; this formula holds from 20 to 60 deg",
        ),
        (lambda: variator.axial_travel_for(math.nan, 26), "diameter_difference is nan mm"),
        (lambda: variator.rim_gap(400, 401, 50, 26), "belt_outside_diameter is 401 mm"),
        (
            lambda: variator.outside_diameter_for_gap(400, 49, 50, 26),
            "gap is 49 mm; this formula holds from 50",
        ),
        (lambda: variator.outside_diameter_for_gap(400, 60, 0, 26), "belt_width is 0 mm"),
        (lambda: variator.mate_diameter(5, 2000, 600), "diameter is 5 mm"),
        (lambda: variator.mate_diameter(300, 2000, 155), "centre is 155 mm"),
        (lambda: variator.mate_diameter(300, 1000, 600), "belt_length is 1000 mm"),
        (lambda: variator.mate_diameter(300, 9000, 600), "belt_length is 9000 mm"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
