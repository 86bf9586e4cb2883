"""Belt geometry against printed examples, a second derivation, and what must hold for any pair of sheaves."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
import scipy.optimize  # type: ignore[import-untyped]
import sympy  # type: ignore[import-untyped]
from hypothesis import assume, given
from hypothesis import strategies as st

from audit.physics import belts
from audit.physics.formula import OutOfRange

INCH = 25.4


def inches(of: Callable[..., float], *lengths: float) -> float:
    return of(*(length * INCH for length in lengths)) / INCH


def radians(of: Callable[..., float], *lengths: float) -> float:
    return math.radians(of(*(length * INCH for length in lengths)))


PRINTED = [
    pytest.param(lambda: inches(belts.open_belt_length, 21.1, 12.4, 24.0), 101.4, 0.05, id="Mott 2004 p. 279 length"),
    pytest.param(
        lambda: inches(belts.centre_for_length, 21.1, 12.4, 100),
        23.30,
        0.025,
        id="Mott 2004 p. 279 centre (his eq. 7-4 is approximate)",
    ),
    pytest.param(
        lambda: belts.wrap_small(21.1 * INCH, 12.4 * INCH, 23.30 * INCH),
        158,
        0.5,
        id="Mott 2004 p. 279 wrap (rounded down)",
    ),
    pytest.param(lambda: belts.arc_factor(158), 0.94, 0.011, id="Mott 2004 Ex. 7-1 arc factor at 158 deg"),
    pytest.param(lambda: belts.belt_speed(13.17 * INCH, 1160) / 0.00508, 4000, 1, id="Mott 2004 Ex. 7-1 step 4"),
    pytest.param(lambda: inches(belts.open_belt_length, 18, 6, 96), 230.074, 0.0005, id="Shigley ch. 17 length"),
    pytest.param(lambda: radians(belts.wrap_small, 18, 6, 96), 3.016511, 5e-7, id="Shigley ch. 17 wrap, small"),
    pytest.param(lambda: radians(belts.wrap_large, 18, 6, 96), 3.266674, 5e-7, id="Shigley ch. 17 wrap, large"),
    pytest.param(lambda: radians(belts.wrap_small, 4, 2, 108), 3.123, 5e-4, id="Shigley prob. 17-1 wrap, small"),
    pytest.param(lambda: belts.belt_speed(2 * INCH, 1750) / 0.00508, 916.3, 0.05, id="Shigley prob. 17-1 speed"),
    pytest.param(
        lambda: inches(belts.open_belt_length, 4, 2, 108),
        225.4,
        0.05,
        id="Shigley prob. 17-1 length (8th ed. prints 225.3)",
    ),
    pytest.param(lambda: belts.belt_speed(6 * INCH, 2450) / 0.00508, 3848.45, 0.005, id="Wentzell Ex. 14.1 speed"),
    pytest.param(
        lambda: belts.open_belt_length(625, 250, 1000) / 1000,
        3.410,
        5e-4,
        id="Jindal Ex. 21-3 length",
    ),
    pytest.param(
        lambda: belts.crossed_belt_length(450, 200, 1950) / 1000,
        4.975,
        5e-4,
        id="Khurmi and Gupta Ex. 11.6 length",
    ),
    pytest.param(
        lambda: math.radians(belts.wrap_crossed(450, 200, 1950)),
        3.4765,
        5e-5,
        id="Khurmi and Gupta Ex. 11.6 wrap (arc sine, not sine)",
    ),
    pytest.param(
        lambda: belts.crossed_belt_length(500, 300, 5000) / 10,
        1128.8,
        0.1,
        id="Sarkar Ex. 3 crossed",
    ),
    pytest.param(lambda: belts.open_belt_length(500, 300, 5000) / 10, 1125.8, 0.1, id="Sarkar Ex. 3 open"),
    pytest.param(
        lambda: (belts.crossed_belt_length(500, 300, 5000) - belts.open_belt_length(500, 300, 5000)) / 10,
        3.0,
        0.05,
        id="Sarkar Ex. 3 difference",
    ),
    pytest.param(lambda: belts.misalignment_limit(1000), 8.73, 0.005, id="alignment note, 0.87 mm per 100 mm"),
    pytest.param(lambda: inches(belts.misalignment_limit, 12), 0.1, 0.005, id="V-belt checklist, 1/10 in per ft"),
]


@pytest.mark.parametrize(("computed", "printed", "apart"), PRINTED)
def test_printed_examples_come_out(computed: Callable[[], float], printed: float, apart: float) -> None:
    assert computed() == pytest.approx(printed, abs=apart, rel=0)


# Machinery's Handbook, 31st ed., p. 2581, Table 12: (D - d) / C, wrap in deg, factor for V to V.
ARC_TABLE = [
    (0.00, 180, 1.00),
    (0.10, 174, 0.99),
    (0.20, 169, 0.97),
    (0.30, 163, 0.96),
    (0.40, 157, 0.94),
    (0.50, 151, 0.93),
    (0.60, 145, 0.91),
    (0.70, 139, 0.89),
    (0.80, 133, 0.87),
    (0.90, 127, 0.85),
    (1.00, 120, 0.82),
    (1.10, 113, 0.80),
    (1.20, 106, 0.77),
    (1.30, 99, 0.73),
    (1.40, 91, 0.70),
    (1.50, 83, 0.65),
]
PLACE = "Machinery's Handbook 31 p. 2581 Table 12"


@pytest.mark.parametrize(
    ("wrap", "factor"), [pytest.param(wrap, k, id=f"{PLACE}, {wrap} deg") for _, wrap, k in ARC_TABLE]
)
def test_arc_factor_meets_every_row_of_the_handbook(wrap: float, factor: float) -> None:
    assert belts.arc_factor(wrap) == pytest.approx(factor, abs=0.011)
    assert belts.capacity_lost(wrap) == pytest.approx(100 * (1 - factor), abs=1.1)


@pytest.mark.parametrize(
    ("ratio", "wrap"), [pytest.param(ratio, wrap, id=f"{PLACE}, {ratio}") for ratio, wrap, _ in ARC_TABLE]
)
def test_wrap_meets_every_row_of_the_handbook(ratio: float, wrap: float) -> None:
    small, centre = 200.0, 800.0
    assert belts.wrap_small(small + ratio * centre, small, centre) == pytest.approx(wrap, abs=0.55)


def test_misprints_are_not_followed() -> None:
    # A scan of Britannica's eq. 32A has a minus: 4.758 m. A solved set takes the sine for the arc sine:
    # 3.473 rad.
    assert belts.crossed_belt_length(450, 200, 1950) / 1000 != pytest.approx(4.758, abs=0.1)
    assert math.radians(belts.wrap_crossed(450, 200, 1950)) != pytest.approx(3.473, abs=0.002)


def test_mott_and_shigley_centre_distance_is_close_to_the_exact_one() -> None:
    # Mott eq. 7-4: B = 4L - 6.28 (D + d), C = (B + √(B² - 32 (D - d)²)) / 16, printed B 189.6, C 23.30 in.
    by_mott = 4 * 100 - 6.28 * (21.1 + 12.4)
    centre = (by_mott + math.sqrt(by_mott**2 - 32 * (21.1 - 12.4) ** 2)) / 16
    assert by_mott == pytest.approx(189.6, abs=0.05)
    assert centre == pytest.approx(23.30, abs=0.005)
    assert inches(belts.centre_for_length, 21.1, 12.4, 100) == pytest.approx(centre, rel=1e-3)


def polyline(large: float, small: float, centre: float) -> float:
    """Belt length from the tangent points alone: the outer tangent of two circles, found symbolically."""
    big, little, apart = sympy.Rational(large) / 2, sympy.Rational(small) / 2, sympy.Rational(centre)
    lean = sympy.asin((big - little) / apart)
    from_large = sympy.Point(big * sympy.sin(lean), big * sympy.cos(lean))
    from_small = sympy.Point(apart + little * sympy.sin(lean), little * sympy.cos(lean))
    arcs = big * (sympy.pi + 2 * lean) + little * (sympy.pi - 2 * lean)
    return float(sympy.N(2 * from_large.distance(from_small) + arcs, 30))


@pytest.mark.parametrize(("large", "small", "centre"), [(536, 315, 610), (400, 400, 900), (625, 100, 380)])
def test_open_length_and_span_by_tangent_points(large: int, small: int, centre: int) -> None:
    by_points = polyline(large, small, centre)
    assert belts.open_belt_length(large, small, centre) == pytest.approx(by_points, rel=1e-12)
    lean = math.asin((large - small) / 2 / centre)
    assert belts.span(large, small, centre) == pytest.approx(centre * math.cos(lean), rel=1e-12)


@pytest.mark.parametrize(("large", "small", "length"), [(536, 315, 2540), (300, 300, 2000), (900, 120, 3000)])
def test_centre_distance_by_another_root_finder(large: float, small: float, length: float) -> None:
    def miss(centre: float) -> float:
        half = (large - small) / 2
        return (
            2 * math.sqrt(centre**2 - half**2)
            + math.pi * (large + small) / 2
            + 2 * half * math.asin(half / centre)
            - length
        )

    found = scipy.optimize.brentq(miss, (large + small) / 2, length, xtol=1e-10)
    assert belts.centre_for_length(large, small, length) == pytest.approx(found, rel=1e-10)


@pytest.mark.parametrize(("diameter", "rise", "distance"), [(200, 20, 300), (300, 60, 250), (150, 5, 400)])
def test_idler_against_the_exact_tangent(diameter: float, rise: float, distance: float) -> None:
    # Exact: draw the tangent from the idler's contact point to the sheave. The arc lost is where it touches.
    radius = diameter / 2
    reach = math.hypot(distance, radius + rise)
    touches = math.atan2(distance, radius + rise) - math.acos(radius / reach)
    exact = 180 + math.degrees(touches)
    found = belts.wrap_after_idler(180, 1000, rise, distance)
    assert found <= exact
    assert found == pytest.approx(exact, abs=2.0)


diameters = st.floats(20, 1500)
centres = st.floats(50, 15_000)


@given(diameters, diameters, centres)
def test_lengths_are_symmetric_and_crossed_is_longer(one: float, other: float, centre: float) -> None:
    assume(centre >= (one + other) / 2)
    plain = belts.open_belt_length(one, other, centre)
    assert plain == pytest.approx(belts.open_belt_length(other, one, centre), rel=1e-12)
    crossed = belts.crossed_belt_length(one, other, centre)
    assert crossed == pytest.approx(belts.crossed_belt_length(other, one, centre), rel=1e-12)
    assert crossed > plain
    assert plain >= 2 * centre + math.pi * (one + other) / 2 - 1e-9 * plain


@given(diameters, diameters, centres)
def test_centre_of_a_length_gives_the_centre_back(one: float, other: float, centre: float) -> None:
    assume((one + other) / 2 * 1.0001 <= centre)
    length = belts.open_belt_length(one, other, centre)
    assert belts.centre_for_length(one, other, length) == pytest.approx(centre, rel=1e-8)


@given(diameters, st.floats(0, 1), centres, centres)
def test_wrap_grows_with_centre_and_both_make_a_turn(large: float, share: float, one: float, two: float) -> None:
    small = max(20.0, large * share)
    assume(small <= large)
    near, far = sorted((one, two))
    assume(near >= (large + small) / 2)
    assert belts.wrap_small(large, small, near) <= belts.wrap_small(large, small, far) <= 180
    total = belts.wrap_small(large, small, near) + belts.wrap_large(large, small, near)
    assert total == pytest.approx(360)
    assert belts.wrap_crossed(large, small, near) >= 180


@given(st.floats(83, 180), st.floats(83, 180))
def test_less_wrap_never_carries_more(one: float, two: float) -> None:
    less, more = sorted((one, two))
    assert belts.arc_factor(less) <= belts.arc_factor(more)
    assert belts.capacity_lost(less) >= belts.capacity_lost(more) >= 0


def test_equal_sheaves_are_the_limit() -> None:
    assert belts.wrap_small(300, 300, 700) == 180
    assert belts.span(300, 300, 700) == 700
    assert belts.open_belt_length(300, 300, 700) == pytest.approx(1400 + 300 * math.pi)
    assert belts.capacity_lost(180) == 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: belts.open_belt_length(400, 200, 299), "centre is 299 mm; this formula holds from 300 to"),
        (lambda: belts.crossed_belt_length(400, 5, 600), "small is 5 mm"),
        (lambda: belts.span(400, 200, math.nan), "centre is nan mm"),
        (lambda: belts.centre_for_length(400, 200, 900), "length is 900 mm; this formula holds from 1576"),
        (lambda: belts.wrap_small(200, 400, 600), "small is 400 mm; this formula holds from 10 to 200 mm"),
        (lambda: belts.wrap_large(200, 400, 600), "small is 400 mm"),
        (lambda: belts.wrap_crossed(6000, 400, 6000), "large is 6000 mm"),
        (lambda: belts.arc_factor(82), "wrap is 82 deg; this formula holds from 83 to 180 deg"),
        (lambda: belts.capacity_lost(181), "wrap is 181 deg"),
        (lambda: belts.wrap_after_idler(180, 500, 20, 600), "idler_distance is 600 mm"),
        (lambda: belts.wrap_after_idler(180, 500, 200, 100), "idler_rise is 200 mm"),
        (lambda: belts.wrap_after_idler(180, 500, -1, 100), "idler_rise is -1 mm"),
        (lambda: belts.belt_speed(200, 30_000), "speed is 30000 r/min"),
        (lambda: belts.misalignment_limit(0), "centre is 0 mm"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
