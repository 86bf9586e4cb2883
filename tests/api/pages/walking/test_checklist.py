"""The checklist holds all of a card once, in walk-round order, with cautions where the hand goes."""

from __future__ import annotations

from typing import Any

import pytest

from api.environment import rulebook
from api.pages.languages import languages
from api.pages.view import View
from api.pages.walking.checklist import Known, checklist, known_of
from audit.auditor import Auditor
from audit.nouns.quantity import Role
from audit.nouns.setup import Setup, Taken, Unit

UNIT = Unit("unit-07", "axial-single", "KX-01822", 2021)


def made(units: str = "card", tag: str = "en", unit: Unit = UNIT, known: dict[str, Known] | None = None) -> Any:
    view = View(None, languages()[tag], units)
    return checklist(view, Auditor(rulebook()), unit, "corn", known or {})


def things(plain: Any) -> dict[str, Any]:
    return {one["name"]: one for station in plain["stations"] for one in station["things"]}


@pytest.mark.parametrize("card", sorted(rulebook().machines))
def test_everything_of_a_card_comes_once_in_walk_round_order(card: str) -> None:
    sheet = Auditor(rulebook()).sheet(card, "corn")
    plain = made(unit=Unit("u", card))
    names = [one["name"] for station in plain["stations"] for one in station["things"]]
    asked = {name for name, one in sheet.names.items() if one.role in (Role.SETTING, Role.READING, Role.EVENT)}
    assert len(names) == len(set(names))
    assert asked <= set(names)
    order = [station["id"] for station in plain["stations"] if station["id"] not in ("job", "rest")]
    assert order == [one.id for one in sheet.card.stations if one.id in order]


def test_what_a_serial_decides_is_not_asked_and_what_it_leaves_open_is() -> None:
    decided = things(made())
    assert not any(name.startswith("build.") for name in decided)
    open_builds = things(made(unit=Unit("unit-08", "axial-single")))
    assert open_builds["build.shoe.stroke"]["section"] == "fitted"
    assert "build.shoe.stroke" not in made(unit=Unit("unit-08", "axial-single"))["values"]


def test_cautions_stand_on_the_thing_they_are_for() -> None:
    found, said = things(made()), rulebook().cautions
    assert said["feeder-stop"] in found["feeder.drum"]["cautions"]
    assert said["sharp-knives"] in found["header.knife"]["cautions"]
    assert said["chopper-rundown"] in found["chopper.stationary_knives"]["cautions"]
    for one in found.values():
        if one["when"] != "stopped" and one["role"] in ("setting", "reading"):
            assert said["engine-must-run"] in one["cautions"]
            assert said["feeder-stop"] not in one["cautions"]


def test_each_position_that_can_be_drawn_has_its_own_picture() -> None:
    for name in ("feeder.drum", "beater_drive.driving", "beater_drive.driven", "deflector.position"):
        drawn = [word["picture"] for word in things(made())[name]["words"]]
        assert len(set(drawn)) == 2
        assert all(one.startswith("<svg") and "style=" not in one for one in drawn)


def test_a_reader_s_units_come_first_and_words_stay_as_a_setup_writes_them() -> None:
    german = things(made("si", "de"))
    assert german["feeder.sheave_gap"]["units"][0]["id"] == "mm"
    assert things(made("us"))["job.ground_speed"]["units"][0]["id"] == "mph"
    assert [word["id"] for word in german["feeder.drum"]["words"]] == ["raised", "lowered"]
    assert german["feeder.drum"]["words"][0]["text"] != "raised"


def test_the_newest_known_answer_is_shown_and_nothing_of_another_crop() -> None:
    def setup(crop: str, **values: Any) -> Setup:
        return Setup(UNIT, crop, "", Taken(), {name.replace("__", "."): one for name, one in values.items()}, {})

    names = Auditor(rulebook()).sheet("axial-single", "corn").names
    newest = setup("corn", feeder__drum=(None, None), rotor__speed=310.0)
    older = setup("soybean", feeder__drum=("raised", None), rotor__speed=600.0, job__condition="wet")
    known = known_of([(newest, 2.0), (older, 1.0)], "corn", names)
    assert known["rotor.speed"] == Known(310.0, 2.0)
    assert known["feeder.drum"] == Known(("raised", None), 1.0)
    assert "job.condition" not in known
    assert things(made(known=known))["feeder.drum"]["last"]["shown"] == ["raised", ""]
