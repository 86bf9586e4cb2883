"""Shaft speeds of each card against a walk of our own over its YAML, and what a train must be.

The walk here reads the file with the YAML parser directly and multiplies ratios: driven speed = driver speed × driver
size / driven size × (1 - slip), the belt and gear relations of any machine elements text (Mott, Machine Elements in
Mechanical Design, 4th ed. 2004, chapter 7; Khurmi and Gupta, A Textbook of Machine Design, 2005, chapter 18).
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

import rules
from audit.auditor import Auditor
from audit.facts import compute
from audit.intake.rulebook import read_rulebook
from audit.nouns.machine import Component, MachineCard
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Value
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Taken, Unit
from audit.sheet import make_sheet

CARDS = ("axial-hybrid", "axial-single", "tangential-walker")
RATIO = ("driver_diameter", "driven_diameter", "driver_teeth", "driven_teeth", "ratio")
Positions = dict[str, str]


def yaml_of(card: str) -> dict[str, Any]:
    found: dict[str, Any] = YAML(typ="safe").load(Path(rules.root(), "machines", f"{card}.yaml"))
    return found


RAW = {card: yaml_of(card) for card in CARDS}


def number(written: object) -> float:
    """The number of '280 mm', '1.5 %' or 17; cards write lengths in mm."""
    return float(str(written).split()[0])


class Walk:
    """Speeds of one card for given positions, worked out from its file."""

    def __init__(self, card: str, positions: Positions) -> None:
        self.raw, self.positions = RAW[card], positions
        self.by_driven = {drive["to"]: (name, drive) for name, drive in self.raw["drives"].items()}

    def of(self, drive: Mapping[str, Any], key: str) -> float:
        value = drive[key]
        return number(value[self.positions[value["by"]]] if isinstance(value, dict) else value)

    def ratio(self, drive: Mapping[str, Any], end: str) -> float:
        kind = drive["kind"]
        if kind == "direct":
            return 1.0
        if kind == "gear_range":
            return 1.0 / self.of(drive, "ratio")
        if kind in ("gear_pair", "roller_chain"):
            return self.of(drive, "driver_teeth") / self.of(drive, "driven_teeth")
        slip = 1.0 - self.of(drive, "slip") / 100.0
        if kind == "variable_belt":
            return self.of(drive, f"driver_{end}") / self.of(drive, f"driven_{end}") * slip
        return self.of(drive, "driver_diameter") / self.of(drive, "driven_diameter") * slip

    def speed(self, shaft: str, end: str) -> float:
        """Lowest ('slow') or highest ('fast') speed of a shaft, r/min."""
        if shaft == self.raw["governed_shaft"]:
            return number(self.raw["shafts"][shaft]["governed_speed"])
        _, drive = self.by_driven[shaft]
        return self.speed(drive["from"], end) * self.ratio(drive, end)

    def variable(self, shaft: str) -> bool:
        """Whether a variable drive stands between the engine and the shaft."""
        if shaft == self.raw["governed_shaft"]:
            return False
        _, drive = self.by_driven[shaft]
        return drive["kind"] == "variable_belt" or self.variable(drive["from"])


def choices(card: str) -> dict[str, list[str]]:
    """Every setting or build that a parameter of the card depends on, with its words."""
    found: dict[str, list[str]] = {}
    for drive in RAW[card]["drives"].values():
        for value in drive.values():
            if isinstance(value, dict):
                found[value["by"]] = [word for word in value if word != "by"]
    return found


def all_positions(card: str) -> Iterator[Positions]:
    """Every position at least twice: all at their first word, all at their last, and each alone at every other."""
    by = choices(card)
    first = {name: words[0] for name, words in by.items()}
    yield first
    yield {name: words[-1] for name, words in by.items()}
    for name, words in by.items():
        for word in words[1:]:
            yield first | {name: word}


def setup_text(card: str, positions: Positions, readings: Mapping[str, object] | None = None) -> bytes:
    fitted = {name[6:]: word for name, word in positions.items() if name.startswith("build.")}
    moved = {name: word for name, word in positions.items() if not name.startswith("build.")}
    unit = {"id": "u", "card": card, "fitted": fitted}
    return json.dumps(
        {"unit": unit, "job": {"crop": "corn"}, "settings": moved, "readings": dict(readings or {})}
    ).encode()


@pytest.fixture(scope="module")
def bare(rulebook: Rulebook) -> Auditor:
    """An auditor that only computes: without rules."""
    return Auditor(replace(rulebook, rules={}))


def values(auditor: Auditor, text: bytes) -> dict[str, Value]:
    """Computed facts by name; a constant speed is no fact of a setup and comes from the sheet."""
    report = auditor.report(text, "setup")
    sheet = auditor.sheet(report.card, report.crop)
    return {**sheet.constants, **{fact.name: fact.value for fact in report.facts}}


@pytest.mark.parametrize("card", CARDS)
def test_every_shaft_speed_is_the_product_of_its_drives(bare: Auditor, card: str) -> None:
    for positions in all_positions(card):
        walk = Walk(card, positions)
        found = values(bare, setup_text(card, positions))
        for shaft in RAW[card]["shafts"]:
            low, high = walk.speed(shaft, "slow"), walk.speed(shaft, "fast")
            assert found[f"{shaft}.speed_low"] == pytest.approx(low, rel=1e-12), (shaft, positions)
            assert found[f"{shaft}.speed_high"] == pytest.approx(high, rel=1e-12), (shaft, positions)
            if not walk.variable(shaft):
                assert low == high
                assert found[f"{shaft}.speed"] == pytest.approx(low, rel=1e-12), (shaft, positions)


@pytest.mark.parametrize("card", CARDS)
def test_every_shaft_is_reached(card: str) -> None:
    walk = Walk(card, next(all_positions(card)))
    for shaft in RAW[card]["shafts"]:
        assert walk.speed(shaft, "slow") > 0


@pytest.mark.parametrize("card", CARDS)
def test_a_position_that_is_not_known_leaves_the_speed_behind_it_unknown(bare: Auditor, card: str) -> None:
    positions = next(all_positions(card))
    for lost in positions:
        known = {name: word for name, word in positions.items() if name != lost}
        found = values(bare, setup_text(card, known))
        behind = {
            drive["to"]
            for drive in RAW[card]["drives"].values()
            for key, value in drive.items()
            if isinstance(value, dict) and value["by"] == lost and key in RATIO
        }
        assert behind
        for shaft in RAW[card]["shafts"]:
            unknown = found[f"{shaft}.speed_low"] is None
            assert unknown == (shaft in behind or _behind(card, shaft, behind)), (lost, shaft)


def _behind(card: str, shaft: str, lost: set[str]) -> bool:
    walk = Walk(card, {})
    while shaft in walk.by_driven:
        if shaft in lost:
            return True
        shaft = walk.by_driven[shaft][1]["from"]
    return False


@pytest.mark.parametrize("card", CARDS)
def test_behind_a_variable_drive_the_speed_is_what_is_set_or_measured(bare: Auditor, card: str) -> None:
    positions = next(all_positions(card))
    walk = Walk(card, positions)
    settable = {shaft for shaft, raw in RAW[card]["shafts"].items() if raw["kind"] == "thresher"}
    free = [
        shaft
        for shaft, (_, drive) in walk.by_driven.items()
        if drive["kind"] == "variable_belt" and shaft not in settable
    ]
    assert free
    found = values(bare, setup_text(card, positions))
    assert all(found[f"{shaft}.speed"] is None for shaft in free)
    measured = {f"{shaft}.measured_speed": 600 + place for place, shaft in enumerate(free)}
    found = values(bare, setup_text(card, positions, measured))
    for place, shaft in enumerate(free):
        assert found[f"{shaft}.speed"] == 600 + place
        assert f"{shaft}.speed_error" not in found


# ------------------------------------------------------------------------------------------ common practice on the cards


@pytest.mark.parametrize("card", CARDS)
def test_feeder_slowed_all_the_way_down_common_practice_520(card: str) -> None:
    """Common practice: about 520 r/min; the card's own target allows 15 r/min either way."""
    jackshaft = next(d["to"] for d in RAW[card]["drives"].values() if d["to"] == "feeder_jackshaft")
    assert Walk(card, next(all_positions(card))).speed(jackshaft, "slow") == pytest.approx(520, abs=5)


