"""Standard chain tables, cell by cell, and the rule behind the numbers."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from audit.physics import chain_sizes as sizes
from audit.physics.formula import OutOfRange

# ASME B29.1 series table: in (mm), in (mm), in (mm), lbf (kN).
ROLLER = [
    ("40", 0.500, 12.70, 0.312, 7.92, 0.312, 7.92, 3125, 13.9),
    ("41", 0.500, 12.70, 0.306, 7.77, 0.250, 6.35, 1500, 6.7),
    ("50", 0.625, 15.875, 0.400, 10.16, 0.375, 9.53, 4880, 21.7),
    ("60", 0.750, 19.05, 0.469, 11.91, 0.500, 12.70, 7030, 31.3),
    ("80", 1.000, 25.40, 0.625, 15.88, 0.625, 15.88, 12_500, 55.6),
    ("100", 1.250, 31.75, 0.750, 19.05, 0.750, 19.05, 19_530, 86.9),
    ("120", 1.500, 38.10, 0.875, 22.23, 1.000, 25.40, 28_125, 125.1),
    ("140", 1.750, 44.45, 1.000, 25.40, 1.000, 25.40, 38_280, 170.3),
    ("160", 2.000, 50.80, 1.125, 28.58, 1.250, 31.75, 50_000, 222.4),
]


@pytest.mark.parametrize(
    ("number", "p_in", "p", "d_in", "d", "b_in", "b", "pounds", "kilonewtons"),
    [pytest.param(*row, id=f"ASME B29.1 series table, No. {row[0]}") for row in ROLLER],
)
def test_every_cell_of_the_roller_chain_table(
    number: str,
    p_in: float,
    p: float,
    d_in: float,
    d: float,
    b_in: float,
    b: float,
    pounds: float,
    kilonewtons: float,
) -> None:
    assert sizes.chain_pitch(number) == pytest.approx(p, abs=0.0051)
    assert sizes.chain_pitch(number) / 25.4 == pytest.approx(p_in, rel=1e-12)
    assert sizes.roller_diameter(number) == pytest.approx(d, abs=0.0051)
    assert sizes.roller_diameter(number) / 25.4 == pytest.approx(d_in, rel=1e-12)
    assert sizes.inner_width(number) == pytest.approx(b, abs=0.0051)
    assert sizes.inner_width(number) / 25.4 == pytest.approx(b_in, rel=1e-12)
    assert sizes.min_ultimate(number) / 1000 == pytest.approx(kilonewtons, abs=0.051)
    assert sizes.min_ultimate(number) / 4.4482216152605 == pytest.approx(pounds, rel=1e-12)


# ISO 1275 A series table (ANSI B29.4 numbers): mm, mm, mm, kN.
DOUBLE_PITCH = [
    ("2040", 25.40, 7.95, 7.85, 14.1),
    ("2050", 31.75, 10.16, 9.40, 22.2),
    ("2060", 38.10, 11.91, 12.57, 31.8),
    ("2080", 50.80, 15.88, 15.75, 56.7),
    ("2100", 63.50, 19.05, 18.90, 88.5),
    ("2120", 76.20, 22.23, 25.22, 127.0),
]


@pytest.mark.parametrize(
    ("number", "pitch", "roller", "width", "kilonewtons"),
    [pytest.param(*row, id=f"ISO 1275 A series table, {row[0]}") for row in DOUBLE_PITCH],
)
def test_every_cell_of_the_double_pitch_table(
    number: str, pitch: float, roller: float, width: float, kilonewtons: float
) -> None:
    assert sizes.chain_pitch(number) == pitch
    assert sizes.roller_diameter(number) == roller
    assert sizes.inner_width(number) == width
    assert sizes.min_ultimate(number) == pytest.approx(1000 * kilonewtons)


@pytest.mark.parametrize("number", [row[0] for row in ROLLER])
def test_number_rule_eighths_of_an_inch(number: str) -> None:
    # ANSI B29.1: the digits before the last are the pitch in eighths of an inch.
    assert sizes.chain_pitch(number) == pytest.approx(int(number[:-1]) / 8 * 25.4)


@pytest.mark.parametrize("number", [row[0] for row in DOUBLE_PITCH])
def test_number_rule_double_pitch(number: str) -> None:
    single = str(int(number) - 2000)
    assert sizes.chain_pitch(number) == pytest.approx(2 * sizes.chain_pitch(single))
    assert sizes.roller_diameter(number) == pytest.approx(sizes.roller_diameter(single), abs=0.04)


# Better chain performance: ft/min with manual lubrication, with an oil bath.
LIMITS = [
    ("40", 300, 2300),
    ("50", 250, 2000),
    ("60", 220, 1800),
    ("80", 170, 1500),
    ("100", 150, 1300),
    ("120", 130, 1200),
    ("140", 115, 1100),
    ("160", 100, 1000),
]


@pytest.mark.parametrize(
    ("number", "manual", "bath"),
    [pytest.param(*row, id=f"Better chain performance, No. {row[0]}") for row in LIMITS],
)
def test_speed_limits(number: str, manual: float, bath: float) -> None:
    assert sizes.manual_speed_limit(number) == pytest.approx(manual * 0.00508)
    assert sizes.bath_speed_limit(number) == pytest.approx(bath * 0.00508)


@pytest.mark.parametrize(
    ("number", "pitch"),
    [
        pytest.param("CA550", 1.630, id="memory, CA550 (not 0.625 in, which is No. 50)"),
        pytest.param("CA555", 1.630, id="memory, CA555"),
        pytest.param("CA557", 1.630, id="memory, CA557"),
        pytest.param("CA620", 1.654, id="memory, CA620"),
        pytest.param("CA2050", 1.25, id="memory, CA2050, the double pitch of 2050"),
        pytest.param("CA2060H", 1.5, id="memory, CA2060H, the double pitch of 2060"),
    ],
)
def test_agricultural_pitches(number: str, pitch: float) -> None:
    assert sizes.agricultural_pitch(number) == pytest.approx(pitch * 25.4, abs=0.01)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sizes.chain_pitch("45"), "number is '45'; this formula holds for 40, 41, 50, 60, 80, 100"),
        (lambda: sizes.roller_diameter(""), "number is ''"),
        (lambda: sizes.inner_width("208A"), "number is '208A'"),
        (lambda: sizes.min_ultimate("CA550"), "number is 'CA550'"),
        (lambda: sizes.agricultural_pitch("50"), "number is '50'; this formula holds for CA550"),
        (lambda: sizes.manual_speed_limit("41"), "number is '41'"),
        (lambda: sizes.bath_speed_limit("2040"), "number is '2040'"),
    ],
)
def test_unknown_numbers_are_named(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
