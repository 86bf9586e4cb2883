"""Numbers of the cards and rules held to what is printed, each with its source in the test's name.

``memory`` marks a figure that nobody here has seen on its page; the card must say so too. ``common practice`` marks what
the trade does without a page to point at.
"""

from __future__ import annotations

import pytest

from audit.conditions import comparisons
from audit.nouns.machine import CropCard, Target
from audit.nouns.rule import AtLeast, AtMost, Compare, Literal, Near, Pointer, Rule
from audit.nouns.rulebook import Rulebook
from audit.nouns.source import Ground

FT_MIN, LB = 0.00508, 0.45359237


def target(card: CropCard, name: str, element: str = "rasp-bar") -> Target:
    return next(found for key, found in card.targets if key == name and found.element in ("", element))


def measure(card: CropCard, name: str) -> float:
    return next(value for key, value, _ in card.measures if key == name)


# crop: tip speed in ft/min, cylinder-to-concave gap in mm
KEPNER = {
    "corn": ((2500, 4000), (22, 29)),
    "soybean": ((3000, 4000), (10, 19)),
    "wheat": ((5000, 6000), (5, 13)),
    "barley": ((4500, 5500), (6, 13)),
    "oats": ((5000, 6000), (6, 13)),
    "sorghum": ((4000, 5000), (6, 13)),
    "rice": ((5000, 6000), (5, 10)),
    "dry-beans": ((1500, 3000), (8, 19)),
    "peas": ((2000, 3000), (8, 19)),
    "flax": ((4000, 6000), (3, 13)),
}


@pytest.mark.parametrize(
    ("crop", "speeds"),
    [
        pytest.param(c, s, id=f"memory: Kepner, Bainer and Barger 1978, cylinder speeds, {c}")
        for c, (s, _) in KEPNER.items()
    ],
)
def test_tip_speed(rulebook: Rulebook, crop: str, speeds: tuple[int, int]) -> None:
    found = target(rulebook.crops[crop], "thresher.tip_speed")
    assert found.low == pytest.approx(speeds[0] * FT_MIN)
    assert found.high == pytest.approx(speeds[1] * FT_MIN)
    assert (found.basis.ground, found.basis.source) == (Ground.MEMORY, "kepner-1978")


@pytest.mark.parametrize(
    ("crop", "gaps"),
    [
        pytest.param(c, g, id=f"memory: Kepner, Bainer and Barger 1978, concave gaps, {c}")
        for c, (_, g) in KEPNER.items()
    ],
)
def test_concave_gap(rulebook: Rulebook, crop: str, gaps: tuple[int, int]) -> None:
    found = target(rulebook.crops[crop], "thresher.concave_gap")
    assert (found.low, found.high) == gaps
    assert (found.basis.ground, found.basis.source) == (Ground.MEMORY, "kepner-1978")


def test_sunflower_tip_speed_as_printed() -> None:
    """Hofman, Sunflower Production (EB-25), 2007: 300 r/min on a 22 in cylinder is printed as 1725 ft/min."""
    assert pytest.approx(1725, rel=2e-3) == 3.141592653589793 * 22 / 12 * 300


def test_sunflower_window_holds_the_printed_speed(rulebook: Rulebook) -> None:
    found = target(rulebook.crops["sunflower"], "thresher.tip_speed")
    assert found.low is not None
    assert found.high is not None
    assert found.low <= 1725 * FT_MIN <= found.high
    assert found.basis.ground is Ground.PUBLISHED


def test_rice_on_a_peg_tooth_drum_read_12_to_16_metres_a_second(rulebook: Rulebook) -> None:
    """Empuesto, Rice Combine Harvester, 2021, section 3.3: peg-tooth drums run 12 to 16 m/s."""
    found = target(rulebook.crops["rice"], "thresher.tip_speed", "peg-tooth")
    assert (found.low, found.high) == (12, 16)
    assert found.basis.ground is Ground.PUBLISHED


@pytest.mark.parametrize("crop", ["canola", "sunflower"])
def test_a_gap_from_memory_says_so(rulebook: Rulebook, crop: str) -> None:
    basis = target(rulebook.crops[crop], "thresher.concave_gap").basis
    assert basis.ground is Ground.MEMORY
    assert "confidence 0.5" in basis.note


