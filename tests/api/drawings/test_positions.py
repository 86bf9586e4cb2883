"""Every setting can be drawn in every position, as found against as wanted."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from api.drawings.position_pictures import PICTURES
from api.drawings.positions import finding_positions, pictured_once, plan_positions, position
from audit.measures import dimension_of, to_canonical
from audit.nouns.plan import Plan
from audit.nouns.quantity import Form, Quantity, Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.planning.planner import Planner
from tests.api.drawings.conftest import Audited
from tests.api.drawings.reading import outside, overlapping, read

Audit = Callable[[str, int], Audited]
CARDS = ("axial-single", "axial-hybrid", "tangential-walker")


def settings(rulebook: Rulebook, card: str) -> dict[str, Quantity]:
    names = on_card(rulebook.machines[card], rulebook.vocabulary)
    return {name: quantity for name, quantity in names.items() if quantity.role is Role.SETTING}


@pytest.mark.parametrize("card", CARDS)
def test_every_setting_draws_differently_in_each_position(card: str, rulebook: Rulebook) -> None:
    names = settings(rulebook, card)
    for name, quantity in names.items():
        words = [word for word, _ in quantity.words]
        values: list[str | float | None] = [*words, None]
        if quantity.form is Form.NUMBER:
            assert quantity.lowest is not None
            assert quantity.highest is not None
            dimension = dimension_of(quantity.unit)
            values = [to_canonical(end, quantity.unit, dimension) for end in (quantity.lowest, quantity.highest)] + [
                None
            ]
        partner = {f"{name.rpartition('.')[0]}.{end}": "large" for end in ("driving", "driven")}
        drawings = []
        for value in values:
            svg = position(names, name, {**partner, name: value}, {})
            found = read(svg)
            assert overlapping(found) == [], (name, value)
            assert outside(found) == []
            assert min(text.size for text in found.texts) >= 12
            assert value is not None or "not known" in found.written()
            drawings.append(re.sub(r"<(text|desc|title)\b.*?</\1>", "", svg))
        assert len(set(drawings)) == len(values), name


def test_every_picture_belongs_to_a_setting_that_exists(rulebook: Rulebook) -> None:
    every = {name: quantity for card in CARDS for name, quantity in settings(rulebook, card).items()}
    for key, picture in PICTURES.items():
        here = [name for name in every if name == key or (key[0] == "." and name.endswith(key))]
        assert here, key
        for name in here:
            assert all(f"{name.rpartition('.')[0]}.{part}" in every for part in picture.parts)


def test_both_sides_stand_beside_each_other_and_only_what_moves_is_marked(rulebook: Rulebook) -> None:
    names = settings(rulebook, "axial-single")
    svg = position(names, "feeder.drum", {"feeder.drum": ("raised", "lowered")}, {"feeder.drum": "raised"})
    found = read(svg)
    assert [text.text for text in found.texts if text.text.startswith(("As found", "Wanted"))] == [
        "As found, left", "As found, right", "Wanted, left", "Wanted, right",
    ]  # fmt: skip
    assert [name for name in found.classes if name.startswith("panel")] == ["panel", "panel", "panel", "panel changed"]
    assert (
        found.told == "As found, left: raised; As found, right: lowered; Wanted, left: raised; Wanted, right: raised."
    )


def test_both_ends_of_a_stepped_drive_are_one_picture(rulebook: Rulebook) -> None:
    names = settings(rulebook, "axial-single")
    found = {"beater_drive.driving": "small", "beater_drive.driven": "large"}
    wanted = {"beater_drive.driving": "large", "beater_drive.driven": "small"}
    ends = [position(names, name, found, wanted) for name in found]
    assert ends[0].partition("</desc>")[2].count("<path") == ends[1].partition("</desc>")[2].count("<path")
    assert "driving small, driven large" in read(ends[0]).told
    assert "driving large, driven small" in read(ends[0]).told
    assert pictured_once(names, [*found, "rotor.range"]) == ["beater_drive.driving", "rotor.range"]


def test_a_setting_that_nobody_drew_is_boxes_with_its_words() -> None:
    quantity = Quantity(
        "gadget.lever", Role.SETTING, Form.WORD, "Lever", words=(("front", ""), ("rear", "at the rear"))
    )
    found = read(
        position({"gadget.lever": quantity}, "gadget.lever", {"gadget.lever": "front"}, {"gadget.lever": "rear"})
    )
    assert [text.text for text in found.texts].count("front") == 3  # both boxes, and under the first
    assert "rear: at the rear" in found.written()


def test_a_position_that_the_picture_lacks_is_boxes(rulebook: Rulebook) -> None:
    names = settings(rulebook, "axial-single")
    drum = names["feeder.drum"]
    names["feeder.drum"] = replace(drum, words=(*drum.words, ("middle", "")))
    drawn = position(names, "feeder.drum", {"feeder.drum": "raised"}, {})
    boxes = position(names, "feeder.drum", {"feeder.drum": "middle"}, {})
    assert "<circle" in drawn
    assert "<circle" not in boxes
    assert "middle" in read(boxes).written()


def test_many_words_show_only_those_that_are_used() -> None:
    words = tuple((f"hole-{n}", "") for n in range(1, 15))
    quantity = Quantity("gadget.hole", Role.SETTING, Form.WORD, "Hole", words=words)
    found = read(position({"gadget.hole": quantity}, "gadget.hole", {"gadget.hole": "hole-9"}, {}))
    assert {text.text for text in found.texts if text.text.startswith("hole")} == {"hole-9"}


def test_yes_and_no_are_boxes_too() -> None:
    quantity = Quantity("gadget.pin", Role.SETTING, Form.YES_NO, "Pin is in")
    found = read(position({"gadget.pin": quantity}, "gadget.pin", {"gadget.pin": False}, {"gadget.pin": True}))
    assert found.told == "As found: no; Wanted: yes."


def test_a_plans_moves_are_drawn_once_each(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 3)
    plan = Planner(rulebook).plan(one.setup).branches[0].outcome
    assert isinstance(plan, Plan)
    drawn = plan_positions(one.sheet, rulebook.vocabulary, one.values, plan)
    moved = {
        change.quantity
        for step in plan.steps
        for change in step.changes
        if change.before != change.after and one.sheet.names[change.quantity].role is Role.SETTING
    }
    assert moved
    assert drawn.keys() == moved
    assert all("panel changed" in read(svg).classes for svg in drawn.values())


@pytest.mark.parametrize(
    ("crop", "unit", "name", "title"),
    [("soybean", 5, "chopper_drive.driving", "Chopper drive: "), ("corn", 2, "feeder.drum", "Height of the drum")],
)
def test_a_finding_shows_the_position_its_rule_wants(
    crop: str, unit: int, name: str, title: str, rulebook: Rulebook, audited: Audit
) -> None:
    one = audited(crop, unit)
    drawn = [
        svg
        for finding in one.report.findings
        for key, svg in finding_positions(one.sheet, rulebook.vocabulary, one.values, finding).items()
        if key == name
    ]
    assert drawn
    assert any("panel changed" in read(svg).classes for svg in drawn)
    assert all(read(svg).title.startswith(title) for svg in drawn)


def test_hostile_words_are_text() -> None:
    nasty = '"><script>\x01' + "x" * 90
    quantity = Quantity("gadget.lever", Role.SETTING, Form.WORD, nasty, words=((nasty, nasty),))
    found = read(position({"gadget.lever": quantity}, "gadget.lever", {"gadget.lever": nasty}, {}, nasty))
    assert overlapping(found) == []
    assert outside(found) == []
