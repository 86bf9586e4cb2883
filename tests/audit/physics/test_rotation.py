"""Shaft speeds, torque and power against printed examples, and what must hold for any drive."""

from __future__ import annotations

from collections.abc import Callable

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.physics import rotation
from audit.physics.formula import OutOfRange, formula_of

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def of(value: float, unit: str, to: str) -> float:
    return float(UNITS.Quantity(value, unit).to(to).magnitude)


def two_belts(slip_percent: float, *sizes: float) -> Callable[[float], float]:
    first, second, third, fourth = sizes
    return lambda speed: rotation.belt_driven_speed(
        rotation.belt_driven_speed(speed, first, second, slip_percent), third, fourth, slip_percent
    )


PRINTED = [
    # value computed here, value printed, how far apart they may be (the printed rounding)
    pytest.param(
        lambda: rotation.belt_driven_speed(1160, 12.4 * 25.4, 21.1 * 25.4, 0),
        682,
        0.5,
        id="Mott 2004 p. 279 Ex. 7-1, 1160 r/min over 12.4 : 21.1 in",
    ),
    pytest.param(
        lambda: rotation.tip_speed(13.17 * 25.4, 1160) / of(1, "ft/min", "m/s"),
        4000,
        1.0,
        id="Mott 2004 Ex. 7-1 step 4, 13.17 in at 1160 r/min",
    ),
    pytest.param(
        lambda: rotation.speed_for_tip_speed(13.17 * 25.4, of(4000, "ft/min", "m/s")),
        1160,
        0.5,
        id="Mott 2004 Ex. 7-1 step 4, read backwards",
    ),
    pytest.param(
        lambda: of(rotation.torque(of(2, "hp", "kW"), 2450), "N m", "lbf inch"),
        51.43,
        0.03,
        id="Wentzell Ex. 14.1 torque (63 000 for 63 025: 0.04 % low)",
    ),
    pytest.param(
        lambda: of(rotation.power(of(51.43, "lbf inch", "N m"), 2450), "kW", "hp"),
        2,
        0.001,
        id="Wentzell Ex. 14.1 power",
    ),
    pytest.param(
        lambda: rotation.belt_driven_speed(2450, 6 * 25.4, 10 * 25.4, 0),
        1470,
        1e-9,
        id="Wentzell Ex. 14.1 driven speed",
    ),
    pytest.param(
        lambda: rotation.tip_speed(6 * 25.4, 2450) / of(1, "ft/min", "m/s"),
        3848.45,
        0.005,
        id="Wentzell Ex. 14.1 surface speed",
    ),
    pytest.param(
        lambda: two_belts(0, 750, 450, 900, 150)(150),
        1500,
        1e-9,
        id="Khurmi and Gupta Ex. 11.1 without slip",
    ),
    pytest.param(
        lambda: two_belts(2, 750, 450, 900, 150)(150),
        1440,
        1.0,
        id="Khurmi and Gupta Ex. 11.1, 2 % slip on each (printed 1440)",
    ),
    pytest.param(lambda: two_belts(0, 800, 400, 1000, 200)(200), 2000, 1e-9, id="Bansal Ex. 11.6 without slip"),
    pytest.param(
        lambda: two_belts(2.5, 800, 400, 1000, 200)(200),
        1901.25,
        1e-9,
        id="Bansal Ex. 11.6, 2.5 % slip on each",
    ),
    pytest.param(lambda: rotation.belt_driven_speed(200, 510, 300, 0), 340.0, 1e-9, id="Bansal Ex. 11.1"),
    pytest.param(
        lambda: rotation.belt_driven_speed(200, 520, 310, 0),
        335.48,
        0.005,
        id="Bansal Ex. 11.2, 1 cm belt counted in",
    ),
    pytest.param(lambda: rotation.belt_driven_speed(200, 600, 400.0, 0), 300, 0.05, id="Bansal Ex. 11.3, 40.0 cm"),
    pytest.param(
        lambda: rotation.belt_driven_speed(200, 605, 403.3, 0),
        300,
        0.05,
        id="Bansal Ex. 11.3, 39.83 cm and 0.5 cm belt",
    ),
    pytest.param(
        lambda: rotation.belt_driven_speed(200, 605, 387.2, 4),
        300,
        0.05,
        id="Bansal Ex. 11.3, 38.22 cm, belt and 4 % slip",
    ),
    pytest.param(lambda: rotation.slip(200, 300, 605, 387.2), 4, 0.02, id="Bansal Ex. 11.3, slip read backwards"),
    pytest.param(lambda: rotation.toothed_driven_speed(1800, 20, 50), 720, 1e-9, id="Dornfeld on Hamrock 19.18 speed"),
    pytest.param(lambda: rotation.geared_speed(1800, 50 / 20), 720, 1e-9, id="Dornfeld on Hamrock 19.18 ratio"),
    pytest.param(
        lambda: rotation.torque(0.0625, 1800),
        0.332,
        0.0005,
        id="Dornfeld on Hamrock 19.18 torque in",
    ),
    pytest.param(
        lambda: rotation.torque(0.0625, 1800 * rotation.speed_ratio(20, 50) * rotation.speed_ratio(76, 200)),
        2.18,
        0.005,
        id="Dornfeld on Hamrock 19.18 torque out",
    ),
    pytest.param(
        lambda: rotation.tip_speed(22 * 25.4, 300) / of(1, "ft/min", "m/s"),
        1725,
        3.0,
        id="NDSU EB-25 sunflower, 22 in at 300 r/min (π rounded in print)",
    ),
    pytest.param(lambda: rotation.tip_speed(400, 600), 12.6, 0.05, id="Empuesto 2021 rice, 40 cm"),
    pytest.param(lambda: rotation.tip_speed(500, 500), 13.1, 0.05, id="Empuesto 2021 rice, 50 cm"),
    pytest.param(lambda: rotation.tip_speed(300, 800), 12.6, 0.05, id="Empuesto 2021 rice, 30 cm"),
    pytest.param(
        lambda: rotation.speed_for_tip_speed(480, 100),
        4000,
        25,
        id="Forche 2003 straw chopper, 100 m/s at 4000 r/min, about 0.48 m",
    ),
]


