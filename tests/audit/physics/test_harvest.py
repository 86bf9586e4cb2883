"""Loss, capacity and timeliness against printed counts, rules and examples."""

from __future__ import annotations

from collections.abc import Callable

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.physics import harvest
from audit.physics.formula import OutOfRange

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def of(value: float, unit: str, to: str) -> float:
    return float(UNITS.Quantity(value, unit).to(to).magnitude)


POUND = of(1, "lb", "kg")
SQUARE_FOOT = of(1, "ft**2", "m**2")
ACRE = of(1, "ft**2", "m**2") * 43_560

# Crop, count per ft² that makes 1 bu/ac, lb per bu, seeds per lb that the two imply, source.
COUNTS = [
    ("corn", 2, 56, 1556, "Hanna; NDSU"),
    ("soybean, average", 4, 60, 2904, "Univ. of Missouri G1280"),
    ("soybean, small", 5, 60, 3630, "Univ. of Nebraska 2022"),
    ("hard red spring wheat", 20, 60, 14_520, "small-grain loss table 2003"),
    ("durum", 16, 60, 11_616, "small-grain loss table 2003"),
    ("barley", 14, 48, 12_705, "small-grain loss table 2003"),
    ("oats", 10, 32, 13_613, "small-grain loss table 2003"),
]


@pytest.mark.parametrize(
    ("count", "pounds", "per_pound"),
    [pytest.param(*row[1:4], id=f"{row[4]}: {row[0]} {row[1]} per ft2") for row in COUNTS],
)
def test_counts_that_make_a_bushel_per_acre(count: float, pounds: float, per_pound: float) -> None:
    seeds = harvest.seeds_per_kg(per_pound, POUND)
    bushel = pounds * POUND
    per_m2 = harvest.count_per_bushel_per_area(seeds, bushel)
    assert per_m2 * SQUARE_FOOT == pytest.approx(count, rel=5e-4)
    lost = harvest.loss_from_count(count / SQUARE_FOOT, seeds)
    assert harvest.bushels_per_acre(lost, bushel) == pytest.approx(1, rel=5e-4)
    # The US form of the same law, by hand: count = lb/bu · seeds/lb / 43 560.
    assert per_m2 * SQUARE_FOOT == pytest.approx(pounds * per_pound / 43_560, rel=1e-9)


@pytest.mark.parametrize(
    ("seeds", "mass", "pounds", "count"),
    [
        pytest.param(2600, 1, 60, 3.6, id="Iowa State Agron 212: 2600 soybeans per lb, 3.6 per ft2"),
        pytest.param(162_000, 60, 60, 3.7, id="field notes 2020: 162 000 soybeans per bu, 3.7 per ft2"),
        pytest.param(85_000, 56, 56, 1.95, id="field notes 2020: 85 000 kernels per bu, 1.95 per ft2"),
        pytest.param(90_000, 56, 56, 2.07, id="common practice: 90 000 kernels per bu, 2.07 per ft2"),
        pytest.param(15_000, 1, 56, 19, id="memory: sorghum 15 000 per lb, 19 per ft2 (17-20)"),
        pytest.param(115_000, 1, 50, 132, id="memory: canola 115 000 per lb, 132 per ft2 (115-140)"),
    ],
)
def test_counts_from_seed_size(seeds: float, mass: float, pounds: float, count: float) -> None:
    found = harvest.count_per_bushel_per_area(harvest.seeds_per_kg(seeds, mass * POUND), pounds * POUND)
    assert found * SQUARE_FOOT == pytest.approx(count, rel=0.015)


def test_wheat_and_barley_are_not_swapped() -> None:
    # A software note prints wheat 14, barley 19. Seeds per lb printed for wheat (Univ. of Nebraska 2014,
    # 10 700 to 16 400) put 20 per ft² inside its range and 14 outside.
    low, high = (
        SQUARE_FOOT * harvest.count_per_bushel_per_area(harvest.seeds_per_kg(seeds, POUND), 60 * POUND)
        for seeds in (10_700, 16_400)
    )
    assert low < 20 < high
    assert not low < 14 < high