@pytest.mark.parametrize(
    ("position", "slow", "fast"),
    [
        pytest.param("low", None, (535, 565), id="common practice: low range reaches about 550 r/min"),
        pytest.param(
            "high", (300, 350), (970, 1030), id="common practice: high range from 300-350 to about 1000 r/min"
        ),
    ],
)
def test_rotor_ranges_of_the_axial_card(
    position: str, slow: tuple[float, float] | None, fast: tuple[float, float]
) -> None:
    walk = Walk("axial-single", next(all_positions("axial-single")) | {"rotor.range": position})
    assert fast[0] <= walk.speed("rotor", "fast") <= fast[1]
    assert slow is None or slow[0] <= walk.speed("rotor", "slow") <= slow[1]


def belt_length(driver: float, driven: float, centre: float) -> float:
    """Exact length of an open belt, mm: two straight spans and the arcs, wrap π ∓ 2 asin((D - d) / 2C)."""
    large, small = max(driver, driven), min(driver, driven)
    slope = math.asin((large - small) / (2 * centre))
    return 2 * centre * math.cos(slope) + large / 2 * (math.pi + 2 * slope) + small / 2 * (math.pi - 2 * slope)


STEPPED = [(card, name) for card in CARDS for name, d in RAW[card]["drives"].items() if d["kind"] == "stepped_v_belt"]