WEIGHTS = {
    "wheat": 60, "soybean": 60, "corn": 56, "sorghum": 56, "barley": 48, "oats": 32, "rice": 45,
}  # fmt: skip


@pytest.mark.parametrize(
    ("crop", "pounds"), [pytest.param(c, w, id=f"USDA test weights, {c} {w} lb/bu") for c, w in WEIGHTS.items()]
)
def test_test_weight(rulebook: Rulebook, crop: str, pounds: int) -> None:
    card = rulebook.crops[crop]
    assert measure(card, "test_weight") == pytest.approx(pounds * LB)
    basis = next(basis for key, _, basis in card.measures if key == "test_weight")
    assert (basis.ground, basis.source) == (Ground.PUBLISHED, "usda-test-weight")


@pytest.mark.parametrize(
    ("crop", "pounds"),
    [pytest.param(c, w, id=f"memory: {c} {w} lb/bu") for c, w in (("canola", 50), ("flax", 56))],
)
def test_test_weight_from_memory(rulebook: Rulebook, crop: str, pounds: int) -> None:
    card = rulebook.crops[crop]
    assert measure(card, "test_weight") == pytest.approx(pounds * LB)
    assert next(basis for key, _, basis in card.measures if key == "test_weight").ground is Ground.MEMORY


# Seeds on a square foot that make one bushel an acre.
COUNTS = [
    pytest.param("corn", 2, 2, id="Hanna, Iowa State: corn, 2 kernels"),
    pytest.param("soybean", 3.5, 5, id="Hanna, Iowa State; Michigan State: soybean, 4 (5 if small)"),
    pytest.param("wheat", 16, 20, id="How to Estimate Grain Harvest Losses, 2003: durum 16, hard red spring wheat 20"),
    pytest.param("barley", 14, 14, id="How to Estimate Grain Harvest Losses, 2003: barley, 14"),
    pytest.param("oats", 10, 10, id="How to Estimate Grain Harvest Losses, 2003: oats, 10"),
    pytest.param("sorghum", 17, 20, id="memory: grain sorghum, 17 to 20"),
    pytest.param("canola", 115, 140, id="memory: canola, 115 to 140"),
]


@pytest.mark.parametrize(("crop", "low", "high"), COUNTS)
def test_counts_that_make_a_bushel_an_acre(rulebook: Rulebook, crop: str, low: float, high: float) -> None:
    """Count per ft² = (lb per bu × seeds per lb) / 43 560, an identity of units."""
    card = rulebook.crops[crop]
    per_bushel = measure(card, "test_weight") * measure(card, "seeds_per_kg")
    assert low * 0.995 <= per_bushel / 43_560 <= high * 1.005


def test_soybean_seed_size_read_iowa_2600_a_pound(rulebook: Rulebook) -> None:
    assert measure(rulebook.crops["soybean"], "seeds_per_kg") == pytest.approx(2600 / LB)


@pytest.mark.parametrize(
    ("crop", "name", "high"),
    [
        pytest.param("corn", "loss.machine_bu_ac", 1, id="Hanna, Iowa State: corn, 1 bu/ac"),
        pytest.param("soybean", "loss.machine_bu_ac", 1, id="Hanna, Iowa State: soybean, 1 bu/ac"),
        pytest.param("soybean", "loss.total_percent", 3, id="Lemmons, Nebraska: soybean, 3 %"),
        pytest.param("corn", "loss.unthreshed_percent", 1, id="Hanna, five steps: threshing loss, 1 %"),
        pytest.param("soybean", "loss.unthreshed_percent", 1, id="Hanna, five steps: threshing loss, 1 %"),
        pytest.param(
            "wheat", "loss.total_percent", 3, id="How to Estimate Grain Harvest Losses, 2003: small grains, 3 %"
        ),
        pytest.param(
            "barley", "loss.total_percent", 3, id="How to Estimate Grain Harvest Losses, 2003: small grains, 3 %"
        ),
        pytest.param("canola", "loss.machine_bu_ac", 1, id="Alberta: canola, 0.5 to 1 bu/ac"),
        pytest.param("soybean", "header.reel_index", 1.25, id="Missouri G1280: reel not more than 25 % faster"),
    ],
)
def test_what_counts_as_acceptable(rulebook: Rulebook, crop: str, name: str, high: float) -> None:
    found = target(rulebook.crops[crop], name)
    assert found.high == pytest.approx(high)
    assert found.basis.ground is Ground.PUBLISHED
    assert rulebook.sources[found.basis.source].status == "read"


