"""What a setup may carry is judged: no quantity, position or state is taken and then left unlooked at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fnmatch import fnmatchcase
from itertools import product

import pytest

from audit.auditor import Auditor
from audit.conditions import comparisons
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import Same, Verdict
from audit.sheet import Sheet
from tests.audit.planning.plain import Asked
from tests.rules.test_cases import CARDS, CROPS

CARRIED = (Role.SETTING, Role.READING, Role.EVENT, Role.JOB, Role.UNIT, Role.BUILD)

HISTORY = "the unit's history counts hours from it and says what is due"
CONTEXT = {
    "job.crop": "chooses the crop card, by which everything is judged",
    "job.hectares": "the time left is shown; no area is too large",
    "job.header_rows": "the width that rows make is shown; a plan can't change what the job is",
    "job.row_spacing": "as job.header_rows",
    "unit.engine_hours": HISTORY,
    "unit.build_year": "decides which variant is fitted",
    "build.walkers.bearings": "the state of either kind is one reading, judged alike; the variant tells the part to order",
    "fire.bay_cleaned": HISTORY + "; the reading of the bay itself is judged",
    "chopper.knives_replaced": HISTORY + "; the balance afterwards is a reading",
    "chopper.bank_tightened": HISTORY + "; how tight the bank is is a reading",
    "feeder.slats_replaced": HISTORY + "; slats leave the chain's tension as it was",
    "*_elevator.chain_replaced": HISTORY + "; the tension is felt by hand, two readings",
    "*_bearing.greased": HISTORY,
    "*_bearing.replaced": HISTORY,
    "*_variable_drive.replaced": HISTORY + "; the sheaves' springs set the tension, nobody does",
    "*_variable_drive.tensioned": "a variable belt has no tension that is set; the feeder's is adjusted, and that is judged",
    "fan_drive.replaced": "as of the other variable belts",
    "fan_drive.tensioned": "as of the other variable belts",
    "rotor_variable_drive.idler_rise": "has no idler by its card",
    "cylinder_variable_drive.idler_rise": "has no idler by its card",
    "fan_drive.idler_rise": "has no idler by its card",
}
"""What a setup may carry without any rule looking at it, and why."""

ALIKE = {("chopper.knife_edges", "rounded"): "rounded still cuts"}
"""States beside the right one that nothing finds fault with, and why."""

BY_ANY_CROP = {"filler_plates": "in small grain either is right, by how hard the heads thresh"}
"""Positions of which some crops take any, and why."""

SIDES = {"feeder.wear_strip_left": "a strip wears for itself; each side is held to what must be left of it"}
"""Numbers taken left and right that are not compared with each other, and why."""


def judged(sheet: Sheet) -> Iterator[Asked]:
    return (Asked(sheet, question) for question in sheet.questions)


def rows(asked: Asked, names: Mapping[str, Quantity]) -> Iterator[tuple[Value | Sided, ...]]:
    """Every combination of positions and states of a question's inputs, with numbers and times not known."""
    tried: list[list[Value | Sided]] = []
    for name in asked.inputs:
        values = states(names[name]) or [None]
        tried.append([(value, value) if names[name].sided else value for value in values])
    yield from product(*tried)


def states(quantity: Quantity) -> list[Value]:
    """The states of a word or of a yes or no."""
    return [True, False] if quantity.form is Form.YES_NO else [word for word, _ in quantity.words]


def faults(auditor: Auditor, card: str, crop: str) -> set[tuple[str, Value]]:
    """States for which some question is broken."""
    sheet = auditor.sheet(card, crop)
    found: set[tuple[str, Value]] = set()
    for asked in judged(sheet):
        for row in rows(asked, sheet.names):
            if asked.verdict(row) is Verdict.BROKEN:
                one_side = (value[0] if isinstance(value, tuple) else value for value in row)
                found |= set(zip(asked.inputs, one_side, strict=True))
    return found


def test_nothing_is_asked_and_never_judged(auditor: Auditor) -> None:
    """Every quantity leads to some question, directly or through what is computed from it; or there is a reason."""
    carried: set[str] = set()
    looked_at: set[str] = set()
    for card in CARDS:
        for crop in CROPS:
            sheet = auditor.sheet(card, crop)
            carried |= {name for name, quantity in sheet.names.items() if quantity.role in CARRIED}
            looked_at |= {name for asked in judged(sheet) for name in asked.inputs}
    unjudged = carried - looked_at
    assert sorted(name for name in unjudged if not any(fnmatchcase(name, pattern) for pattern in CONTEXT)) == []
    assert [pattern for pattern in CONTEXT if not any(fnmatchcase(name, pattern) for name in unjudged)] == []


@pytest.mark.parametrize("card", CARDS)
def test_of_the_states_of_a_thing_one_is_right(card: str, auditor: Auditor) -> None:
    """A state that no rule minds would pass for sound."""
    found = set().union(*(faults(auditor, card, crop) for crop in CROPS))
    minded = {name for name, _ in found}
    names = auditor.sheet(card, "corn").names
    for name in sorted(minded):
        if names[name].role in (Role.SETTING, Role.READING):
            unminded = [state for state in states(names[name]) if (name, state) not in found]
            assert len([state for state in unminded if (name, state) not in ALIKE]) <= 1, f"{name}: {unminded}"


@pytest.mark.parametrize("card", CARDS)
def test_every_position_is_judged_by_the_crop(card: str, auditor: Auditor) -> None:
    """A lever, step or sprocket with several positions is wrong in one of them, whatever the crop."""
    for crop in sorted(CROPS):
        names = auditor.sheet(card, crop).names
        minded = {name for name, _ in faults(auditor, card, crop)}
        positions = {
            name for name, quantity in names.items()
            if quantity.role is Role.SETTING and quantity.form is Form.WORD and len(quantity.words) > 1
        }  # fmt: skip
        free = {name for name in positions - minded if name.partition(".")[2] not in BY_ANY_CROP}
        assert sorted(free) == [], crop


@pytest.mark.parametrize("card", CARDS)
def test_a_speed_that_is_set_is_held_to_a_speed_that_is_measured(card: str, auditor: Auditor) -> None:
    """A number in the cab says what was asked for, not what turns."""
    sheet = auditor.sheet(card, "corn")
    set_by_number = {name for name, q in sheet.names.items() if q.role is Role.SETTING and q.unit == "r/min"}
    measured = {
        name for asked in judged(sheet) if any(other.endswith(".measured_speed") for other in asked.inputs)
        for name in asked.inputs
    }  # fmt: skip
    assert set_by_number
    assert sorted(set_by_number - measured) == []


@pytest.mark.parametrize("card", CARDS)
def test_left_and_right_are_compared(card: str, auditor: Auditor) -> None:
    """Or there is a reason why the difference says nothing."""
    sheet = auditor.sheet(card, "corn")
    sided = {name for name, quantity in sheet.names.items() if quantity.sided and quantity.form is Form.NUMBER}
    compared = {
        compare.quantity for question in sheet.questions for compare in comparisons(question.hold)
        if isinstance(compare.relation, Same) and not compare.relation.other
    }  # fmt: skip
    assert sorted(sided - compared) == sorted(SIDES)
