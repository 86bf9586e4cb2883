"""Tensions, power, heat and life of a running belt against printed examples."""

from __future__ import annotations

import math
from collections.abc import Callable

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.physics import belt_load as load
from audit.physics import belt_tension, belts
from audit.physics.formula import OutOfRange

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def of(value: float, unit: str, to: str) -> float:
    return float(UNITS.Quantity(value, unit).to(to).magnitude)


POUND = of(1, "lbf", "N")
HORSEPOWER = of(1, "hp", "kW")
FOOT_A_MINUTE = of(1, "ft/min", "m/s")


def carried(tight: float, mass: float, speed: float, ratio: float) -> float:
    """kW of one belt whose tight side is at its limit."""
    centrifugal = load.centrifugal_tension(mass, speed)
    return load.belt_power(tight, centrifugal + (tight - centrifugal) / ratio, speed)


def jindal() -> tuple[float, float, float]:
    """Jindal Ex. 21-3: 22 x 14 mm, groove 38 deg, 0.25 and 0.625 m, 1 m apart, 1000 r/min, 2.2 MPa."""
    speed = belts.belt_speed(250, 1000)
    centrifugal = load.centrifugal_tension(0.35, speed)
    bottom = 22 - 2 * 14 * math.tan(math.radians(20))  # flanks of the belt itself: 40 deg
    tight = 2.2 * (22 + bottom) / 2 * 14
    wrap = belts.wrap_small(625, 250, 1000)
    ratio = belt_tension.v_groove_tension_ratio(0.28, wrap, 38)
    return centrifugal, tight, centrifugal + (tight - centrifugal) / ratio


def shigley_19() -> tuple[float, float, float]:
    """Shigley prob. 17-19, lbf: 2935 lb in on a 26 in sheave, ratio 5, centrifugal 25.9 lbf as printed."""
    initial = load.initial_tension(of(2935, "lbf inch", "N m"), 26 * 25.4, 5)
    centrifugal = 25.9 * POUND
    tight = load.tight_tension(centrifugal, initial, 5)
    slack = load.slack_tension(centrifugal, initial, 5)
    return initial / POUND, tight / POUND, slack / POUND


def life_17() -> tuple[float, float]:
    """Shigley prob. 17-17: section B, 150.1 and 105.2 lbf, 91.8 in, 5031.8 ft/min."""
    passes = load.belt_passes(150.1 * POUND, 105.2 * POUND, 1193 * POUND, 10.929)
    return passes, load.belt_life(passes, 91.8 * 25.4, 5031.8 * FOOT_A_MINUTE)


def grooved(wrap: float, friction: float) -> float:
    return belt_tension.v_groove_tension_ratio(friction, wrap, 30)


PRINTED = [
    pytest.param(lambda: load.tight_tension(73.4, 396.6, 11.35), 802, 1, id="Shigley ch. 17 F1"),
    pytest.param(lambda: load.slack_tension(73.4, 396.6, 11.35), 138, 1, id="Shigley ch. 17 F2"),
    pytest.param(lambda: load.initial_tension(664 * 0.5, 1000, 11.35), 396.6, 0.5, id="Shigley ch. 17 Fi"),
    pytest.param(lambda: shigley_19()[0], 169.3, 0.05, id="Shigley prob. 17-19 Fi"),
    pytest.param(lambda: shigley_19()[1], 308.1, 0.05, id="Shigley prob. 17-19 F1"),
    pytest.param(lambda: shigley_19()[2], 82.3, 0.05, id="Shigley prob. 17-19 F2"),
    pytest.param(lambda: life_17()[0] / 1e9, 6.76, 0.005, id="Shigley prob. 17-17 passes"),
    pytest.param(lambda: life_17()[1], 25_340, 2, id="Shigley prob. 17-17 life"),
    pytest.param(lambda: jindal()[0], 59.97, 0.005, id="Jindal Ex. 21-3 Tc"),
    pytest.param(lambda: jindal()[1], 520.7, 0.5, id="Jindal Ex. 21-3 T1"),
    pytest.param(lambda: jindal()[2], 102.7, 0.3, id="Jindal Ex. 21-3 T2"),
    pytest.param(
        lambda: 22 / load.belt_power(jindal()[1], jindal()[2], belts.belt_speed(250, 1000)),
        4.0,
        0.03,
        id="Jindal Ex. 21-3 belts for 22 kW",
    ),
    pytest.param(
        lambda: (
            2
            * carried(
                7 * 750,
                750e-6 * 1200,
                belts.belt_speed(300, 1500),
                grooved(180, 0.12),
            )
        ),
        171.69,
        0.1,
        id="Khurmi and Gupta Ex. 11.17 power of two belts",
    ),
    pytest.param(
        lambda: carried(560, 0.35, math.sqrt(560 / (3 * 0.35)), grooved(140, 0.15)),
        6.53,
        0.005,
        id="Khurmi and Gupta Ex. 11.18 greatest power",
    ),
    pytest.param(
        lambda: 1000 * carried(2500, 0.01, 2, grooved(140, 0.15)),
        3784.3,
        4,
        id="V-belt exercise, 2500 N at 2 m/s (wrap rounded in print)",
    ),
    pytest.param(
        lambda: load.belt_power(257.1 * POUND, 42.9 * POUND, 1695 * FOOT_A_MINUTE) / HORSEPOWER,
        11.0,
        0.05,
        id="Dornfeld on Hamrock 19.14",
    ),
    pytest.param(
        lambda: load.belt_power(
            2500,
            2500 / belt_tension.v_groove_tension_ratio(0.25, 160, 180),
            belts.belt_speed(600, 200),
        ),
        7.89,
        0.005,
        id="Khurmi and Gupta Ex. 11.4 flat belt",
    ),
    pytest.param(
        lambda: load.life_factor_for_temperature(of(158, "degF", "degC"), of(140, "degF", "degC")),
        0.5,
        1e-9,
        id="Shepherd 1992, half the life for 18 degF",
    ),
]