@pytest.mark.parametrize("crop", ["corn", "soybean", "wheat"])
def test_a_goal_says_whose_it_is(rulebook: Rulebook, crop: str) -> None:
    """States and crops differ: a published goal names its place."""
    for name, found in rulebook.crops[crop].targets:
        if name.startswith("loss.") and found.basis.ground is Ground.PUBLISHED:
            assert found.basis.at or found.basis.note


# ------------------------------------------------------------------------------------------------------ limits of rules


def comparison(rule: Rule, quantity: str) -> Compare:
    return next(found for found in comparisons(rule.hold) if found.quantity == quantity)


@pytest.mark.parametrize(
    ("rule", "quantity", "limit", "ground"),
    [
        pytest.param("belt-hot", "each.temperature", 60, Ground.PUBLISHED, id="Shepherd 1992: 140 F (60 C)"),
        pytest.param("bearing-hot", "each.temperature", 82, Ground.PUBLISHED, id="Michigan State, combine fires: 180 F (82 C)"),
        pytest.param("bearing-failing", "each.temperature", 149, Ground.PUBLISHED, id="Michigan State, combine fires: 300 F (149 C)"),
        pytest.param("bearing-warmer-than-usual", "each.temperature_rise", 15, Ground.COMMON_PRACTICE, id="common practice: 10 to 15 K"),
        pytest.param("cab-extinguisher-too-small", "fire.extinguisher_cab", 5 * LB, Ground.PUBLISHED, id="harvest safety 2020: 5 lb in the cab"),
        pytest.param("ground-extinguisher-too-small", "fire.extinguisher_ground", 20 * LB, Ground.PUBLISHED, id="harvest safety 2020: 20 lb from the ground"),
    ],
)  # fmt: skip
def test_limit_of_a_rule(rulebook: Rulebook, rule: str, quantity: str, limit: float, ground: Ground) -> None:
    found = rulebook.rules[rule]
    relation = comparison(found, quantity).relation
    assert isinstance(relation, (AtMost, AtLeast))
    assert isinstance(relation.limit, Literal)
    assert relation.limit.value == pytest.approx(limit, abs=0.2)
    assert found.basis.ground is ground


@pytest.mark.parametrize(
    ("rule", "quantity", "limit"),
    [
        pytest.param(
            "drive-chain-elongated",
            "each.elongation",
            "each.elongation_limit",
            id="chain maintenance: 3 %, 200/N %, 1.5 % fixed centres",
        ),
        pytest.param(
            "elevator-chain-elongated",
            "each.elongation",
            "each.elongation_limit",
            id="chain maintenance: the same on elevators",
        ),
        pytest.param(
            "drive-chain-slack", "each.movement", "each.movement_high", id="chain maintenance: movement 4-6 %, 2-3 %"
        ),
        pytest.param(
            "sheaves-misaligned",
            "each.misalignment",
            "each.misalignment_limit",
            id="V-belt installation: half a degree",
        ),
        pytest.param(
            "sprockets-out-of-line",
            "each.offset",
            "each.offset_limit",
            id="Complete Guide to Chain 7.1.2.2: 1 mm to 1 m",
        ),
    ],
)
def test_a_rule_whose_limit_is_a_published_formula(rulebook: Rulebook, rule: str, quantity: str, limit: str) -> None:
    relation = comparison(rulebook.rules[rule], quantity).relation
    assert isinstance(relation, AtMost)
    assert relation.limit == Pointer(limit)
    assert rulebook.rules[rule].basis.ground is Ground.PUBLISHED