@pytest.mark.parametrize(("computed", "printed", "apart"), PRINTED)
def test_printed_examples_come_out(computed: Callable[[], float], printed: float, apart: float) -> None:
    assert computed() == pytest.approx(printed, abs=apart, rel=0)


@pytest.mark.parametrize(
    ("speed", "printed"),
    [
        pytest.param(650, 17.35, id="Univ. of Tehran axial-flow rice test, 650 r/min"),
        pytest.param(750, 20.01, id="Univ. of Tehran axial-flow rice test, 750 r/min"),
    ],
)
def test_tip_speeds_of_one_drum_agree(speed: float, printed: float) -> None:
    # The paper gives no diameter: its first pair (550 r/min, 14.67 m/s) fixes it.
    diameter = 500 * 14.67 / rotation.tip_speed(500, 550)
    assert rotation.tip_speed(diameter, speed) == pytest.approx(printed, abs=0.02)


def test_the_misprint_of_that_rice_test_is_not_followed() -> None:
    # It prints 22.37 m/s for 850 r/min; its other three figures give 22.67.
    diameter = 500 * 14.67 / rotation.tip_speed(500, 550)
    assert rotation.tip_speed(diameter, 850) == pytest.approx(22.67, abs=0.01)


@pytest.mark.parametrize(
    ("text", "surface"),
    [
        pytest.param((2500, "ft/min"), 12.7, id="corn, low"),
        pytest.param((6000, "ft/min"), 30.48, id="wheat, high"),
        pytest.param((33, "m/s"), 33.0, id="V-belt ceiling"),
    ],
)
def test_tip_speed_against_a_unit_library(text: tuple[float, str], surface: float) -> None:
    diameter = 560.0
    turns = of(text[0], text[1], "m/s") / (3.141592653589793 * diameter / 1000) * 60
    assert rotation.tip_speed(diameter, turns) == pytest.approx(surface, rel=1e-12)


def test_handbook_torque_constants() -> None:
    # Common handbook constants: 9549 (kW, N m), 5252 (hp, lbf ft), 63 025 (hp, lbf in).
    assert round(rotation.torque(1, 1)) == 9549
    assert round(of(rotation.torque(of(1, "hp", "kW"), 1), "N m", "lbf ft")) == 5252
    assert round(of(rotation.torque(of(1, "hp", "kW"), 1), "N m", "lbf inch")) == 63025