@pytest.mark.parametrize(("computed", "printed", "apart"), PRINTED)
def test_printed_examples_come_out(computed: Callable[[], float], printed: float, apart: float) -> None:
    assert computed() == pytest.approx(printed, abs=apart, rel=0)


def test_greatest_power_is_where_a_third_of_the_tension_is_centrifugal() -> None:
    # Khurmi and Gupta Ex. 11.18: v = √(T / (3 m)).
    best = math.sqrt(560 / (3 * 0.35))
    assert load.centrifugal_tension(0.35, best) == pytest.approx(560 / 3)
    at_best = carried(560, 0.35, best, 6)
    assert at_best > max(carried(560, 0.35, best * 0.98, 6), carried(560, 0.35, best * 1.02, 6))


def test_best_speed_of_the_two_belts() -> None:
    # Khurmi and Gupta Ex. 11.17: 2807 r/min on the 0.3 m pulley.
    best = math.sqrt(7 * 750 / (3 * 750e-6 * 1200))
    assert best == pytest.approx(belts.belt_speed(300, 2807), rel=2e-4)


forces = st.floats(1, 20_000)
ratios = st.floats(1.02, 100)


@given(st.floats(0, 1000), forces, ratios)
def test_tensions_part_about_the_initial_one(centrifugal: float, initial: float, ratio: float) -> None:
    tight = load.tight_tension(centrifugal, initial, ratio)
    slack = load.slack_tension(centrifugal, initial, ratio)
    assert tight > slack
    assert (tight + slack) / 2 - centrifugal == pytest.approx(initial, rel=1e-9, abs=1e-9)
    assert (tight - centrifugal) / (slack - centrifugal) == pytest.approx(ratio, rel=1e-6)


@given(st.floats(1, 5000), st.floats(50, 1000), ratios)
def test_the_initial_tension_carries_its_torque(torque: float, diameter: float, ratio: float) -> None:
    initial = load.initial_tension(torque, diameter, ratio)
    if initial <= 100_000:
        pull = load.tight_tension(0, initial, ratio) - load.slack_tension(0, initial, ratio)
        assert pull * diameter / 2000 == pytest.approx(torque, rel=1e-6)


@given(st.floats(-34, 100), st.floats(-34, 110))
def test_every_ten_degrees_halve_the_life(temperature: float, reference: float) -> None:
    one = load.life_factor_for_temperature(temperature, reference)
    assert load.life_factor_for_temperature(temperature + 10, reference) == pytest.approx(one / 2)
    assert one * load.life_factor_for_temperature(reference, temperature) == pytest.approx(1)


@given(forces, forces, forces)
def test_more_tension_never_lives_longer(one: float, two: float, other: float) -> None:
    less, more = sorted((one, two))
    assert load.belt_passes(less, other, 5307, 10.9) >= load.belt_passes(more, other, 5307, 10.9)
    swapped = load.belt_passes(other, less, 5307, 10.9)
    assert swapped == pytest.approx(load.belt_passes(less, other, 5307, 10.9), rel=1e-12)


def test_life_stops_counting_at_a_thousand_million_passes() -> None:
    assert load.belt_life(1e9, 2000, 20) == load.belt_life(6e9, 2000, 20)
    assert load.belt_life(5e8, 2000, 20) == pytest.approx(load.belt_life(1e9, 2000, 20) / 2)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: load.centrifugal_tension(0, 10), "mass_per_m is 0 kg/m"),
        (lambda: load.centrifugal_tension(0.3, 61), "speed is 61 m/s; this formula holds from 0 to 60 m/s"),
        (lambda: load.belt_power(100, 101, 10), "slack is 101 N; this formula holds from 0 to 100 N"),
        (lambda: load.initial_tension(100, 200, 1), "tension_ratio is 1;"),
        (lambda: load.tight_tension(-1, 100, 5), "centrifugal is -1 N"),
        (lambda: load.slack_tension(1, math.nan, 5), "initial is nan N"),
        (lambda: load.life_factor_for_temperature(111, 60), "temperature is 111 degC"),
        (lambda: load.life_factor_for_temperature(60, -40), "reference_temperature is -40 degC"),
        (lambda: load.belt_passes(0, 100, 5300, 11), "peak_small is 0 N"),
        (lambda: load.belt_passes(100, 100, 5300, 1), "exponent is 1;"),
        (lambda: load.belt_life(0, 2000, 10), "passes is 0;"),
        (lambda: load.belt_life(1e9, 2000, 0), "speed is 0 m/s"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