def test_deck_plates_one_and_a_quarter_inches(rulebook: Rulebook) -> None:
    """Hanna, Adjust your combine for variable crop conditions, 2017: 1.25 in for ears of normal size."""
    relation = comparison(rulebook.rules["deck-plates-off-the-ears"], "corn_head.deck_gap_front").relation
    assert isinstance(relation, Near)
    assert isinstance(relation.limit, Literal)
    assert relation.limit.value == pytest.approx(1.25 * 25.4, abs=0.3)


@pytest.mark.parametrize(
    "card",
    [
        pytest.param(card, id=f"common practice: {card}")
        for card in ("axial-single", "axial-hybrid", "tangential-walker")
    ],
)
def test_feeder_belt_is_common_practice(rulebook: Rulebook, card: str) -> None:
    """About 1/8 in between the sheave halves, or about 520 r/min slowed all the way down."""
    found = {name: wanted for crop, name, wanted in rulebook.machines[card].targets if crop == "every"}
    gap, speed = found["feeder.sheave_gap"], found["feeder.slowest_speed"]
    assert gap.basis.ground is speed.basis.ground is Ground.COMMON_PRACTICE
    assert gap.low is not None
    assert gap.high is not None
    assert speed.low is not None
    assert speed.high is not None
    assert gap.low < 25.4 / 8 < gap.high
    assert (gap.low + gap.high) / 2 == pytest.approx(25.4 / 8)
    assert speed.low < 520 < speed.high


CROPS_BY_DRUM = {"raised": ["corn"], "lowered": ["soybean", "wheat", "barley", "oats"]}


@pytest.mark.parametrize(
    ("crop", "name", "words"),
    [
        pytest.param(crop, "feeder.drum", (word,), id=f"common practice: drum {word}, {crop}")
        for word, crops in CROPS_BY_DRUM.items()
        for crop in crops
    ]
    + [
        pytest.param("corn", "beater_drive.step", ("slow",), id="common practice: beater slow, corn"),
        pytest.param("soybean", "beater_drive.step", ("fast",), id="common practice: beater fast, beans"),
        pytest.param("corn", "chopper_drive.step", ("slow",), id="common practice: chopper slow, corn"),
        pytest.param("soybean", "chopper_drive.step", ("fast",), id="common practice: chopper fast, soybean"),
        pytest.param("corn", "deflector.position", ("raised",), id="common practice: deflector raised, corn"),
        pytest.param("soybean", "deflector.position", ("lowered",), id="common practice: deflector lowered, beans"),
        pytest.param("wheat", "deflector.position", ("lowered",), id="common practice: deflector lowered, wheat"),
    ],
)
def test_positions_by_crop(rulebook: Rulebook, crop: str, name: str, words: tuple[str, ...]) -> None:
    found = target(rulebook.crops[crop], name)
    assert found.words == words
    assert found.basis.ground is Ground.COMMON_PRACTICE


def test_stationary_knives_common_practice_out_for_corn_half_in_for_beans(rulebook: Rulebook) -> None:
    corn = target(rulebook.crops["corn"], "chopper.stationary_knives")
    beans = target(rulebook.crops["soybean"], "chopper.stationary_knives")
    assert (corn.low, corn.high) == (0, 0)
    assert beans.low is not None
    assert beans.high is not None
    assert 0 < beans.low < 50 < beans.high < 100
    assert corn.basis.ground is beans.basis.ground is Ground.COMMON_PRACTICE


def test_range_is_low_for_corn_and_beans_on_the_axial_card_common_practice(rulebook: Rulebook) -> None:
    found = {(crop, name): t.words for crop, name, t in rulebook.machines["axial-single"].targets}
    assert found["corn", "thresher.range"] == found["soybean", "thresher.range"] == ("low",)


@pytest.mark.parametrize("rule", ["large-sprocket-without-need", "small-sprocket-in-heavy-crop"])
def test_small_sprocket_unless_the_crop_is_heavy_is_common_practice(rulebook: Rulebook, rule: str) -> None:
    assert rulebook.rules[rule].basis.ground is Ground.COMMON_PRACTICE