@pytest.mark.parametrize(
    ("pounds", "kilograms"),
    [
        pytest.param(60, 67.25, id="official bushel, wheat and soybean"),
        pytest.param(56, 62.77, id="official bushel, corn, sorghum, rye"),
        pytest.param(48, 53.80, id="official bushel, barley"),
        pytest.param(32, 35.87, id="official bushel, oats"),
        pytest.param(50, 56.04, id="memory, canola 50 lb"),
        pytest.param(45, 50.44, id="official bushel, rough rice"),
    ],
)
def test_a_bushel_per_acre_in_kilograms_per_hectare(pounds: float, kilograms: float) -> None:
    assert harvest.kg_per_hectare(1, pounds * POUND) == pytest.approx(kilograms, abs=0.005)
    by_units = of(pounds, "lb/acre", "kg/hectare")
    assert harvest.kg_per_hectare(1, pounds * POUND) == pytest.approx(by_units, rel=1e-5)
    assert harvest.bushels_per_acre(by_units, pounds * POUND) == pytest.approx(1, rel=1e-5)


@pytest.mark.parametrize(
    ("spacing", "feet"),
    [
        pytest.param(spacing, feet, id=f"Hanna, 1/100 acre of one {spacing} in row")
        for spacing, feet in [(20, 261.4), (22, 237.6), (30, 174.2), (36, 145.2), (38, 137.6)]
    ],
)
def test_row_length_for_a_hundredth_of_an_acre(spacing: float, feet: float) -> None:
    metres = harvest.row_length_for_area(ACRE / 100, spacing * 25.4)
    assert of(metres, "m", "ft") == pytest.approx(feet, abs=0.06)


def test_the_misprinted_row_length_is_not_followed() -> None:
    # A trade letter prints 187 ft for 30 in rows; 187 ft would be 1.07 hundredths of an acre.
    assert of(harvest.row_length_for_area(ACRE / 100, 762), "m", "ft") == pytest.approx(174.24, abs=0.01)


@pytest.mark.parametrize(
    ("header", "depth"),
    [
        pytest.param(header, depth, id=f"Univ. of Missouri G1280 table 1, {header} ft header")
        for header, depth in [(8, 15), (10, 12), (12, 10), (15, 8), (16, 7.5), (20, 6), (24, 5)]
    ],
)
def test_depth_of_a_ten_square_foot_strip(header: float, depth: float) -> None:
    metres = harvest.row_length_for_area(10 * SQUARE_FOOT, header * 304.8)
    assert of(metres, "m", "inch") == pytest.approx(depth, abs=1e-9)


def test_one_dropped_ear_is_a_bushel() -> None:
    # Hanna: one 3/4 lb ear in 1/100 acre; ear corn weighs 70 lb/bu (Univ. of Missouri G4020): 75/70 bu/ac.
    per_ha = 0.75 * POUND / (ACRE / 100) * 10_000
    assert harvest.bushels_per_acre(per_ha, 70 * POUND) == pytest.approx(1, abs=0.08)


def test_printed_concentration() -> None:
    # Alberta canola growers' text: 30 ft cut, 5 ft discharge.
    assert harvest.concentration_factor(of(30, "ft", "m"), of(5, "ft", "m")) == pytest.approx(6)


@pytest.mark.parametrize(("speed", "feet", "efficiency"), [(3.0, 30.0, 0.70), (4.5, 40.0, 0.65), (2.5, 20.0, 0.80)])
def test_field_capacity_against_the_us_form(speed: float, feet: float, efficiency: float) -> None:
    # mph · ft · e / 8.25 = ac/h (43 560 / 5280 is 8.25 exactly).
    found = harvest.field_capacity(of(speed, "mph", "km/hour"), of(feet, "ft", "m"), 100 * efficiency)
    assert found * 10_000 / ACRE == pytest.approx(speed * feet * efficiency / 8.25, rel=1e-9)


@pytest.mark.parametrize(
    ("fraction", "crop", "lost"),
    [
        pytest.param(0.003, 150, 4.5, id="Schuler 2005: corn 0.3 % a day, 10 days, 150 bu/ac"),
        pytest.param(0.006, 45, 2.7, id="Schuler 2005: soybean 0.6 % a day, 10 days, 45 bu/ac"),
        pytest.param(0.010, 45, 4.5, id="Schuler 2005: soybean 1.0 % a day, 10 days, 45 bu/ac"),
    ],
)
def test_printed_timeliness(fraction: float, crop: float, lost: float) -> None:
    bushel = 56 * POUND
    late = harvest.timeliness_loss(fraction, 10, harvest.kg_per_hectare(crop, bushel))
    assert harvest.bushels_per_acre(late, bushel) == pytest.approx(lost, rel=1e-12)