sizes = st.floats(10, 5000)
speeds = st.floats(1, 20_000)


@given(sizes, speeds)
def test_tip_speed_and_its_inverse(diameter: float, speed: float) -> None:
    surface = rotation.tip_speed(diameter, speed)
    if surface <= 200:
        assert rotation.speed_for_tip_speed(diameter, surface) == pytest.approx(speed, rel=1e-12)


@given(st.floats(0, 1000), speeds)
def test_power_and_torque_are_inverse(kilowatts: float, speed: float) -> None:
    found = rotation.torque(kilowatts, speed)
    if found <= 100_000:
        assert rotation.power(found, speed) == pytest.approx(kilowatts, rel=1e-12, abs=1e-15)


@given(st.floats(1, 2000), st.lists(st.tuples(st.floats(50, 100), st.floats(50, 100)), max_size=5))
def test_ratio_of_a_train_is_the_product(speed: float, drives: list[tuple[float, float]]) -> None:
    step_by_step, product = speed, 1.0
    for driver, driven in drives:
        step_by_step = rotation.toothed_driven_speed(step_by_step, driver, driven)
        product *= rotation.speed_ratio(driver, driven)
    assert step_by_step == pytest.approx(speed * product, rel=1e-12)


@given(speeds, sizes, sizes, st.floats(0, 50), st.floats(0, 50))
def test_slip_slows_and_is_read_back(speed: float, driver: float, driven: float, one: float, two: float) -> None:
    less, more = sorted((one, two))
    fast = rotation.belt_driven_speed(speed, driver, driven, less)
    slow = rotation.belt_driven_speed(speed, driver, driven, more)
    assert slow <= fast
    if fast <= 20_000:
        assert rotation.slip(speed, fast, driver, driven) == pytest.approx(less, abs=1e-9)


@given(speeds, st.floats(0.05, 200))
def test_gearbox_ratio_is_the_inverse_of_the_speed_ratio(speed: float, ratio: float) -> None:
    assert rotation.geared_speed(speed, ratio) * ratio == pytest.approx(speed, rel=1e-12)


@given(speeds, st.floats(-4, 4))
def test_speed_error_has_the_sign_of_too_fast(computed: float, percent: float) -> None:
    measured = computed * (1 + percent / 100)
    if measured <= 20_000:
        assert rotation.speed_error(measured, computed) == pytest.approx(percent, abs=1e-9)


def test_a_belt_that_seems_to_run_ahead_shows_below_zero() -> None:
    assert rotation.slip(1000, 1010, 200, 200) == pytest.approx(-1)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rotation.tip_speed(0, 500), "diameter is 0 mm; this formula holds from 1 to 5000 mm"),
        (lambda: rotation.tip_speed(float("nan"), 500), "diameter is nan mm"),
        (lambda: rotation.tip_speed(500, -1), "speed is -1 r/min"),
        (lambda: rotation.speed_for_tip_speed(500, float("inf")), "surface_speed is inf m/s"),
        (lambda: rotation.belt_driven_speed(1000, 100, 100, -1), "slip_percent is -1 %"),
        (lambda: rotation.belt_driven_speed(1000, 100, 5, 0), "driven_diameter is 5 mm"),
        (lambda: rotation.toothed_driven_speed(1000, 4, 20), "driver_teeth is 4"),
        (lambda: rotation.geared_speed(1000, 0), "ratio is 0"),
        (lambda: rotation.slip(0, 0, 100, 100), "driver_speed is 0 r/min"),
        (lambda: rotation.speed_error(10, 0), "computed is 0 r/min"),
        (lambda: rotation.torque(-1, 100), "power_kw is -1 kW"),
        (lambda: rotation.torque(1, 0), "speed is 0 r/min"),
        (lambda: rotation.power(-1, 100), "shaft_torque is -1 N m"),
        (lambda: rotation.speed_ratio(100, 0), "driven_size is 0"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message.replace(".", r"\.")):
        call()


def test_sheets_name_unit_and_source() -> None:
    sheet = formula_of(rotation.belt_driven_speed)
    assert (sheet.unit, sheet.source, sheet.at) == ("r/min", "khurmi-gupta", "Ex. 11.1")
