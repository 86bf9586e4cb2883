"""Chain geometry against printed examples, an exact derivation, and what holds for any two sprockets."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
import sympy  # type: ignore[import-untyped]
from hypothesis import assume, given
from hypothesis import strategies as st

from audit.physics import chains, rotation
from audit.physics.formula import OutOfRange

INCH = 25.4


def pitch_for(diameter: float, teeth: float) -> float:
    """Pitch, mm, of a sprocket of that pitch diameter."""
    return diameter / (chains.pitch_diameter(10, teeth) / 10)


PRINTED = [
    pytest.param(lambda: chains.pitch_diameter(12.7, 17) / INCH, 2.721, 5e-4, id="Mott 2004 p. 295 Ex. 7-3, 17 teeth"),
    pytest.param(lambda: chains.pitch_diameter(12.7, 65) / INCH, 10.349, 5e-4, id="Mott 2004 p. 295 Ex. 7-3, 65 teeth"),
    pytest.param(
        lambda: chains.length_in_pitches(17, 65, 12.7, 30 * 12.7),
        102.9,
        0.06,
        id="Mott 2004 Ex. 7-3 length (102.95, printed cut off)",
    ),
    pytest.param(
        lambda: chains.even_pitches(chains.length_in_pitches(17, 65, 12.7, 30 * 12.7)),
        104,
        0,
        id="Mott 2004 Ex. 7-3 even length",
    ),
    pytest.param(
        lambda: chains.centre_for_pitches(17, 65, 12.7, 104) / 12.7,
        30.54,
        0.006,
        id="Mott 2004 Ex. 7-3 centre, pitches",
    ),
    pytest.param(
        lambda: chains.centre_for_pitches(17, 65, 12.7, 104) / INCH,
        15.272,
        5e-4,
        id="Mott 2004 Ex. 7-3 centre, in",
    ),
    pytest.param(lambda: chains.length_in_pitches(21, 63, 12.7, 500), 121.875, 5e-4, id="Bhandari Ex. 14.3 length"),
    pytest.param(
        lambda: chains.even_pitches(chains.length_in_pitches(21, 63, 12.7, 500)),
        122,
        0,
        id="Bhandari Ex. 14.3 even length",
    ),
    pytest.param(lambda: chains.centre_for_pitches(21, 63, 12.7, 122), 500.8047, 5e-5, id="Bhandari Ex. 14.3 centre"),
    pytest.param(lambda: pitch_for(600, 40), 47.1, 0.05, id="Khurmi and Gupta Ex. 11.23 pitch"),
    pytest.param(
        lambda: 0.0471 * chains.length_in_pitches(20, 40, 47.1, 800),
        3.0402,
        0.0012,
        id="Khurmi and Gupta Ex. 11.23 length (pitch rounded in print)",
    ),
    pytest.param(
        lambda: chains.length_in_pitches(20, 63, 10, 360),
        114.8,
        0.05,
        id="chain-design paper, 20 and 63 teeth at 36 pitches (its 'exact' 114.305 does not follow)",
    ),
    pytest.param(
        lambda: chains.centre_for_pitches(20, 63, 10, 114) / 10,
        35.6,
        0.05,
        id="chain-design paper, centre for 114 pitches",
    ),
    pytest.param(lambda: chains.chordal_variation(16), 2, 0.1, id="polygon effect article, 16 teeth"),
    pytest.param(lambda: chains.chordal_variation(20), 1.2, 0.05, id="polygon effect article, 20 teeth"),
    pytest.param(
        lambda: 14.32e3 / chains.chain_speed(17, 19.05, 1000),
        31.1e3 / 11.7222,
        0.05,
        id="Bhandari Ex. 14.1 chain tension, from safety factor 11.7222 of 31.1 kN",
    ),
    pytest.param(
        lambda: 12.9537e3 / chains.chain_speed(19, 15.875, 1400),
        1840.559,
        0.02,
        id="Bhandari Ex. 14.7 chain tension",
    ),
    pytest.param(lambda: chains.offset_limit(500), 1, 0, id="Complete Guide to Chain 7.1.2.2, below 1 m"),
    pytest.param(lambda: chains.offset_limit(1000), 1, 0, id="Complete Guide to Chain 7.1.2.2, 1 m"),
    pytest.param(lambda: chains.offset_limit(4000), 4, 0, id="Complete Guide to Chain 7.1.2.2, 4 m"),
    pytest.param(lambda: chains.offset_limit(15_000), 10, 0, id="Complete Guide to Chain 7.1.2.2, over 10 m"),
    *[
        pytest.param(
            lambda pitch=pitch: chains.chain_speed(12, pitch * INCH, 100) / 0.00508,
            feet,
            1e-9,
            id=f"chain speed table, 12 teeth, {pitch} in",
        )
        for pitch, feet in [(0.375, 37.5), (0.5, 50), (0.625, 62.5), (0.75, 75)]
    ],
]


@pytest.mark.parametrize(("computed", "printed", "apart"), PRINTED)
def test_printed_examples_come_out(computed: Callable[[], float], printed: float, apart: float) -> None:
    assert computed() == pytest.approx(printed, abs=apart, rel=0)


@pytest.mark.parametrize(
    ("teeth", "percent"),
    [
        pytest.param(teeth, percent, id=f"polygon effect formula, {teeth} teeth")
        for teeth, percent in [
            (6, 13.4),
            (7, 9.9),
            (8, 7.6),
            (9, 6.0),
            (10, 4.9),
            (11, 4.05),
            (13, 2.9),
            (15, 2.2),
            (17, 1.7),
            (19, 1.36),
            (21, 1.12),
            (25, 0.79),
        ]
    ],
)
def test_chordal_variation_by_tooth_count(teeth: float, percent: float) -> None:
    assert chains.chordal_variation(teeth) == pytest.approx(percent, abs=0.05)


def exact_pitches(one: int, other: int, apart: int) -> float:
    """Length in pitches from the tangent straights and the tooth arcs of the two sprockets."""
    small, large = sorted((one, other))
    radius = [1 / (2 * sympy.sin(sympy.pi / teeth)) for teeth in (small, large)]
    lean = sympy.asin((radius[1] - radius[0]) / apart)
    straight = 2 * apart * sympy.cos(lean)
    teeth_held = large * (sympy.pi + 2 * lean) / (2 * sympy.pi) + small * (sympy.pi - 2 * lean) / (2 * sympy.pi)
    return float(sympy.N(straight + teeth_held, 25))


@pytest.mark.parametrize(("one", "other", "apart"), [(17, 65, 30), (21, 63, 40), (20, 20, 25), (38, 15, 50)])
def test_length_by_tangents_and_tooth_arcs(one: int, other: int, apart: int) -> None:
    found = chains.length_in_pitches(one, other, 10, 10 * apart)
    assert found == pytest.approx(exact_pitches(one, other, apart), rel=2e-4)


@pytest.mark.parametrize(
    ("pitches", "even"), [(102, 102), (102.0000000001, 102), (102.001, 104), (101, 102), (103.999, 104)]
)
def test_even_pitches_rounds_up_but_forgives_rounding(pitches: float, even: float) -> None:
    assert chains.even_pitches(pitches) == even


def test_the_looser_offset_rule_is_not_followed() -> None:
    # An installation note allows 0.015 C: 15 mm at 1 m.
    assert chains.offset_limit(1000) == pytest.approx(0.015 * 1000 / 15)


teeth = st.integers(9, 120)
pitches_apart = st.floats(5, 200)


@given(teeth, teeth, st.floats(6, 80), pitches_apart)
def test_centre_of_a_length_gives_the_centre_back(one: int, other: int, pitch: float, apart: float) -> None:
    touching = (chains.pitch_diameter(pitch, one) + chains.pitch_diameter(pitch, other)) / 2
    centre = apart * pitch
    assume(touching * 1.0001 <= centre <= 20_000)
    length = chains.length_in_pitches(one, other, pitch, centre)
    assert length == pytest.approx(chains.length_in_pitches(other, one, pitch, centre), rel=1e-12)
    assert chains.centre_for_pitches(one, other, pitch, length) == pytest.approx(centre, rel=1e-7)


@given(teeth, teeth, st.floats(6, 80), st.floats(0, 500))
def test_both_sprockets_see_the_same_chain_speed(one: int, other: int, pitch: float, speed: float) -> None:
    driven = rotation.toothed_driven_speed(speed, one, other)
    assume(driven <= 10_000)
    first = chains.chain_speed(one, pitch, speed)
    assert chains.chain_speed(other, pitch, driven) == pytest.approx(first, rel=1e-12)


@given(teeth)
def test_more_teeth_pulse_less_and_reach_further(count: int) -> None:
    assert chains.chordal_variation(count + 1) < chains.chordal_variation(count)
    step = chains.pitch_diameter(12.7, count + 1) - chains.pitch_diameter(12.7, count)
    assert step == pytest.approx(12.7 / math.pi, rel=0.05)


@given(teeth, teeth, pitches_apart, pitches_apart)
def test_wrap_grows_with_the_centre_distance(one: int, other: int, near: float, far: float) -> None:
    near, far = sorted((near, far))
    touching = (chains.pitch_diameter(10, one) + chains.pitch_diameter(10, other)) / 2
    assume(touching <= 10 * near)
    close = chains.wrap_small_sprocket(one, other, 10, 10 * near)
    assert close <= chains.wrap_small_sprocket(one, other, 10, 10 * far) <= 180
    assert close == chains.wrap_small_sprocket(other, one, 10, 10 * near)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: chains.pitch_diameter(12.7, 4), "teeth is 4 teeth; this formula holds from 5 to 200 teeth"),
        (lambda: chains.pitch_diameter(12.7, 17.5), "teeth is 17.5 teeth; .* whole numbers from 5 to 200"),
        (lambda: chains.pitch_diameter(0, 17), "pitch is 0 mm"),
        (
            lambda: chains.length_in_pitches(17, 65, 12.7, 100),
            "centre is 100 mm; this formula holds from 165.991",
        ),
        (lambda: chains.length_in_pitches(17, math.nan, 12.7, 500), "driven_teeth is nan"),
        (lambda: chains.even_pitches(5), "pitches is 5;"),
        (lambda: chains.centre_for_pitches(17, 65, 12.7, 60), "pitches is 60; this formula holds from 71"),
        (lambda: chains.chain_speed(17, 12.7, -1), "speed is -1 r/min"),
        (lambda: chains.chordal_variation(3), "teeth is 3 teeth"),
        (lambda: chains.wrap_small_sprocket(17, 65, 12.7, 100), "centre is 100 mm"),
        (lambda: chains.offset_limit(25_000), "centre is 25000 mm"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