@pytest.mark.parametrize(("card", "name"), STEPPED)
@pytest.mark.parametrize(
    ("driving", "driven", "step"),
    [
        pytest.param("large", "small", "fast", id="common practice: large driving small is fast"),
        pytest.param("small", "large", "slow", id="common practice: small driving large is slow"),
        ("small", "small", "mismatched"),
        ("large", "large", "mismatched"),
    ],
)
def test_stepped_pairs(auditor: Auditor, card: str, name: str, driving: str, driven: str, step: str) -> None:
    """A legal pair fits the belt within its take-up; a mismatched one misses it by several times as much."""
    positions = next(all_positions(card)) | {f"{name}.driving": driving, f"{name}.driven": driven}
    raw, walk = RAW[card]["drives"][name], Walk(card, positions)
    needed = belt_length(walk.of(raw, "driver_diameter"), walk.of(raw, "driven_diameter"), number(raw["centre"]))
    error, take_up = needed - number(raw["belt_length"]), number(raw["take_up"])
    found = values(auditor, setup_text(card, positions))
    assert found[f"{name}.step"] == step
    assert found[f"{name}.length_needed"] == pytest.approx(needed, rel=1e-9)
    assert found[f"{name}.length_error"] == pytest.approx(error, abs=1e-6)
    assert abs(error) > 4 * take_up if step == "mismatched" else abs(error) <= take_up
    report = auditor.report(setup_text(card, positions), "setup")
    broken = {finding.rule for finding in report.findings if finding.verdict.value == "broken"}
    rule = {"beater_drive": "beater-belt-on-mismatched-pulleys", "chopper_drive": "chopper-belt-on-mismatched-pulleys"}
    assert (rule[name] in broken) == (step == "mismatched")


@pytest.mark.parametrize("card", CARDS)
def test_variable_drives_keep_their_belt_at_both_ends(bare: Auditor, card: str) -> None:
    found = values(bare, setup_text(card, next(all_positions(card))))
    for name, drive in RAW[card]["drives"].items():
        if drive["kind"] == "variable_belt":
            for end in ("slow", "fast"):
                needed = belt_length(
                    number(drive[f"driver_{end}"]), number(drive[f"driven_{end}"]), number(drive["centre"])
                )
                assert found[f"{name}.length_{end}"] == pytest.approx(needed, rel=1e-9)
                assert abs(needed - number(drive["belt_length"])) <= number(drive["take_up"]), (name, end)


@pytest.mark.parametrize("card", CARDS)
def test_the_fast_end_of_a_variable_drive_is_the_faster_one(card: str) -> None:
    walk = Walk(card, next(all_positions(card)))
    for drive in RAW[card]["drives"].values():
        if drive["kind"] == "variable_belt":
            assert walk.ratio(drive, "slow") < walk.ratio(drive, "fast")


# ----------------------------------------------------------------------------------------------------- trains at random


def _belt(draw: st.DrawFn) -> tuple[dict[str, Value], float]:
    driver, driven = (draw(st.floats(80, 500)) for _ in range(2))
    slip = draw(st.floats(0, 3))
    parameters: dict[str, Value] = {
        "driver_diameter": driver, "driven_diameter": driven, "centre": 1500.0, "section": "HC", "slip": slip,
    }  # fmt: skip
    return parameters, driver / driven * (1 - slip / 100)


def _teeth(draw: st.DrawFn, **more: Value) -> tuple[dict[str, Value], float]:
    driver, driven = (float(draw(st.integers(13, 60))) for _ in range(2))
    return {"driver_teeth": driver, "driven_teeth": driven, **more}, driver / driven


def _ratio(draw: st.DrawFn) -> tuple[dict[str, Value], float]:
    ratio = draw(st.floats(0.5, 5))
    return {"ratio": ratio}, 1 / ratio


def _chain(draw: st.DrawFn) -> tuple[dict[str, Value], float]:
    return _teeth(draw, pitch=25.4, centre=700.0, fixed_centres="adjustable", duty="normal")


def _direct(_: st.DrawFn) -> tuple[dict[str, Value], float]:
    return {}, 1.0


