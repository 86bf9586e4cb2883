"""Units held to pint, numbers as people write them, and what is refused because it could mean two things."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.measures import (
    CANONICAL,
    Unreadable,
    dimension_of,
    find_unit,
    from_canonical,
    known_units,
    read_quantity,
    show,
    split_number,
    to_canonical,
)

UNITS = [(dimension, unit) for dimension in CANONICAL for unit in known_units(dimension)]

# Ours to pint's name, where it is written otherwise there.
IN_PINT = {
    "in": "inch", "ft": "foot", "ft/min": "foot/minute", "m/min": "meter/minute", "mph": "mile/hour", "km/h": "km/hour",
    "r/min": "revolution/minute", "lbf": "pound_force", "kgf": "kilogram_force", "lb": "pound", "t": "metric_ton",
    "lb/ft": "pound/foot", "ha": "hectare", "ac": "international_acre", "m2": "meter**2", "kg/ha": "kg/hectare",
    "t/ha": "metric_ton/hectare", "lb/ac": "pound/international_acre", "1/m2": "1/meter**2", "1/ft2": "1/foot**2",
    "1/kg": "1/kilogram", "1/lb": "1/pound", "ha/h": "hectare/hour", "ac/h": "international_acre/hour",
    "%": "percent", "deg": "degree", "rad": "radian", "hp": "horsepower", "N m": "newton*meter",
    "lbf ft": "pound_force*foot", "min": "minute", "h": "hour", "d": "day", "s": "second", "1": "dimensionless",
    "degC": "degC", "degF": "degF", "K": "kelvin",
}  # fmt: skip

# A difference, without the scales' offset.
RISE_IN_PINT = {"K": "kelvin", "degC": "delta_degC", "degF": "delta_degF"}

# A US bushel is a volume in pint; here it is the mass that the trade counts as one, so bushels stay apart.
LACKING = {
    "bushels per area": "bushels of grain are counted, their mass is the crop's",
    "bushel weight": "mass of one bushel, a count of bushels is no unit there",
}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    # what pint calls an acre is the US survey acre; the table's is the international one, 4840 square yards
    found: pint.UnitRegistry[float] = pint.UnitRegistry()
    found.define("international_acre = 4840 * yard ** 2")
    return found


@pytest.mark.parametrize(
    ("dimension", "unit"), [pair for pair in UNITS if pair[0] not in LACKING], ids=lambda text: str(text)
)
@pytest.mark.parametrize("value", [0.0, 1.0, -3.7, 1234.5])
def test_units_agree_with_pint(registry: pint.UnitRegistry[float], dimension: str, unit: str, value: float) -> None:
    names = RISE_IN_PINT if dimension == "temperature rise" else IN_PINT
    expected = registry.Quantity(value, names.get(unit, unit)).to(names.get(CANONICAL[dimension], CANONICAL[dimension]))
    assert to_canonical(value, unit, dimension) == pytest.approx(expected.magnitude, rel=1e-9, abs=1e-9)


def test_every_dimension_is_checked_or_named_as_lacking() -> None:
    assert set(LACKING) <= set(CANONICAL)
    assert to_canonical(56, "lb/bu", "bushel weight") == pytest.approx(56 * 0.45359237)
    assert to_canonical(3, "bu/ac", "bushels per area") == 3


@pytest.mark.parametrize(("dimension", "unit"), UNITS, ids=lambda text: str(text))
def test_the_canonical_unit_of_a_dimension_has_factor_one(dimension: str, unit: str) -> None:
    assert dimension_of(CANONICAL[dimension]) in CANONICAL
    assert to_canonical(12.5, CANONICAL[dimension], dimension) == 12.5
    assert find_unit(unit, dimension).dimension == dimension


PUBLISHED = [
    pytest.param("60 lb/bu", "bushel weight", 27.2155422, id="USDA: wheat, soybean 60 lb/bu is 27.2155 kg"),
    pytest.param("2500 ft/min", "speed", 12.7, id="common practice: 2500 ft/min is 12.7 m/s"),
    pytest.param("140 degF", "temperature", 60, id="belt ceiling printed as 140 F (60 C)"),
    pytest.param("300 degF", "temperature", 148.8889, id="bearing alarm printed as 300 F (149 C)"),
    pytest.param("180 °F", "temperature", 82.2222, id="bearing housing printed as 180 F (82 C)"),
    pytest.param("1 hp", "power", 0.7457, id="one horsepower, 550 ft lbf/s"),
    pytest.param("1 ac", "area", 0.40468564224, id="international acre, 43 560 square feet"),
    pytest.param("32 degF", "temperature", 0, id="ice point"),
    pytest.param("-40 degF", "temperature", -40, id="where both scales meet"),
]


@pytest.mark.parametrize(("text", "dimension", "expected"), PUBLISHED)
def test_printed_pairs(text: str, dimension: str, expected: float) -> None:
    assert read_quantity(text, dimension) == pytest.approx(expected, rel=2e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("5/32 in", 5 / 32 * 25.4),
        ('1 1/4"', 1.25 * 25.4),
        ("1-1/4 in", 1.25 * 25.4),
        ("1½ in", 1.5 * 25.4),
        ("½″", 0.5 * 25.4),
        ("1 ⅛ inch", 1.125 * 25.4),
        ("-1/8 in", -25.4 / 8),
        ("−3 mm", -3),
        ("+3 mm", 3),
        ("3,5 mm", 3.5),
        ("0,125 mm", 0.125),
        ("0,5 mm", 0.5),
        (",5 mm", 0.5),
        (".5 mm", 0.5),
        ("1e3 mm", 1000),
        ("2.5E-1 m", 250),
        ("  12.5   mm ", 12.5),
        ("12.5mm", 12.5),
        ("12 millimetres", 12),
        ("12 millimeters", 12),
        ("2 feet", 609.6),
        ("2'", 609.6),
        ("7", 7),
    ],
)
def test_lengths_as_people_write_them(text: str, mm: float) -> None:
    assert read_quantity(text, "length", "mm") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("520 rpm", "rotation", 520),
        ("520 RPM", "rotation", 520),
        ("520 rev/min", "rotation", 520),
        ("6 kph", "speed", 6 / 3.6),
        ("6 km/hr", "speed", 6 / 3.6),
        ("60 °C", "temperature", 60),
        ("60 C", "temperature", 60),
        ("15 K", "temperature rise", 15),
        ("27 degF", "temperature rise", 15),
        ("18 percent", "share", 18),
        ("18%", "share", 18),
        ("30 lb ft", "torque", 30 * 1.3558179483314004),
        ("20 lbs", "mass", 20 * 0.45359237),
        ("4 per sq ft", "count per area", 4 / 0.09290304),
        ("43 per m2", "count per area", 43),
        ("43 /m2", "count per area", 43),
        ("43 1/m2", "count per area", 43),
        ("43 /m²", "count per area", 43),
        ("10 m²", "area", 0.001),
        ("3100 1/kg", "count per mass", 3100),
        ("1556 per lb", "count per mass", 1556 / 0.45359237),
        ("1556 /lb", "count per mass", 1556 / 0.45359237),
        ("90 min", "time", 1.5),
    ],
)
def test_spellings_of_units(text: str, dimension: str, expected: float) -> None:
    assert read_quantity(text, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        pytest.param("1,250 mm", "length", "can be read as 1250 or as 1.250", id="thousands or decimals"),
        pytest.param("12,345 kg/ha", "mass per area", "write it without the comma", id="thousands in a yield"),
        pytest.param("1,250,000 1/kg", "count per mass", "write it without the comma", id="two commas"),
        pytest.param("1/0 in", "length", "divides by zero", id="division by zero"),
        pytest.param("1 2 mm", "length", "is not one number", id="two numbers"),
        pytest.param("3 to 5 mm", "length", "unknown unit 'to 5 mm'", id="a range"),
        pytest.param("about 3 mm", "length", "is not a number", id="a word before it"),
        pytest.param("", "length", "is not a number", id="nothing"),
        pytest.param("mm", "length", "is not a number", id="no number"),
        pytest.param("5", "length", "has no unit", id="no unit"),
        pytest.param("5 parsec", "length", "unknown unit 'parsec'", id="unknown unit"),
        pytest.param("5 inchs", "length", "Did you mean 'inches'?", id="misspelt unit"),
        pytest.param("5 lb", "length", "is a unit of mass, a length is wanted", id="unit of another dimension"),
        pytest.param("1e999 mm", "length", "too large", id="beyond any measurement"),
        pytest.param("nan mm", "length", "is not a number", id="not a number"),
        pytest.param("inf mm", "length", "is not a number", id="infinity"),
        pytest.param("5/32/2 in", "length", "unknown unit", id="two strokes"),
        pytest.param("5 " + "m" * 500, "length", "too long", id="a very long unit"),
    ],
)
def test_refused(text: str, dimension: str, said: str) -> None:
    with pytest.raises(Unreadable) as refused:
        read_quantity(text, dimension)
    assert said in str(refused.value)


@pytest.mark.parametrize("dimension", CANONICAL)
def test_a_unit_that_is_refused_is_answered_with_those_that_would_do(dimension: str) -> None:
    with pytest.raises(Unreadable) as refused:
        read_quantity("1 nosuchunit", dimension)
    assert all(unit in str(refused.value) for unit in known_units(dimension))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (3.175, "in", "1/8 in"),
        (25.4 * 1.25, "in", "1 1/4 in"),
        (-25.4 * 5 / 32, "in", "-5/32 in"),
        (50.8, "in", "2 in"),
        (0.0, "in", "0 in"),
        (3.0, "in", "0.118 in"),
        (12.5, "mm", "12.5 mm"),
        (0.0, "mm", "0 mm"),
        (520.4, "r/min", "520 r/min"),
        (1234.5, "mm", "1234 mm"),
        (60.0, "degC", "60 °C"),
        (60.0, "degF", "140 °F"),
        (43.0, "1/m2", "43 /m²"),
        (1.25, "1", "1.25"),
        (12.7, "ft/min", "2500 ft/min"),
        (0.00012345, "mm", "0.000123 mm"),
    ],
)
def test_show(value: float, unit: str, text: str) -> None:
    assert show(value, unit) == text


VALUES = st.floats(-1e6, 1e6, allow_nan=False)


@given(VALUES, st.sampled_from(UNITS))
def test_there_and_back(value: float, pair: tuple[str, str]) -> None:
    dimension, unit = pair
    if unit in ("degC", "degF") and dimension == "temperature rise":
        return  # these two names are shown as temperatures
    assert from_canonical(to_canonical(value, unit, dimension), unit) == pytest.approx(value, rel=1e-9, abs=1e-6)


SHOWN_AS_WRITTEN = [pair for pair in UNITS if pair[0] != "temperature rise"]


@given(st.floats(1e-3, 1e6), st.sampled_from(SHOWN_AS_WRITTEN), st.booleans())
def test_what_is_shown_reads_back_to_three_digits(value: float, pair: tuple[str, str], negative: bool) -> None:
    dimension, unit = pair
    written = -value if negative else value
    canonical = to_canonical(written, unit, dimension)
    text = show(canonical, unit)
    again = read_quantity(text, dimension, unit)
    assert from_canonical(again, unit) == pytest.approx(written, rel=5.1e-3, abs=1e-6)
    assert text == show(again, unit) or abs(written) < 1


@given(st.integers(-6000, 6000))
def test_sixty_fourths_of_an_inch_read_back_exactly(count: int) -> None:
    value = count / 64 * 25.4
    assert read_quantity(show(value, "in"), "length") == pytest.approx(value, rel=1e-12, abs=1e-12)


@given(st.integers(0, 200), st.integers(0, 200), st.integers(1, 128), st.sampled_from(["in", "ft", '"']))
def test_mixed_fractions(whole: int, over: int, under: int, unit: str) -> None:
    inches = Fraction(whole) + Fraction(over, under)
    value, found = split_number(f"{whole} {over}/{under} {unit}")
    assert value == pytest.approx(float(inches), rel=1e-12)
    assert found == unit


@given(VALUES)
def test_decimal_comma_means_the_same_as_a_point(value: float) -> None:
    text = f"{value:.2f}"
    assert split_number(f"{text.replace('.', ',')} mm") == split_number(f"{text} mm")


@given(st.text(max_size=60), st.sampled_from(sorted(CANONICAL)))
def test_any_text_is_a_finite_number_or_refused(text: str, dimension: str) -> None:
    try:
        value = read_quantity(text, dimension, CANONICAL[dimension])
    except Unreadable:
        return
    assert math.isfinite(value)
