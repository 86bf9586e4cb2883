"""Chain wear, slack and tension: the printed limits, and sag against the true arc length."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
import scipy.integrate  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from audit.physics import chain_slack as slack
from audit.physics.formula import OutOfRange

INCH = 25.4

PRINTED = [
    pytest.param(
        lambda: slack.movement_low(46.5 * INCH, "normal") / INCH,
        1.86,
        5e-4,
        id="chain installation note, 4 % of 46.5 in",
    ),
    pytest.param(
        lambda: slack.elongation(24.75 * INCH, 24, INCH),
        3.125,
        1e-9,
        id="trade page, 24.75 in over 24 pitches of No. 80 (printed 3 %)",
    ),
    pytest.param(lambda: slack.elongation(24.72 * INCH, 24, INCH), 3, 1e-9, id="same page, the true 3 % (24.72 in)"),
    pytest.param(lambda: slack.elongation((12 + 0.18) * INCH, 12, INCH), 1.5, 1e-9, id="1.5 % is 0.18 in per ft"),
    pytest.param(
        lambda: slack.elongation((12 + 0.36) * INCH, 12, INCH),
        3,
        1e-9,
        id="0.36 in per ft is 3 % (one page prints 1.5)",
    ),
    pytest.param(
        lambda: slack.service_tension_ceiling(12_500 * 4.4482216),
        12_500 * 4.4482216 / 6,
        1e-6,
        id="chain engineering guide p. 89, a sixth of No. 80's 12 500 lbf",
    ),
]


@pytest.mark.parametrize(("computed", "printed", "apart"), PRINTED)
def test_printed_examples_come_out(computed: Callable[[], float], printed: float, apart: float) -> None:
    assert computed() == pytest.approx(printed, abs=apart, rel=0)


WEAR = "roller chain maintenance questions, wear"


@pytest.mark.parametrize(
    ("teeth", "fixed", "limit"),
    [
        pytest.param(17, False, 3, id=f"{WEAR}: 3 %"),
        pytest.param(66, False, 3, id=f"{WEAR}: 66 teeth, still 3 %"),
        pytest.param(67, False, 200 / 67, id=f"{WEAR}: 67 teeth, 200/z binds"),
        pytest.param(100, False, 2, id=f"{WEAR}: 100 teeth, 2 % (not 0.02 as typed elsewhere)"),
        pytest.param(40, True, 1.5, id=f"{WEAR}: fixed centres 1.5 %"),
        pytest.param(133, True, 1.5, id=f"{WEAR}: fixed centres, 133 teeth"),
        pytest.param(160, True, 1.25, id=f"{WEAR}: fixed centres, 160 teeth, 200/z binds"),
    ],
)
def test_elongation_limit(teeth: float, fixed: bool, limit: float) -> None:
    assert slack.elongation_limit(teeth, fixed) == pytest.approx(limit, rel=1e-12)


TENSION = "roller chain maintenance questions, tension"


@pytest.mark.parametrize(
    ("duty", "low", "high"),
    [
        pytest.param("normal", 40, 60, id=f"{TENSION}: 4 to 6 % in all"),
        pytest.param("shock", 20, 30, id=f"{TENSION}: 2 to 3 % in all"),
    ],
)
def test_movement_and_its_one_way_half(duty: str, low: float, high: float) -> None:
    assert slack.movement_low(1000, duty) == low
    assert slack.movement_high(1000, duty) == high
    # One-way sag is 2 to 3 % for normal duty, 1 to 1.5 % for shock.
    assert slack.sag_from_movement(low) == low / 2
    assert slack.sag_from_movement(high) == high / 2


def parabola(straight: float, sag: float) -> float:
    """Length of a parabola over a span, by numeric integration."""
    found, _ = scipy.integrate.quad(
        lambda x: math.hypot(1, 8 * sag * x / straight**2), -straight / 2, straight / 2, epsabs=1e-12
    )
    return float(found)


@pytest.mark.parametrize(
    ("sag", "excess"),
    [
        pytest.param(1, 0.027, id="arc length, 1 % sag"),
        pytest.param(2, 0.107, id="arc length, 2 % sag"),
        pytest.param(3, 0.24, id="arc length, 3 % sag"),
        pytest.param(5, 0.665, id="arc length, 5 % sag"),
    ],
)
def test_sag_against_the_true_arc(sag: float, excess: float) -> None:
    straight = 1000.0
    longer = parabola(straight, 10 * sag) - straight
    assert longer / straight * 100 == pytest.approx(excess, abs=0.006)
    assert slack.sag_from_excess(straight, longer) == pytest.approx(10 * sag, rel=0.004)


def test_tension_against_a_catenary() -> None:
    # Exact: sag = (H/w) (cosh(w S / 2H) - 1).
    straight, mass = 1.2, 2.6
    weight = mass * 9.80665
    pull = 150.0
    sag = pull / weight * (math.cosh(weight * straight / (2 * pull)) - 1)
    assert slack.strand_tension_from_sag(mass, 1000 * straight, 1000 * sag) == pytest.approx(pull, rel=0.003)


@given(st.floats(100, 5000), st.floats(0, 0.03))
def test_sag_and_excess_are_inverse(straight: float, share: float) -> None:
    excess = share * straight * 0.999
    sag = slack.sag_from_excess(straight, excess)
    assert 8 / 3 * sag**2 / straight == pytest.approx(excess, rel=1e-9, abs=1e-12)


@given(st.floats(-0.5, 6), st.integers(5, 100), st.floats(8, 100))
def test_elongation_is_read_back(percent: float, pitches: int, pitch: float) -> None:
    measured = pitches * pitch * (1 + percent / 100)
    assert slack.elongation(measured, pitches, pitch) == pytest.approx(percent, abs=1e-9)


@given(st.integers(5, 199), st.booleans())
def test_a_larger_sprocket_never_allows_more_wear(teeth: int, fixed: bool) -> None:
    assert slack.elongation_limit(teeth + 1, fixed) <= slack.elongation_limit(teeth, fixed)
    assert slack.elongation_limit(teeth, True) <= slack.elongation_limit(teeth, False)


@given(st.floats(10, 20_000))
def test_shock_duty_allows_half_of_normal(centre: float) -> None:
    assert slack.movement_low(centre, "shock") * 2 == pytest.approx(slack.movement_low(centre, "normal"))
    assert slack.movement_high(centre, "shock") < slack.movement_low(centre, "normal")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: slack.elongation(5, 10, 12.7), "measured_length is 5 mm"),
        (lambda: slack.elongation(500, 0, 12.7), "pitches is 0;"),
        (lambda: slack.elongation_limit(201, False), "largest_teeth is 201 teeth"),
        (lambda: slack.movement_low(1000, "rough"), "duty is 'rough'; this formula holds for normal, shock"),
        (lambda: slack.movement_high(5, "normal"), "centre is 5 mm"),
        (lambda: slack.sag_from_movement(-1), "movement is -1 mm"),
        (lambda: slack.sag_from_excess(1000, 31), "excess is 31 mm; this formula holds from 0 to 30 mm"),
        (
            lambda: slack.strand_tension_from_sag(2.6, 1000, 0),
            "sag is 0 mm; this formula holds from 1 to 125",
        ),
        (lambda: slack.strand_tension_from_sag(0, 1000, 20), "mass_per_m is 0 kg/m"),
        (lambda: slack.service_tension_ceiling(math.nan), "min_ultimate is nan N"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