def test_printed_reel_speed() -> None:
    # Purdue AE-82 and Univ. of Missouri G1280: about 25 % faster than the ground, at 3 mph.
    bats = of(3 * 1.25, "mph", "m/s")
    assert harvest.reel_index(bats, of(3, "mph", "km/hour")) == pytest.approx(1.25)


def test_three_per_cent_of_a_heavy_crop_is_six_bushels() -> None:
    # 3 % of 200 bu/ac grown is 6 bu/ac, six times the one-bushel goal of Iowa State's texts.
    bushel = 56 * POUND
    lost, kept = harvest.kg_per_hectare(6, bushel), harvest.kg_per_hectare(194, bushel)
    assert harvest.loss_percent(lost, kept) == pytest.approx(3)


counts = st.floats(0, 5000)


@given(counts, counts, counts, st.floats(1, 20))
def test_parts_add_up_to_the_whole(ahead: float, header: float, machine: float, factor: float) -> None:
    beside = ahead + header
    behind = beside + machine * factor
    assert harvest.header_loss(beside, ahead) == pytest.approx(header, abs=1e-6)
    assert harvest.machine_loss(behind, beside, factor) == pytest.approx(machine, abs=1e-6)


def test_scatter_shows_below_zero() -> None:
    assert harvest.machine_loss(10, 12, 2) == -1
    assert harvest.header_loss(3, 5) == -2
    assert harvest.loss_from_count(-1, 5000) == -2


@given(st.floats(0, 200), st.floats(5, 40))
def test_bushels_and_kilograms_are_inverse(bushels: float, weight: float) -> None:
    per_ha = harvest.kg_per_hectare(bushels, weight)
    assert harvest.bushels_per_acre(per_ha, weight) == pytest.approx(bushels, rel=1e-12, abs=1e-12)


@given(st.floats(0, 10_000), st.floats(0, 10_000), st.floats(1, 10_000))
def test_loss_share_grows_with_loss_and_stays_below_all(one: float, two: float, harvested: float) -> None:
    less, more = sorted((one, two))
    assert 0 <= harvest.loss_percent(less, harvested) <= harvest.loss_percent(more, harvested) < 100


@given(st.floats(0, 20), st.floats(0.5, 20), st.floats(1, 100), st.floats(0, 15_000))
def test_capacity_is_area_times_yield(speed: float, width: float, efficiency: float, crop: float) -> None:
    area = harvest.field_capacity(speed, width, efficiency)
    assert area <= speed * 1000 * width / 10_000 * (1 + 1e-12)
    assert harvest.material_capacity(area, crop) == pytest.approx(area * crop)


@given(st.floats(0.1, 10_000), st.floats(50, 20_000))
def test_row_length_times_spacing_is_the_area(area: float, spacing: float) -> None:
    assert harvest.row_length_for_area(area, spacing) * spacing / 1000 == pytest.approx(area)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: harvest.seeds_per_kg(0, 1), "seeds is 0;"),
        (lambda: harvest.seeds_per_kg(100, 0), "mass is 0 kg"),
        (lambda: harvest.count_per_bushel_per_area(5000, 60), "kg_per_bushel is 60 kg"),
        (lambda: harvest.loss_from_count(10, 0), "seeds_per_mass is 0 1/kg"),
        (lambda: harvest.bushels_per_acre(-1, 27), "kg_per_ha is -1 kg/ha"),
        (lambda: harvest.kg_per_hectare(501, 27), "bushels is 501 bu/ac"),
        (
            lambda: harvest.concentration_factor(5, 6),
            "discharge_width is 6 m; this formula holds from 0.3 to 5",
        ),
        (lambda: harvest.machine_loss(10, 5, 0.5), "concentration is 0.5;"),
        (lambda: harvest.header_loss(-1, 0), "beside is -1 1/m2"),
        (lambda: harvest.loss_percent(10, 0), "harvested is 0 kg/ha"),
        (
            lambda: harvest.field_capacity(5, 9, 0.7),
            "efficiency is 0.7 %; this formula holds from 1 to 100 %",
        ),
        (lambda: harvest.material_capacity(float("nan"), 1), "area_rate is nan ha/h"),
        (lambda: harvest.timeliness_loss(0.3, 10, 100), "daily_fraction is 0.3; .* from 0 to 0.05"),
        (lambda: harvest.reel_index(1, 0), "ground_speed is 0 km/h"),
        (lambda: harvest.row_length_for_area(40, 0.75), "row_spacing is 0.75 mm"),
    ],
)
def test_out_of_range_names_the_argument(call: Callable[[], float], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        call()
