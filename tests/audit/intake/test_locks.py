"""Reading what is asked of a plan: what is taken, and every mistake with its place and what to do."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest

from audit.intake.json_text import tree_of
from audit.intake.locks import read_builds, read_card, read_changes, read_crop, read_header, read_locks
from audit.intake.setups import read_setup
from audit.intake.tree import Node, Problems
from audit.nouns.machine import MachineCard
from audit.nouns.plan import Locks
from audit.nouns.problem import NOWHERE, Place
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup

SETUP: dict[str, Any] = {
    "unit": {"id": "u", "card": "axial-single", "fitted": {"shoe.stroke": "long"}},
    "job": {"crop": "corn", "ground_speed": "6 km/h", "header": {"kind": "corn-head", "rows": 8}},
    "settings": {"feeder.drum": {"left": "raised", "right": "lowered"}, "rotor.speed": "310 r/min"},
    "readings": {"feeder.sheave_gap": "5/32 in"},
    "events": {"feeder.drum_moved": "2026-08-10T09:00:00Z"},
}
AT = Place("option")


@pytest.fixture(scope="module")
def card(rulebook: Rulebook) -> MachineCard:
    return rulebook.machines["axial-single"]


@pytest.fixture(scope="module")
def before(rulebook: Rulebook) -> Setup:
    return read_setup(json.dumps(SETUP).encode(), "", rulebook)


def told(problems: Problems) -> list[str]:
    return sorted(str(problem) for problem in problems.found)


def locks(plain: object, card: MachineCard, rulebook: Rulebook) -> tuple[Locks, list[str]]:
    problems = Problems()
    found = read_locks(tree_of(plain, Place(path="locks"), problems), card, rulebook, problems)
    return found, told(problems)


# ---------------------------------------------------------------------------------------------------------------- locks


@pytest.mark.parametrize(
    "name",
    ["feeder.drum", "feeder.sheave_gap", "feeder.drum_moved", "job.header_kind", "shoe", "cleaning", "clean_elevator",
     "move-feeder-drum"],
)  # fmt: skip
def test_what_may_be_left(card: MachineCard, rulebook: Rulebook, name: str) -> None:
    """A setting, a reading, an event, the header, a part, a station, a component and a procedure."""
    assert locks({"leave": [name, name]}, card, rulebook) == (Locks(leave=(name,)), [])


def test_everything_at_once(card: MachineCard, rulebook: Rulebook) -> None:
    found, said = locks(
        {"leave": ["rotor.range"], "lacking": ["LIFTING Strap", "drive sprocket"], "people": 2, "minutes": 90.5},
        card,
        rulebook,
    )
    assert said == []
    assert found == Locks(("rotor.range",), ("lifting strap", "drive sprocket"), 2, 90.5)


@pytest.mark.parametrize("plain", [{}, {"leave": None, "lacking": None, "people": None, "minutes": None}])
def test_nothing_is_locked(card: MachineCard, rulebook: Rulebook, plain: object) -> None:
    assert locks(plain, card, rulebook) == (Locks(), [])


@pytest.mark.parametrize(
    ("plain", "says"),
    [
        ({"leave": ["feeder.dru"]}, "locks/leave/0: machine card axial-single has no setting, reading, part or station "
         "'feeder.dru', and no procedure is called so. Did you mean 'feeder.drum'?"),
        ({"leave": ["feeder.drum", "zzz"]}, "locks/leave/1: machine card axial-single has no setting, reading, part or "
         "station 'zzz', and no procedure is called so. 'setup-audit card show axial-single' lists them."),
        ({"leave": ["rotor.tip_speed"]}, "locks/leave/0: 'rotor.tip_speed' is computed or stated by the card; "
         "no work moves it. Leave it out."),
        ({"leave": ["build.shoe.stroke"]}, "locks/leave/0: 'build.shoe.stroke' is computed or stated by the card; "
         "no work moves it. Leave it out."),
        ({"leave": ["job.crop"]}, "locks/leave/0: 'job.crop' is computed or stated by the card; no work moves it. "
         "Leave it out."),
        ({"leave": [1]}, "locks/leave/0: 'leave' must be text, not 1. Put it in quotes."),
        ({"leave": "feeder.drum"}, "locks/leave: 'leave' must be a list, not 'feeder.drum'. Put it in [ ]."),
        ({"lacking": ["lifting strp"]}, "locks/lacking/0: no procedure takes a part or tool called 'lifting strp'. "
         "Did you mean 'lifting strap'?"),
        ({"lacking": ["zzz"]}, "locks/lacking/0: no procedure takes a part or tool called 'zzz'. "
         "'setup-audit plan' names every part and tool that it takes."),
        ({"people": 0}, "locks/people: 'people' is 0; it must be a whole number, at least 1."),
        ({"people": 1.5}, "locks/people: 'people' is 1.5; it must be a whole number, at least 1."),
        ({"people": True}, "locks/people: 'people' is true; it must be a whole number, at least 1."),
        ({"people": "2"}, "locks/people: 'people' is '2'; it must be a whole number, at least 1."),
        ({"minutes": -1}, "locks/minutes: 'minutes' is -1; it must be a number, at least 0."),
        ({"minutes": [1]}, "locks/minutes: 'minutes' is a list; it must be a number, at least 0."),
        ({"leaves": []}, "locks/leaves: 'locks' has no key 'leaves'. Did you mean 'leave'?"),
        ([], "locks: 'locks' must be a mapping, not a list."),
    ],
)  # fmt: skip
def test_bad_locks(card: MachineCard, rulebook: Rulebook, plain: object, says: str) -> None:
    assert locks(plain, card, rulebook)[1] == [says]


@pytest.mark.parametrize("minutes", [float("nan"), float("inf")])
def test_minutes_from_a_command_line_are_finite(card: MachineCard, rulebook: Rulebook, minutes: float) -> None:
    problems = Problems()
    read_locks(Node({"minutes": Node(minutes, AT)}, AT), card, rulebook, problems)
    assert told(problems) == [f"option: 'minutes' is {minutes}; it must be a number, at least 0."]


def test_every_mistake_is_told(card: MachineCard, rulebook: Rulebook) -> None:
    plain = {"leave": ["zzz", "yyy"], "lacking": ["xxx"], "people": 0, "minutes": -1, "more": 1}
    assert len(locks(plain, card, rulebook)[1]) == 6


# ------------------------------------------------------------------------------------------------ crop, header, card, build


@pytest.mark.parametrize("name", ["soybean", "GLXMA", "Soya Bean"])
def test_a_crop_by_any_of_its_names(card: MachineCard, rulebook: Rulebook, name: str) -> None:
    problems = Problems()
    assert (read_crop(Node(name, AT), card, rulebook, problems), bool(problems)) == ("soybean", False)


def test_crops_that_are_not(card: MachineCard, rulebook: Rulebook) -> None:
    problems = Problems()
    for name in ("soy been", "zzz", 1, " ", None):
        assert read_crop(Node(name, AT), card, rulebook, problems) == ""
    assert told(problems) == [
        "option: must be the name of a crop, not ' '.",
        "option: must be the name of a crop, not 1.",
        "option: must be the name of a crop, not null.",
        "option: no crop card is called 'soy been'. Did you mean 'soya bean'?",
        f"option: no crop card is called 'zzz'. Known: {', '.join(rulebook.crops)}.",
    ]


def test_a_crop_that_the_card_is_not_for(card: MachineCard, rulebook: Rulebook) -> None:
    few = tuple(target for target in card.targets if target[0] in ("every", "corn", "wheat"))
    problems = Problems()
    only = dataclasses.replace(card, targets=few)
    assert read_crop(Node("maize", AT), only, rulebook, problems) == "corn"
    assert not problems
    assert read_crop(Node("rice", AT), only, rulebook, problems) == ""
    assert told(problems) == [
        "option: machine card axial-single states no targets for rice, so it can't be set for it. "
        "It states targets for corn, wheat."
    ]
    of_none = dataclasses.replace(card, targets=())
    assert read_crop(Node("rice", AT), of_none, rulebook, Problems()) == "rice"


def test_headers(card: MachineCard, rulebook: Rulebook) -> None:
    problems = Problems()
    for value, found in ((None, ""), ("draper", "draper"), ("drapr", ""), (1, "")):
        assert read_header(Node(value, AT), card, rulebook, problems) == found
    assert read_header(None, card, rulebook, problems) == ""
    words = "corn-head, rigid-platform, flex-platform, draper, pickup, row-crop-head, stripper-header"
    assert told(problems) == [
        f"option: no header kind is called 'drapr'; it must be one of: {words}. Did you mean 'draper'?",
        f"option: no header kind is called 1; it must be one of: {words}.",
    ]


def test_cards(rulebook: Rulebook) -> None:
    problems = Problems()
    found = read_card(Node("axial-single", AT), rulebook, problems)
    assert found is rulebook.machines["axial-single"]
    assert not problems
    assert read_card(Node("axial-singel", AT), rulebook, problems) is None
    assert read_card(Node([], AT), rulebook, problems) is None
    assert "option: no machine card is called 'axial-singel'. Did you mean 'axial-single'?" in told(problems)
    assert len(problems.found) == 2


def test_builds(card: MachineCard) -> None:
    problems = Problems()
    tree = tree_of({"shoe.stroke": "long", "unloading.rate": None}, AT, problems)
    assert read_builds(tree, card, problems) == (("build.shoe.stroke", "long"),)
    assert not problems
    bad = tree_of({"shoe.strok": "long", "shoe.stroke": "longer", "unloading.rate": 1}, NOWHERE, problems)
    assert read_builds(bad, card, problems) == ()
    assert read_builds(Node("long", AT), card, problems) == ()
    assert told(problems) == [
        "option: 'fitted' must be a mapping, not 'long'.",
        "shoe.strok: machine card axial-single has no build 'shoe.strok'. Did you mean 'shoe.stroke'?",
        "shoe.stroke: is 'longer'; it must be one of: long, short.",
        "unloading.rate: is 1; it must be one of: standard, high.",
    ]


# -------------------------------------------------------------------------------------------------------------- changes


def changed(before: Setup, rulebook: Rulebook, **sections: Any) -> tuple[Setup, list[str]]:
    problems = Problems()
    found = read_changes(sections, before, rulebook, problems, lambda path: Place(path=f"changes/{path}"))
    return found, told(problems)


@pytest.mark.parametrize(
    ("sections", "name", "value"),
    [
        ({"settings": {"rotor.speed": "320 r/min"}}, "rotor.speed", 320.0),
        ({"settings": {"rotor.speed": None}}, "rotor.speed", None),
        ({"settings": {"feeder.drum": "raised"}}, "feeder.drum", ("raised", "raised")),
        ({"settings": {"feeder.drum": {"right": "raised"}}}, "feeder.drum", ("raised", "raised")),
        ({"settings": {"feeder.drum": {"left": "lowered"}}}, "feeder.drum", ("lowered", "lowered")),
        ({"settings": {"feeder.drum": {"left": None}}}, "feeder.drum", (None, "lowered")),
        ({"settings": {"rotor.concave_gap": {"left": "9 mm"}}}, "rotor.concave_gap", (9.0, None)),
        ({"settings": {"thresher.concave_gap": {"left": "9 mm"}}}, "rotor.concave_gap", (9.0, None)),
        ({"settings": {"thresher.concave_gap": "9 mm"}}, "rotor.concave_gap", (9.0, 9.0)),
        ({"readings": {"feeder.sheave_gap": "1/8 in"}}, "feeder.sheave_gap", 3.175),
        ({"events": {"feeder.drum_moved": "1970-01-02T00:00:00Z"}}, "feeder.drum_moved", 86400.0),
        ({"job": {"ground_speed": "3.6 km/h"}}, "job.ground_speed", 1.0),
        ({"job": {"header": {"kind": "draper"}}}, "job.header_kind", "draper"),
        ({"job": {"header": {"kind": None}}}, "job.header_kind", None),
        ({"job": {"crop": "maize"}}, "job.crop", "corn"),
        ({"fitted": {"shoe.stroke": "short"}}, "build.shoe.stroke", "short"),
        ({"fitted": {"shoe.stroke": None}}, "build.shoe.stroke", None),
        ({"fitted": {"unloading.rate": "high"}}, "build.unloading.rate", "high"),
    ],
)
def test_one_change_changes_one_thing(
    before: Setup, rulebook: Rulebook, sections: dict[str, Any], name: str, value: Any
) -> None:
    after, said = changed(before, rulebook, **sections)
    assert said == []
    assert after.values.get(name) == pytest.approx(value) if isinstance(value, float) else after.values[name] == value
    others = {key for key, kept in after.values.items() if before.values.get(key) != kept} - {name}
    assert others == set()
    assert before.values.keys() <= after.values.keys()
    assert (after.unit.id, after.taken) == (before.unit.id, before.taken)
    assert after.crop == after.values["job.crop"]
    assert after.header_kind == (after.values["job.header_kind"] or "")


def test_nothing_changed_is_the_same(before: Setup, rulebook: Rulebook) -> None:
    empty: dict[str, Any] = dict.fromkeys(("settings", "readings", "events", "job", "fitted"))
    assert changed(before, rulebook) == changed(before, rulebook, **empty) == (before, [])


def test_a_header_that_is_not_known(before: Setup, rulebook: Rulebook) -> None:
    for header in (None, {}, {"kind": None, "rows": None}):
        after, said = changed(before, rulebook, job={"header": header})
        assert said == []
        known = {key: after.values.get(key) for key in ("job.header_kind", "job.header_rows")}
        assert known == (
            {"job.header_kind": "corn-head", "job.header_rows": 8} if header == {} else dict.fromkeys(known)
        )
        assert after.values["job.ground_speed"] == before.values["job.ground_speed"]


def test_a_build_that_the_changes_do_not_name_stays(before: Setup, rulebook: Rulebook) -> None:
    after, _ = changed(before, rulebook, fitted={"unloading.rate": "high"})
    assert after.unit.fitted == (("shoe.stroke", "long"), ("unloading.rate", "high"))


@pytest.mark.parametrize(
    ("sections", "says"),
    [
        ({"setings": {}}, "changes/setings: 'changes' has no key 'setings'. Did you mean 'settings'?"),
        ({"settings": {"feeder.dru": 1}}, "changes/settings/feeder.dru: machine card axial-single has no setting of "
         "that name. Did you mean 'feeder.drum'?"),
        ({"settings": {"feeder.drum": {"left": "up"}}}, "changes/settings/feeder.drum/left: is 'up'; it must be one "
         "of: raised, lowered."),
        ({"settings": {"rotor.speed": "310 mm"}}, "changes/settings/rotor.speed: 'mm' is a unit of length, a rotation "
         "is wanted; write one of: r/min."),
        ({"settings": {"feeder.sheave_gap": "1 mm"}}, "changes/settings/feeder.sheave_gap: 'feeder.sheave_gap' is a "
         "reading. Move it to 'readings'."),
        ({"settings": []}, "changes/settings: 'settings' must be a mapping, not a list."),
        ({"job": []}, "changes/job: 'job' must be a mapping, not a list."),
        ({"job": {"crop": "soya"}}, "changes/job/crop: is soybean; a what-if keeps the crop. Plan a changeover to another."),
        ({"job": {"crop": "korn"}}, "changes/job/crop: no crop card is called 'korn'. Did you mean 'corn'?"),
        ({"job": {"crop": None}}, "changes/job/crop: 'crop' must be text, not null. Put it in quotes."),
        ({"fitted": {"shoe.strok": "long"}}, "changes/fitted/shoe.strok: this card has no build 'shoe.strok'. "
         "Did you mean 'shoe.stroke'?"),
        ({"fitted": []}, "changes/fitted: 'fitted' must be a mapping, not a list."),
    ],
)  # fmt: skip
def test_bad_changes(before: Setup, rulebook: Rulebook, sections: dict[str, Any], says: str) -> None:
    after, said = changed(before, rulebook, **sections)
    assert said == [says]
    assert after is before
