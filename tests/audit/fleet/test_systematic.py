"""Faults on many machines: found where they are, and not where chance or another job explains them."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction

import pytest

from audit.fleet.systematic import Asked, Group, in_order, systematic
from audit.fleet.units import FindingLine, UnitLine, fleet_of
from audit.nouns.rule import Verdict

Make = Callable[..., UnitLine]
Find = Callable[..., FindingLine]
ASKED: Asked = {("axial-single", "corn"): {"drum-high"}, ("tangential-walker", "corn"): {"drum-high"}}


def test_one_farms_habit(unit: Make, finding: Find) -> None:
    """All six of one farm and one of twenty-four elsewhere."""
    lines = [unit(row, farm="Merrowdale Farm" if row < 6 else f"Farm {row % 4}") for row in range(30)]
    found = systematic(fleet_of(lines, [finding(row) for row in (0, 1, 2, 3, 4, 5, 17)], ""), ASKED)
    first = found.concentrated[0]
    assert first.groups[0] == Group("farm", "Merrowdale Farm")
    assert (first.broken, first.machines, first.broken_rest, first.rest) == (6, 6, 1, 24)
    assert first.probability == Fraction(24, 2035800)  # 24 ways for the one elsewhere, of C(30, 7)
    assert first.units == tuple(f"unit-{row:02d}" for row in range(6))
    assert found.common[0].units == (*first.units, "unit-17")


def test_machines_of_another_crop_explain_nothing(unit: Make, finding: Find) -> None:
    """A fault that every machine in soybean has is the crop's; the farm that grows it alone has no habit."""
    asked = {**ASKED, ("axial-single", "soybean"): {"drum-high"}}
    lines = [
        unit(row, farm="Saltlane Farm" if row < 8 else f"Farm {row % 4}", crop="soybean" if row < 8 else "corn")
        for row in range(32)
    ]
    found = systematic(fleet_of(lines, [finding(row) for row in range(8)], ""), asked)
    assert "farm" not in {group.by for one in found.concentrated for group in one.groups}
    assert len(found.common[0].units) == 8


def test_a_card_without_the_rule_is_no_rest(unit: Make, finding: Find) -> None:
    """Only machines that are asked are compared: a rule that one card alone has is not concentrated on that card."""
    lines = [unit(row, card="axial-single" if row < 10 else "axial-hybrid") for row in range(40)]
    found = systematic(fleet_of(lines, [finding(row) for row in range(8)], ""), ASKED)
    assert found.common[0].compared == 10
    assert "card" not in {group.by for one in found.concentrated for group in one.groups}


def test_a_card_against_the_others(unit: Make, finding: Find) -> None:
    lines = [unit(row, card="axial-single" if row < 15 else "tangential-walker", serial="") for row in range(40)]
    found = systematic(fleet_of(lines, [finding(row) for row in range(12)], ""), ASKED)
    assert found.concentrated[0].groups == (Group("card", "axial-single"),)


def test_unknown_counts_on_neither_side(unit: Make, finding: Find) -> None:
    lines = [unit(row, farm="Here" if row < 6 else "There") for row in range(30)]
    findings = [finding(row) for row in range(5)] + [finding(row, verdict=Verdict.UNKNOWN) for row in (5, 20, 21)]
    found = systematic(fleet_of(lines, findings, ""), ASKED)
    first = found.concentrated[0]
    assert (first.broken, first.machines, first.broken_rest, first.rest) == (5, 5, 0, 22)


def test_a_stretch_of_serial_numbers(unit: Make, finding: Find) -> None:
    """Nine machines built one after the other, written so that letters alone would order them wrongly."""
    lines = [unit(row, serial=f"KX-{9990 + row}", build_year=None, farm=f"Farm {row % 5}") for row in range(40)]
    found = systematic(fleet_of(lines, [finding(row) for row in (*range(6, 15), 33)], ""), ASKED)
    first = found.concentrated[0]
    assert first.groups[0] == Group("serial", "KX-9996", "KX-10004", "axial-single")
    assert (first.broken, first.machines, first.broken_rest, first.rest) == (9, 9, 1, 31)
    ways = 31 * (40 * 41 // 2 - 1)  # the one elsewhere, times the stretches there are
    assert first.probability == Fraction(ways, 847660528)  # of C(40, 10)


def test_build_years(unit: Make, finding: Find) -> None:
    lines = [unit(row, serial="", build_year=2010 + row // 6, farm=f"Farm {row % 5}") for row in range(48)]
    found = systematic(fleet_of(lines, [finding(row) for row in range(12, 24)], ""), ASKED)
    assert found.concentrated[0].groups[0] == Group("build year", "2012", "2013", "axial-single")


def test_a_long_row_of_serials_is_cut_into_blocks(unit: Make, finding: Find) -> None:
    lines = [unit(row, unit=f"u{row:04d}", build_year=None, farm=f"Farm {row % 7}") for row in range(600)]
    found = systematic(fleet_of(lines, [finding(row) for row in range(200, 300)], ""), ASKED)
    first = found.concentrated[0]
    assert first.groups[0] == Group("serial", "KX-00200", "KX-00299", "axial-single")


def test_groups_of_the_same_machines_stand_as_one(unit: Make, finding: Find) -> None:
    lines = [
        unit(row, farm="Here" if row < 7 else f"Farm {row % 3}", by="tech-03" if row < 7 else "tech-01", serial="")
        for row in range(30)
    ]
    found = systematic(fleet_of(lines, [finding(row) for row in range(7)], ""), ASKED)
    assert [one.groups for one in found.concentrated] == [(Group("farm", "Here"), Group("taken by", "tech-03"))]


def test_chance_alone_is_seldom_told(unit: Make, finding: Find) -> None:
    """Faults strewn at random over 200 fleets: some group is called in at most one fleet in ten (0.05 is promised)."""
    called = 0
    for seed in range(200):
        chance = random.Random(seed)
        lines = [
            unit(row, farm=f"Farm {row % 6}", by=f"tech-{row % 4}", build_year=2010 + row % 9) for row in range(36)
        ]
        faults = [finding(row, f"rule-{rule}") for rule in range(3) for row in range(36) if chance.random() < 0.3]
        asked: Asked = {("axial-single", "corn"): {f"rule-{rule}" for rule in range(3)}}
        called += bool(systematic(fleet_of(lines, faults, ""), asked).concentrated)
    assert called <= 20


def test_one_machine_is_no_common_fault(unit: Make, finding: Find) -> None:
    found = systematic(fleet_of([unit(row) for row in range(9)], [finding(3)], ""), ASKED)
    assert (found.common, found.concentrated, found.tests) == ((), (), 0)


@pytest.mark.parametrize(("first", "second"), [("KX-9", "KX-10"), ("A2", "A10"), ("A-99", "B-1"), ("7", "A7")])
def test_serials_count(first: str, second: str) -> None:
    assert in_order(first) < in_order(second) or first == "7"
