"""Reading a setup: what is taken, and every kind of bad input refused with its path and what to do."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.intake.json_text import MOST_BYTES
from audit.intake.setups import find_crop, read_setup
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup

BASE: dict[str, Any] = {
    "unit": {"id": "unit-01", "card": "axial-single", "serial": "KX-01822", "build_year": 2022, "owner": "Oxgill Farm"},
    "job": {"crop": "corn", "condition": "normal", "header": {"kind": "corn-head"}},
}
Read = Callable[..., Setup]


@pytest.fixture
def read(rulebook: Rulebook) -> Read:
    """Reads the base setup with sections added or replaced."""

    def reading(**sections: Any) -> Setup:
        return read_setup(json.dumps({**BASE, **sections}).encode(), "setup.json", rulebook)

    return reading


def refusal(read: Callable[[], object]) -> list[str]:
    with pytest.raises(BadInput) as refused:
        read()
    return [str(problem) for problem in refused.value.problems]


# -------------------------------------------------------------------------------------------------------- what is taken


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("5/32 in", 5 / 32 * 25.4),
        ("3,5 mm", 3.5),
        (0.125, 3.175),
        ({"value": "1/8", "unit": "in"}, 3.175),
        ({"value": 3.2, "unit": "mm", "with": "feeler gauge"}, 3.2),
        ({"value": 0.125}, 3.175),
        (None, None),
        ({"value": None, "unit": "mm"}, None),
    ],
    ids=str,
)
def test_numbers(read: Read, written: object, value: float | None) -> None:
    """The card shows the sheave gap in inches: a bare number means inches."""
    found = read(readings={"feeder.sheave_gap": written}).values["feeder.sheave_gap"]
    assert found == (None if value is None else pytest.approx(value))


@pytest.mark.parametrize(
    ("written", "pair"),
    [
        ("raised", ("raised", "raised")),
        ({"left": "raised", "right": "lowered"}, ("raised", "lowered")),
        ({"left": "raised"}, ("raised", None)),
        ({"right": "lowered"}, (None, "lowered")),
        ({"left": "raised", "right": None}, ("raised", None)),
        ({"left": {"value": "raised"}, "right": {"value": "raised", "with": "eye"}}, ("raised", "raised")),
        (None, (None, None)),
    ],
    ids=str,
)
def test_sides(read: Read, written: object, pair: tuple[str | None, str | None]) -> None:
    """One value means both sides; a side that is missing is not known."""
    assert read(settings={"feeder.drum": written}).values["feeder.drum"] == pair


def test_sided_numbers(read: Read) -> None:
    found = read(readings={"feeder.wear_strip_left": {"left": 7.9, "right": "1/4 in"}})
    pair = found.values["feeder.wear_strip_left"]
    assert isinstance(pair, tuple)
    left, right = pair
    assert (left, round(float(right or 0), 9)) == (7.9, 6.35)


def test_events_and_yes_no(read: Read) -> None:
    found = read(
        readings={"feeder.safety_stop": True, "coupler.lock_pin_in": {"value": False}},
        events={"feeder.drum_moved": "2026-08-10T09:00:00Z", "feeder.chain_checked": "2026-08-10T11:30:00+02:00"},
    )
    assert found.values["feeder.safety_stop"] is True
    assert found.values["coupler.lock_pin_in"] is False
    assert found.values["feeder.chain_checked"] == found.values["feeder.drum_moved"] + 1800  # type: ignore[operator]


def test_job_unit_and_builds(read: Read) -> None:
    found = read()
    assert (found.unit.id, found.unit.owner, found.crop, found.header_kind) == (
        "unit-01",
        "Oxgill Farm",
        "corn",
        "corn-head",
    )
    assert found.values["job.crop"] == "corn"
    assert found.values["unit.build_year"] == 2022
    assert found.values["build.feeder.chain_tensioner"] == "spring-gauge"
    job = {**BASE["job"], "ground_speed": 6.5, "grain_yield": "200 kg/ha", "header": {"width": "30 ft", "rows": 12}}
    found = read(job=job)
    assert found.values["job.ground_speed"] == pytest.approx(6.5 / 3.6)
    assert found.values["job.header_width"] == pytest.approx(9144)
    assert found.header_kind == ""


def test_the_record_of_the_taking(read: Read) -> None:
    found = read(taken={"at": "2026-09-12T08:11:00Z", "by": "tech-01", "state": "as-left"}).taken
    assert (found.at, found.by, found.state) == ("2026-09-12T08:11:00Z", "tech-01", "as-left")
    assert read().taken.at == ""


def test_null_is_the_same_as_leaving_it_out(read: Read) -> None:
    plain = read()
    nulls = read(
        taken=None, settings=None, readings={"feeder.safety_stop": None, "feeder.sheave_gap": None}, events={},
        unit={**BASE["unit"], "fitted": None, "engine_hours": None}, job={**BASE["job"], "grain_yield": None},
    )  # fmt: skip
    assert {name: value for name, value in nulls.values.items() if value is not None} == plain.values


def test_what_was_written_is_kept_to_be_shown(read: Read) -> None:
    found = read(
        settings={"feeder.drum": {"left": "raised", "right": "lowered"}}, readings={"feeder.sheave_gap": "1/8 in"}
    )
    assert found.given["feeder.sheave_gap"] == "1/8 in"
    assert found.given["feeder.drum"] == "left raised, right lowered"


def test_a_family_stands_for_each_that_is_not_named(read: Read) -> None:
    found = read(
        readings={"belt.condition": "sound", "fan_drive.condition": "glazed", "bearing.temperature": "140 degF"}
    )
    assert found.values["fan_drive.condition"] == "glazed"
    assert found.values["separator_drive.condition"] == found.values["rotor_variable_drive.condition"] == "sound"
    assert found.values["fan_bearing.temperature"] == pytest.approx(60)
    assert "main_gears.condition" not in found.values


@pytest.mark.parametrize("name", ["corn", "maize", "Maize", "CORN", "grain corn", "ZEAMX", "zeamx"])
def test_a_crop_by_name_synonym_and_eppo_code(read: Read, name: str) -> None:
    """ZEAMX: EPPO Global Database."""
    assert read(job={"crop": name}).crop == "corn"


@pytest.mark.parametrize("name", ["Mais", "MAÍZ", "maïs", "mai\u0308s", "  Körnermais ", "kukurydza"])
def test_a_crop_in_other_languages_whatever_way_accents_are_written(read: Read, name: str) -> None:
    """German, Spanish, French and Polish names of maize: common knowledge; NFC and NFD: Unicode Annex 15."""
    assert read(job={"crop": name}).crop == "corn"


@pytest.mark.parametrize("name", ["maiz", "Maiss", "mais corn", "ZEAM", "ZEAMXX"])
def test_a_crop_is_never_guessed(rulebook: Rulebook, name: str) -> None:
    assert find_crop(name, rulebook) == ""


def test_every_crop_is_found_by_all_its_names(rulebook: Rulebook) -> None:
    for crop in rulebook.crops.values():
        for name in crop.called():
            assert find_crop(name, rulebook) == crop.id
            assert find_crop(name.upper(), rulebook) == crop.id
    assert find_crop("", rulebook) == ""
    assert find_crop("corm", rulebook) == ""


# ----------------------------------------------------------------------------------------------------- what is refused

# what is given instead of, or beside, the base; path of the problem; what is said; advice
BAD: list[tuple[str, dict[str, Any], str, str, str]] = [
    ("unknown setting", {"settings": {"feeder.drumm": "raised"}}, "settings/feeder.drumm",
     "machine card axial-single has no setting of that name", "Did you mean 'feeder.drum'?"),
    ("unknown reading", {"readings": {"feeder.shave_gap": 1}}, "readings/feeder.shave_gap",
     "has no reading of that name", "Did you mean 'feeder.sheave_gap'?"),
    ("unknown event", {"events": {"feeder.drum_movd": "2026-08-10T09:00:00Z"}}, "events/feeder.drum_movd",
     "has no event of that name", "Did you mean 'feeder.drum_moved'?"),
    ("nothing like it", {"settings": {"zzzz": 1}}, "settings/zzzz", "has no setting of that name", "lists them"),
    ("a part of another machine", {"readings": {"cylinder.elements": "sound"}}, "readings/cylinder.elements", "has no", ""),
    ("setting under readings", {"readings": {"feeder.drum": "raised"}}, "readings/feeder.drum",
     "'feeder.drum' is a setting", "Move it to 'settings'."),
    ("reading under settings", {"settings": {"feeder.sheave_gap": 1}}, "settings/feeder.sheave_gap",
     "'feeder.sheave_gap' is a reading", "Move it to 'readings'."),
    ("event under readings", {"readings": {"feeder.drum_moved": 1}}, "readings/feeder.drum_moved", "is a event", "'events'"),
    ("a fact", {"readings": {"beater_drive.step": "fast"}}, "readings/beater_drive.step",
     "is computed or stated by the card", "Remove it."),
    ("a job quantity as reading", {"readings": {"job.condition": "wet"}}, "readings/job.condition", "can't be given", ""),
    ("unknown key at the top", {"seting": {}}, "seting", "a setup has no key 'seting'", "Did you mean 'settings'?"),
    ("unknown key of the unit", {"unit": {**BASE["unit"], "colour": "red"}}, "unit/colour", "'unit' has no key", "Known here"),
    ("unknown key of the job", {"job": {"crop": "corn", "yield": 3}}, "job/yield", "has no key 'yield'", "'grain_yield'"),
    ("unknown key of the header", {"job": {"crop": "corn", "header": {"knd": "draper"}}}, "job/header/knd", "has no key", "'kind'"),
    ("unknown key of a value", {"readings": {"feeder.sheave_gap": {"valu": 1}}}, "readings/feeder.sheave_gap",
     "has no key 'valu'", "Did you mean 'value'?"),
    ("a value without value", {"readings": {"feeder.sheave_gap": {"unit": "mm"}}}, "readings/feeder.sheave_gap",
     "lacks 'value'", ""),
    ("a value in a value", {"readings": {"feeder.sheave_gap": {"value": {"value": 1}}}}, "readings/feeder.sheave_gap",
     "'value' must be a plain value", ""),
    ("an instrument that is no text", {"readings": {"feeder.sheave_gap": {"value": 1, "with": 3}}},
     "readings/feeder.sheave_gap", "'with' is 3; it must be text", ""),
    ("unit of another dimension", {"readings": {"feeder.sheave_gap": "3 kg"}}, "readings/feeder.sheave_gap",
     "'kg' is a unit of mass, a length is wanted", "mm, cm, m, in, ft"),
    ("unknown unit", {"readings": {"feeder.sheave_gap": "3 furlong"}}, "readings/feeder.sheave_gap", "unknown unit 'furlong'", ""),
    ("a unit for a word", {"settings": {"rotor.range": {"value": "low", "unit": "mm"}}}, "settings/rotor.range",
     "rotor.range is a word", ""),
    ("an unreadable number", {"readings": {"feeder.sheave_gap": "wide"}}, "readings/feeder.sheave_gap", "is not a number", ""),
    ("thousands or decimals", {"settings": {"rotor.speed": "1,050 r/min"}}, "settings/rotor.speed", "can be read as", ""),
    ("a list", {"readings": {"feeder.sheave_gap": [1]}}, "readings/feeder.sheave_gap", "is a list", ""),
    ("yes for a number", {"readings": {"feeder.sheave_gap": True}}, "readings/feeder.sheave_gap", "is true; it must be a number", ""),
    ("negative gap", {"readings": {"feeder.sheave_gap": "-3 mm"}}, "readings/feeder.sheave_gap", "is impossible here", "Check the value and its unit."),
    ("30 000 r/min", {"readings": {"rotor.measured_speed": "30000 r/min"}}, "readings/rotor.measured_speed",
     "'30000 r/min' is impossible here; it must lie from 0 r/min to 6000 r/min", ""),
    ("beyond this machine", {"settings": {"rotor.speed": 1200}}, "settings/rotor.speed",
     "1200 is impossible here; it must lie from 180 r/min to 1010 r/min", ""),
    ("per cent over 100", {"settings": {"chopper.stationary_knives": 110}}, "settings/chopper.stationary_knives", "is impossible", ""),
    ("unknown word", {"settings": {"rotor.range": "lo"}}, "settings/rotor.range", "is 'lo'; it must be one of: low, high",
     "Did you mean 'low'?"),
    ("a word this machine lacks", {"settings": {"rotor.concave_type": "bar"}}, "settings/rotor.concave_type",
     "it must be one of: large-wire, small-wire, round-bar", ""),
    ("a number for a word", {"settings": {"rotor.range": 3}}, "settings/rotor.range", "is 3; it must be one of", ""),
    ("a word for yes or no", {"readings": {"feeder.safety_stop": "yes"}}, "readings/feeder.safety_stop",
     "is 'yes'; it must be true or false", ""),
    ("sides where there are none", {"readings": {"feeder.sheave_gap": {"left": 3}}}, "readings/feeder.sheave_gap",
     "is not taken left and right", "give one value"),
    ("a third side", {"settings": {"feeder.drum": {"left": "raised", "middle": "raised"}}}, "settings/feeder.drum/middle",
     "'feeder.drum' has no side 'middle'", "Write left and right."),
    ("one side bad", {"settings": {"feeder.drum": {"left": "raised", "right": "up"}}}, "settings/feeder.drum/right", "is 'up'", ""),
    ("a time without offset", {"events": {"feeder.drum_moved": "2026-08-10T09:00:00"}}, "events/feeder.drum_moved",
     "has no offset", "'+02:00'"),
    ("no time", {"events": {"feeder.drum_moved": "in the morning"}}, "events/feeder.drum_moved", "is not a date and time", "2026-08"),
    ("a bad record of the taking", {"taken": {"at": "today"}}, "taken/at", "is not a date and time", ""),
    ("an unknown state", {"taken": {"state": "as-was"}}, "taken/state", "'state' is 'as-was'", "as-found, as-left"),
    ("unknown card", {"unit": {"id": "u", "card": "axial-singel"}}, "unit/card", "no machine card is called 'axial-singel'",
     "Did you mean 'axial-single'?"),
    ("no card", {"unit": {"id": "u"}}, "unit", "'unit' lacks 'card'", "Add 'card:'."),
    ("no unit", {"unit": None}, "unit", "'unit' must be a mapping, not null", ""),
    ("no id", {"unit": {"card": "axial-single"}}, "unit", "'unit' lacks 'id'", ""),
    ("an empty id", {"unit": {"id": " ", "card": "axial-single"}}, "unit/id", "'id' must be text", ""),
    ("unknown crop", {"job": {"crop": "cron"}}, "job/crop", "no crop card is called 'cron'", "Did you mean 'corn'?"),
    ("no crop", {"job": {}}, "job", "'job' lacks 'crop'", ""),
    ("unknown build", {"unit": {**BASE["unit"], "fitted": {"shoe.strok": "long"}}}, "unit/fitted/shoe.strok",
     "this card has no build 'shoe.strok'", "Did you mean 'shoe.stroke'?"),
    ("unknown choice", {"unit": {**BASE["unit"], "fitted": {"shoe.stroke": "longer"}}}, "unit/fitted/shoe.stroke",
     "is 'longer'; it must be one of: long, short", ""),
    ("a section that is a list", {"settings": []}, "settings", "'settings' must be a mapping, not a list", ""),
    ("a bad family value", {"readings": {"belt.condition": "fine"}}, "readings/belt.condition", "is 'fine'; it must be one of", ""),
    ("year before tractors", {"unit": {**BASE["unit"], "build_year": 1900}}, "unit/build_year", "is impossible here", ""),
]  # fmt: skip


@pytest.mark.parametrize(("given", "path", "said", "advice"), [pytest.param(*row[1:], id=row[0]) for row in BAD])
def test_bad_input_is_refused(read: Read, given: dict[str, Any], path: str, said: str, advice: str) -> None:
    found = refusal(lambda: read(**given))
    first = next((problem for problem in found if said in problem), None)
    assert first is not None, found
    assert first.startswith(f"setup.json: {path}: ")
    assert advice in first


TEXTS: list[tuple[str, bytes, str]] = [
    ("nothing", b"", "setup.json:1:1: is not JSON"),
    ("not JSON", b'{"unit": }', "setup.json:1:10: is not JSON"),
    ("cut off", b'{"unit": {"id": "u"', "is not JSON"),
    ("two values", b"{} {}", "setup.json:1:4: is not JSON: Extra data"),
    ("a comma too many", b'{"unit": 1,}', "is not JSON"),
    ("single quotes", b"{'unit': 1}", "setup.json:1:2: is not JSON"),
    ("not UTF-8", b'{"unit": "caf\xe9"}', "is not UTF-8 (byte 14). Save the file as UTF-8."),
    ("a list", b"[]", "a setup must be a mapping, not a list"),
    ("a number", b"3", "a setup must be a mapping, not 3"),
    ("null", b"null", "a setup must be a mapping, not null"),
    ("too long", b" " * (MOST_BYTES + 1), "is longer than 4 MiB"),
    ("deep", b'{"settings": {"feeder.drum": ' + b'{"left": ' * 40 + b"1" + b"}" * 42, "is nested more than 32 deep"),
    ("deeper than Python goes", b"[" * 100_000 + b"]" * 100_000, "is nested more than 32 deep"),
    ("NaN", b'{"readings": {"feeder.sheave_gap": NaN}}', "readings/feeder.sheave_gap: is not a finite number"),
    ("Infinity", b'{"readings": {"feeder.sheave_gap": -Infinity}}', "is not a finite number"),
    ("too large", b'{"readings": {"feeder.sheave_gap": 1e999}}', "is not a finite number"),
    (
        "an endless integer",
        b'{"readings": {"feeder.sheave_gap": ' + b"9" * 5000 + b"}}",
        "holds a number that can't be read",
    ),
    ("a key twice", b'{"settings": {"a": 1, "a": 1}}', "setup.json: settings/a: key 'a' stands twice in one object"),
    ("a section twice", b'{"settings": {}, "settings": {}}', "settings: key 'settings' stands twice"),
    ("a key twice, once escaped", b'{"settings": {"a": 1, "\\u0061": 1}}', "key 'a' stands twice"),
]


@pytest.mark.parametrize(("text", "said"), [pytest.param(*row[1:], id=row[0]) for row in TEXTS])
def test_bad_text_is_refused(rulebook: Rulebook, text: bytes, said: str) -> None:
    found = refusal(lambda: read_setup(text, "setup.json", rulebook))
    assert any(said in problem for problem in found), found
    assert all(problem.startswith("setup.json") for problem in found)


def test_a_byte_order_mark_is_passed_over(rulebook: Rulebook) -> None:
    assert read_setup(b"\xef\xbb\xbf" + json.dumps(BASE).encode(), "setup.json", rulebook).crop == "corn"


def test_every_problem_is_told_at_once_in_order_of_place(read: Read) -> None:
    found = refusal(
        lambda: read(
            unit={"id": 3, "card": "axial-single", "serial": 5},
            job={"crop": "cron", "condition": "wett", "header": {"kind": "corn-hed"}},
            settings={"rotor.speed": 9999, "rotor.range": "lo"},
            readings={"feeder.safety_stop": "yes"},
            events={"feeder.drum_moved": 3},
        )
    )
    assert len(found) == 9
    assert found == sorted(found)


@pytest.mark.parametrize("length", [10_000, 300_000])
def test_messages_stay_short_whatever_is_given(read: Read, length: int) -> None:
    long = "x" * length
    for bad in (
        {"settings": {long: 1}}, {"settings": {"rotor.range": long}}, {"readings": {"feeder.sheave_gap": long}},
        {"job": {"crop": long}}, {"unit": {"id": "u", "card": long}}, {"events": {"feeder.drum_moved": long}},
        {"readings": {"feeder.sheave_gap": {"value": long, "unit": "mm"}}},
    ):  # fmt: skip
        assert all(len(problem) < 1500 for problem in refusal(partial(read, **bad)))


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12)),
    lambda kids: st.one_of(st.lists(kids, max_size=3), st.dictionaries(st.text(max_size=12), kids, max_size=3)),
    max_leaves=8,
)


@given(
    st.one_of(
        JSON,
        st.dictionaries(
            st.sampled_from(["unit", "job", "taken", "settings", "readings", "events", "x"]), JSON, max_size=7
        ),
        JSON.map(lambda value: {**BASE, "settings": {"rotor.speed": value, "feeder.drum": value}}),
        JSON.map(lambda value: {**BASE, "unit": {**BASE["unit"], "fitted": value, "engine_hours": value}}),
        JSON.map(lambda value: {**BASE, "job": {"crop": "corn", "header": value, "condition": value}}),
    )
)
def test_anything_is_read_or_refused(rulebook: Rulebook, value: object) -> None:
    try:
        read_setup(json.dumps(value).encode(), "setup.json", rulebook)
    except BadInput as refused:
        told = refused.problems
    else:
        return
    assert told


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(rulebook: Rulebook, text: bytes) -> None:
    with pytest.raises(BadInput):
        read_setup(text, "setup.json", rulebook)