# parameters of a drive, and its ratio
DRIVES: dict[str, Callable[[st.DrawFn], tuple[dict[str, Value], float]]] = {
    "v_belt": _belt,
    "gear_pair": _teeth,
    "roller_chain": _chain,
    "gear_range": _ratio,
    "direct": _direct,
}


@st.composite
def trains(draw: st.DrawFn) -> tuple[list[tuple[str, int, dict[str, Value]]], list[float]]:
    """Drives as (kind, number of the driving shaft, parameters), and each shaft's speed over the engine's."""
    drives: list[tuple[str, int, dict[str, Value]]] = []
    ratios = [1.0]
    for _ in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from(sorted(DRIVES)))
        source = draw(st.integers(0, len(ratios) - 1))
        parameters, ratio = DRIVES[kind](draw)
        drives.append((kind, source, parameters))
        ratios.append(ratios[source] * ratio)
    return drives, ratios


def card_of(pattern: MachineCard, drives: list[tuple[str, int, dict[str, Value]]]) -> MachineCard:
    shafts = [Component("s0", "shaft", "Engine", "", (("governed_speed", 2000.0),))]
    shafts += [Component(f"s{place}", "shaft", "Shaft", "", ()) for place in range(1, len(drives) + 1)]
    joined = [
        Component(f"d{place}", kind, "Drive", "", tuple(parameters.items()), f"s{source}", f"s{place}")
        for place, (kind, source, parameters) in enumerate(drives, 1)
    ]
    return replace(
        pattern, id="made-up", governed_shaft="s0", builds=(), carried=(), shafts=tuple(shafts), drives=tuple(joined),
        parts=(), targets=(),
    )  # fmt: skip


@settings(max_examples=60)
@given(trains(), st.randoms())
def test_speed_behind_any_train_is_engine_speed_times_the_product_of_ratios(
    rulebook: Rulebook, train: tuple[list[tuple[str, int, dict[str, Value]]], list[float]], order: Any
) -> None:
    drives, ratios = train
    assume(max(ratios) <= 10)  # 20,000 r/min, beyond which a speed counts as not known
    card = card_of(rulebook.machines["axial-single"], drives)
    shuffled = list(card.drives)
    order.shuffle(shuffled)  # the file's order does not matter
    sheet = make_sheet(replace(rulebook, rules={}), replace(card, drives=tuple(shuffled)), rulebook.crops["corn"])
    found = compute(sheet, Setup(Unit("u", "made-up"), "corn", "", Taken(), {}, {}))
    for place, ratio in enumerate(ratios):
        for which in ("speed", "speed_low", "speed_high"):
            assert found.values[f"s{place}.{which}"] == pytest.approx(2000 * ratio, rel=1e-9)


# ---------------------------------------------------------------------------------------------- trains that are refused


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        pytest.param("to: rotor,", "to: rotor_input,", "shaft 'rotor_input' is driven twice", id="driven twice"),
        pytest.param("to: rotor,", "to: rotor_input,", "no drive reaches shaft 'rotor' from 'engine'", id="not reached"),
        pytest.param(
            "from: engine, to: main_gearbox", "from: separator, to: main_gearbox",
            "no drive reaches shaft 'separator' from 'engine'", id="a loop",
        ),
        pytest.param("to: main_gearbox", "to: engine", "no drive reaches shaft 'main_gearbox'", id="back into the engine"),
        pytest.param("to: rotor,", "to: roter,", "'to' names no shaft: 'roter'. Did you mean 'rotor'?", id="misspelt"),
        pytest.param("from: rotor_input", "from: nowhere", "'from' names no shaft: 'nowhere'", id="from nothing"),
        pytest.param(
            "governed_shaft: engine", "governed_shaft: engin",
            "governed_shaft 'engin' is not a shaft of this card. Did you mean 'engine'?", id="governed shaft",
        ),
        pytest.param(", governed_speed: 2100 r/min", "", "shaft 'engine' lacks 'governed_speed'", id="no governed speed"),
    ],
)  # fmt: skip
def test_a_train_that_cannot_be_walked_is_refused(
    site: Callable[[Mapping[str, str]], Path], old: str, new: str, said: str
) -> None:
    text = Path(rules.root(), "machines", "axial-single.yaml").read_text()
    assert old in text
    folder = site({"machines/axial-single.yaml": text.replace(old, new, 1)})
    with pytest.raises(BadInput) as refused:
        read_rulebook(rules.root(), [folder])
    assert said in str(refused.value)
    assert all(problem.place.source.endswith("axial-single.yaml") for problem in refused.value.problems)
    assert all(problem.place.line > 0 for problem in refused.value.problems)
