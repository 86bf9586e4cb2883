"""Every shaft and drive is drawn with its speeds; a plan shows both values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from api.drawings.drive_strokes import LOOKS, OTHER, look_of, positions, sizes
from api.drawings.drive_train import drive_train, values_after
from api.drawings.marks import told
from api.drawings.train_words import train_words
from audit.kinds import drive_kinds
from audit.measures import show
from audit.nouns.plan import Plan
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from audit.sheet import make_sheet
from tests.api.drawings.conftest import Audited
from tests.api.drawings.reading import outside, overlapping, read

Audit = Callable[[str, int], Audited]
CARDS = ("axial-single", "axial-hybrid", "tangential-walker")


@pytest.fixture(params=[True, False], ids=["narrow", "wide"])
def narrow(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


@pytest.mark.parametrize("name", CARDS)
def test_every_shaft_and_drive_of_a_bare_card_is_drawn(name: str, narrow: bool, rulebook: Rulebook) -> None:
    sheet = make_sheet(rulebook, rulebook.machines[name], rulebook.crops["corn"])
    found = read(drive_train(sheet, {}, narrow=narrow))
    assert [tip for tip in found.tips if tip in {s.title for s in sheet.card.shafts}]
    assert sorted(found.tips) == sorted(one.title for one in (*sheet.card.shafts, *sheet.card.drives))
    assert overlapping(found) == []
    assert outside(found) == []
    assert min(text.size for text in found.texts) >= 12
    assert "speed not known" in found.written()


@pytest.mark.parametrize(("crop", "unit"), [("corn", 3), ("corn", 8), ("corn", 14), ("corn", 20), ("soybean", 9)])
def test_speeds_are_those_of_the_facts(crop: str, unit: int, narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    one = audited(crop, unit)
    found = read(drive_train(one.sheet, one.values, one.report, rulebook.rules, narrow=narrow))
    assert overlapping(found) == []
    assert outside(found) == []
    for shaft in one.sheet.card.shafts:
        speed, low, high, measured = (
            one.values.get(f"{shaft.id}.{name}") for name in ("speed", "speed_low", "speed_high", "measured_speed")
        )
        said = next(part for part in found.told.split(". ") if part.startswith(f"{shaft.title}: "))
        assert (show(speed, "r/min") if isinstance(speed, float) else "speed not known") in said
        if isinstance(low, float) and isinstance(high, float) and high - low > 1:
            assert f"reach {show(low, '1')}–{show(high, '1')}" in said
        if isinstance(measured, float):
            assert f"{show(measured, '1')} measured" in said


def test_findings_stand_on_their_shaft_or_drive(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 3)
    drawn = {component.id for component in (*one.sheet.card.shafts, *one.sheet.card.drives)}
    found = told(one.report, one.sheet.card, rulebook.rules)
    train = train_words(one.sheet.card, one.values, None, found, 20)
    placed = [mark for shaft in train.walk() for mark in (*shaft.marks, *shaft.drive_marks)]
    assert sorted(mark.text for mark in placed) == sorted(item.mark.text for item in found if item.on in drawn)
    chopper = next(shaft for shaft in train.walk() if shaft.shaft.id == "chopper")
    assert chopper.drive_marks
    svg = read(drive_train(one.sheet, one.values, one.report, rulebook.rules, narrow=narrow))
    assert any(name.startswith("mark ") for name in svg.classes)


def test_findings_elsewhere_are_counted(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 22)
    report = replace(one.report, findings=tuple(f for f in one.report.findings if f.station == "cab"))
    found = read(drive_train(one.sheet, one.values, report, rulebook.rules))
    assert f"{len(report.findings)} findings are on none of these shafts and drives." in found.written()


def test_a_plan_shows_speed_and_position_before_and_after(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 3)
    plan = Planner(rulebook).plan(one.setup).branches[0].outcome
    assert isinstance(plan, Plan)
    after = values_after(one.sheet, one.setup, plan)
    before_speed, after_speed = (some["chopper.speed"] for some in (one.values, after))
    assert isinstance(before_speed, float)
    assert isinstance(after_speed, float)
    assert before_speed != after_speed
    found = read(drive_train(one.sheet, one.values, one.report, rulebook.rules, after, narrow))
    assert overlapping(found) == []
    assert outside(found) == []
    assert show(before_speed, "1") in found.written()
    assert show(after_speed, "r/min") in found.written()
    drive = next(drive for drive in one.sheet.card.drives if drive.id == "chopper_drive")
    assert positions(drive, one.values) in found.told
    assert positions(drive, after) in found.told
    changed = sum("changed" in name for name in found.classes)
    assert changed == sum(one.values[f"{s.id}.speed"] != after[f"{s.id}.speed"] for s in one.sheet.card.shafts)
    same = read(drive_train(one.sheet, one.values, after=one.values, narrow=narrow))
    assert "plan" not in same.written()
    assert not any("changed" in name for name in same.classes)


def test_the_same_arguments_give_the_same_bytes(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    drawings = {
        drive_train(one.sheet, one.values, one.report, rulebook.rules, narrow=narrow)
        for one in (audited("corn", 5), audited("corn", 5))
    }
    assert len(drawings) == 1


def test_every_kind_of_drive_has_a_stroke_and_says_its_sizes(rulebook: Rulebook) -> None:
    assert set(LOOKS) == set(drive_kinds())
    sheet = make_sheet(rulebook, rulebook.machines["axial-single"], rulebook.crops["corn"])
    by_id = {drive.id: drive for drive in sheet.card.drives}
    said = {name: sizes(by_id[name], sheet.constants).replace("\u00a0", " ") for name in by_id}
    assert said["separator_drive"] == "Ø 280 → 400"
    assert said["main_gears"] == "30 → 45 teeth"
    assert said["fan_drive"] == "Ø 180–290 → 320–213"
    assert said["rotor_gears"] == "4.33 or 2.38 : 1"
    assert said["feeder_drive_chain"] == "17 or 21 → 17 teeth"
    assert said["clean_elevator_drive"] == ""
    assert positions(by_id["beater_drive"], {}) == "position not known"
    assert positions(by_id["beater_drive"], {"beater_drive.driving": "small"}) == "small on not known"
    assert look_of(replace(by_id["fan_drive"], kind="hydrostatic")) is OTHER


def test_a_drive_of_another_kind_still_draws(narrow: bool, audited: Audit) -> None:
    one = audited("corn", 5)
    card = replace(one.sheet.card, drives=tuple(replace(drive, kind="hydrostatic") for drive in one.sheet.card.drives))
    found = read(drive_train(replace(one.sheet, card=card), one.values, narrow=narrow))
    assert overlapping(found) == []
    assert "other drive" in found.written()


def test_hostile_titles_are_text(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    nasty = "<a href='x'>&\x07\u202e" + "w" * 120
    one = audited("corn", 5)
    card = replace(
        one.sheet.card, title=nasty, shafts=tuple(replace(s, title=nasty) for s in one.sheet.card.shafts),
        drives=tuple(replace(d, title=nasty) for d in one.sheet.card.drives),
    )  # fmt: skip
    found = read(drive_train(replace(one.sheet, card=card), one.values, one.report, rulebook.rules, narrow=narrow))
    assert overlapping(found) == []
    assert outside(found) == []
    assert "<a href" in found.title
