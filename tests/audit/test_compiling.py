"""The compiled reading held to the plain one: same findings, counts and clearance, and the same refusals.

Setups start from a line of the demo fleet. Keys are dropped and altered at random, values come from inside and outside
their ranges, on one side or both, in any unit of their dimension and some of others, and the text is written in several
ways. Rules are the shipped ones, and rules made up at random over one machine's quantities.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.auditor import Auditor
from audit.judged import Judged
from audit.measures import dimension_of, known_units
from audit.nouns.answer import Answer
from audit.nouns.finding import Report
from audit.nouns.problem import BadInput, Problem
from audit.nouns.quantity import Form, Quantity, Role, Value
from audit.nouns.risk import Level, Probability, Rise, Severity
from audit.nouns.rule import (
    All,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Is,
    Known,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Rule,
    Same,
    Standing,
)
from audit.nouns.rule import Any as AnyOf
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

SECTIONS = {Role.SETTING: "settings", Role.READING: "readings", Role.EVENT: "events"}
Line = dict[str, Any]


def same_answer(auditor: Auditor, line: bytes) -> None:
    """Judge and report the line; both must say the same."""

    def answer(ask: Callable[[bytes, str], Any]) -> Any:
        try:
            return ask(line, "line")
        except BadInput as error:
            return error.problems

    judged: Judged | list[Problem] = answer(auditor.judge)
    report: Report | list[Problem] = answer(auditor.report)
    if isinstance(report, list):
        assert auditor.findings_at_once(line) is None
        assert judged == report
        assert report
        return
    assert isinstance(judged, Judged), judged
    assert (judged.unit, judged.card, judged.crop, judged.header_kind) == (
        report.unit, report.card, report.crop, report.header_kind,
    )  # fmt: skip
    assert [(hit[2], hit[3]) for hit in judged.hits] == [(f.rule, f.on) for f in report.findings]
    for hit, finding in zip(judged.hits, report.findings, strict=True):
        risk = finding.risk
        assert hit[0][:3] == (risk.level, risk.index, -risk.downtime)
        assert -hit[1] == pytest.approx(risk.share, rel=1e-9, abs=1e-12)
    assert judged.counts == report.counts
    assert judged.clearance is report.clearance
    assert judged.findings() == report.findings
    assert auditor.findings(line, "line") == replace(report, facts=())
    assert auditor.findings_at_once(line) in (None, replace(report, facts=()))


# ------------------------------------------------------------------------------------------------- values as written

MOMENTS = [
    "2026-08-10T09:00:00Z", "2026-08-10T09:00:00+00:00", "2026-08-10T11:00:00+02:00", "2026-08-10T09:00:00.5Z",
    "2026-08-11", "2026-08-10T09:00:00", "2026-08-09T23:59:59Z", "20260810T090000Z", "yesterday", "", "2026-13-01T00:00:00Z",
]  # fmt: skip
STRANGE: st.SearchStrategy[Any] = st.sampled_from(
    ["", "  ", "raised", "yes", "12", "12 furlong", "1/8 in", "1/0 in", "1,250 mm", "1e999 mm", "½ in", "nan", True, False,
     0, 1, -1, -0.0, 10**30, 1e308, None, [], [1], {}, {"value": 1}, {"value": None}, {"left": 1}, {"left": None},
     {"right": "x", "up": 1}, {"value": {"value": 1}}, {"value": 1, "unit": 3}, {"value": 1, "with": 5}, {"wert": 1},
     {"value": "1/8 in", "unit": "in"}, {"left": {"value": 1}, "right": 2}, {"value": 1, "left": 1}]
).map(copy.deepcopy)  # fmt: skip


def numbers(quantity: Quantity) -> st.SearchStrategy[Any]:
    low, high = quantity.lowest or 0.0, 1000.0 if quantity.highest is None else quantity.highest
    inside = st.one_of(
        st.floats(low, high, allow_nan=False), st.integers(int(low), int(high)), st.sampled_from([low, high, int(high)])
    )
    beyond = st.sampled_from([low - 1, high + 1, high * 1.001 + 0.01, low * (1 - 1e-10), high * (1 + 1e-10)])
    units = known_units(dimension_of(quantity.unit))
    value = st.one_of(inside, inside, inside, beyond)
    text = st.tuples(value, st.sampled_from([*units, "parsec", "N"])).map(lambda pair: f"{pair[0]} {pair[1]}")
    measured = st.fixed_dictionaries(
        {"value": value}, optional={"unit": st.sampled_from([quantity.unit, *units]), "with": st.just("gauge")}
    )
    return st.one_of(value, value, text, measured, value.map(str))


def plain_values(quantity: Quantity) -> st.SearchStrategy[Any]:
    if quantity.form is Form.NUMBER:
        return numbers(quantity)
    if quantity.form is Form.YES_NO:
        return st.one_of(st.booleans(), st.booleans(), st.fixed_dictionaries({"value": st.booleans()}))
    if quantity.form is Form.TIME:
        return st.sampled_from(MOMENTS)
    words = [word for word, _ in quantity.words] or ["free"]
    return st.one_of(
        st.sampled_from(words),
        st.sampled_from(words),
        st.fixed_dictionaries({"value": st.sampled_from([*words, "no"])}),
    )


def written_values(quantity: Quantity) -> st.SearchStrategy[Any]:
    plain = plain_values(quantity)
    sides = st.sampled_from(["left", "right"])
    pair = st.dictionaries(sides, st.one_of(st.none(), plain), min_size=1, max_size=2)
    usual = [plain, pair] if quantity.sided else [plain, plain, plain]
    strange = STRANGE.filter(lambda value: value != {}) if quantity.sided else STRANGE
    return st.one_of(*usual, *usual, *usual, st.none(), pair, strange)


# ----------------------------------------------------------------------------------------------- setups as written


def inner(outer: Line, key: str) -> Line:
    """The mapping under a key; one that goes nowhere if something else stands there by now."""
    found = outer.setdefault(key, {})
    return found if isinstance(found, dict) else {}


def spelled_out(value: object) -> object:
    """A bare number of the job as text, which is read against its bounds both ways."""
    return str(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


class Setups:
    """Draws setups that differ at random from those of the demo fleet."""

    def __init__(self, rulebook: Rulebook, setups: list[Line]) -> None:
        self.rulebook, self.setups = rulebook, setups
        self.names = {card: on_card(machine, rulebook.vocabulary) for card, machine in rulebook.machines.items()}
        self.crops = sorted({name for crop in rulebook.crops.values() for name in crop.called()})
        self.values = {
            quantity: written_values(quantity) for names in self.names.values() for quantity in names.values()
        }

    def draw(self, data: st.DataObject) -> Line:
        line: Line = copy.deepcopy(data.draw(st.sampled_from(self.setups), label="start"))
        names = self.names[line["unit"]["card"]]
        for section in SECTIONS.values():
            keys = sorted(line.get(section, {}))
            if data.draw(st.sampled_from([False, False, False, True])):  # a sparse section
                gone = data.draw(st.integers(0, len(keys)))
                for key in keys[:gone]:
                    del line[section][key]
        for _ in range(data.draw(st.integers(0, 12), label="changes")):
            self.change(line, names, data)
        return line

    def change(self, line: Line, names: Mapping[str, Quantity], data: st.DataObject) -> None:
        what = data.draw(st.sampled_from(["value"] * 12 + ["drop"] * 4 + ["job"] * 3 + ["unit"] * 2 + ["odd"]))
        if what == "value":
            own = [q for q in names.values() if q.role in SECTIONS]
            quantity = data.draw(st.sampled_from(own))
            inner(line, SECTIONS[quantity.role])[quantity.name] = data.draw(self.values[quantity])
        elif what == "drop":
            section = data.draw(st.sampled_from(sorted(line)))
            if isinstance(line[section], dict) and line[section]:
                del line[section][data.draw(st.sampled_from(sorted(line[section])))]
        elif what == "job":
            self.change_job(inner(line, "job"), names, data)
        elif what == "unit":
            self.change_unit(inner(line, "unit"), data)
        else:
            self.make_odd(line, names, data)

    def change_job(self, job: Line, names: Mapping[str, Quantity], data: st.DataObject) -> None:
        key = data.draw(
            st.sampled_from(["crop", "crop", "crop", "condition", "ground_speed", "grain_yield", "hectares", "seeds_per_kg",
                             "kind", "width", "rows", "row_spacing", "drive_speed"])
        )  # fmt: skip
        if key == "crop":
            job["crop"] = data.draw(st.sampled_from([*self.crops, "WHEAT", "Maize", "cron", "", None]))
        elif f"job.{key}" in names:
            job[key] = spelled_out(data.draw(self.values[names[f"job.{key}"]]))
        else:
            name = "job.row_spacing" if key == "row_spacing" else f"job.header_{key}"
            inner(job, "header")[key] = spelled_out(data.draw(self.values[names[name]]))

    def change_unit(self, unit: Line, data: st.DataObject) -> None:
        unit.update(
            data.draw(
                st.sampled_from([
                    {"serial": "KX-01499"}, {"serial": "KX-01500"}, {"serial": "ZZ-1"}, {"serial": ""}, {"serial": None},
                    {"build_year": 2010}, {"build_year": 2017}, {"build_year": None}, {"build_year": 1900},
                    {"build_year": "2010"}, {"build_year": 2015.5}, {"build_year": True}, {"build_year": {"value": 2012}},
                    {"fitted": {"feeder.chain_tensioner": "slot-turnbuckle"}}, {"fitted": {"feeder.chain_tensioner": "x"}},
                    {"fitted": {"no.such": "x"}}, {"fitted": {}}, {"fitted": None}, {"fitted": []}, {"id": ""}, {"id": " "},
                    {"id": 7}, {"card": "axial-single"}, {"card": "axial-singel"}, {"owner": ""}, {"owner": "Ä/ö"},
                    {"engine_hours": "99999 h"}, {"engine_hours": 12}, {"engine_hours": "1 d"}, {"colour": "none"},
                ])
            )
        )  # fmt: skip

    def make_odd(self, line: Line, names: Mapping[str, Quantity], data: st.DataObject) -> None:
        odd = data.draw(
            st.sampled_from(["family", "family", "moved", "unknown", "fact", "section", "taken", "gone", "top"])
        )
        if odd == "family":
            key = data.draw(
                st.sampled_from(["belt.condition", "chain.lubricated", "open_drive.guard_on", "bearing.temperature",
                                 "elevator.chain_lifts", "shaft.measured_speed", "belt.nothing", "belts.condition"])
            )  # fmt: skip
            inner(line, "readings")[key] = data.draw(
                st.sampled_from(["sound", "glazed", True, False, 55, "140 degF", "x", None, {"value": 3}])
            )
        elif odd == "moved":
            quantity = data.draw(st.sampled_from([q for q in names.values() if q.role in SECTIONS]))
            inner(line, data.draw(st.sampled_from(sorted(SECTIONS.values()))))[quantity.name] = data.draw(
                self.values[quantity]
            )
        elif odd == "unknown":
            inner(line, "settings")[data.draw(st.sampled_from(["feeder.drumm", "x", "", "a/b", "ä"]))] = 1
        elif odd == "fact":
            name = data.draw(st.sampled_from(["beater_drive.step", "rotor.tip_speed", "job.crop", "feeder.pitch"]))
            inner(line, "readings")[name] = data.draw(st.sampled_from(["fast", 3, None]))
        elif odd == "section":
            line[data.draw(st.sampled_from(["settings", "readings", "events", "job", "unit", "taken"]))] = data.draw(
                STRANGE
            )
        elif odd == "taken":
            line["taken"] = data.draw(
                st.sampled_from([{"at": "2026-08-10T09:00:00Z"}, {"at": "2026-08-10"}, {"at": ""}, {"state": "as-left"},
                                 {"state": "new"}, {"state": ""}, {"by": ""}, {"by": 3}, {"at": None}, {}, None,
                                 {"where": "barn"}])
            )  # fmt: skip
        elif odd == "gone":
            line.pop(data.draw(st.sampled_from(sorted(line))), None)
        else:
            line[data.draw(st.sampled_from(["notes", "setting", "Unit"]))] = {}


WRITTEN: list[Callable[[Line], bytes]] = [
    lambda line: json.dumps(line).encode(),
    lambda line: json.dumps(line, separators=(",", ":")).encode(),
    lambda line: json.dumps(line, separators=(",", ":"), ensure_ascii=False).encode(),
    lambda line: json.dumps(line, indent=1).encode(),
    lambda line: b"\xef\xbb\xbf" + json.dumps(line).encode(),
    lambda line: json.dumps(line, sort_keys=True).encode().replace(b'"card"', b'"c\\u0061rd"'),
]


@pytest.fixture(scope="module")
def setups(rulebook: Rulebook, demo_setups: list[Line]) -> Setups:
    return Setups(rulebook, demo_setups)


@settings(max_examples=60)
@given(st.data())
def test_compiled_and_plain_reading_agree(auditor: Auditor, setups: Setups, data: st.DataObject) -> None:
    line = setups.draw(data)
    same_answer(auditor, data.draw(st.sampled_from(WRITTEN), label="written")(line))


@pytest.mark.parametrize("crop", ["corn", "soybean"])
def test_they_agree_on_the_demo_fleet(auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], crop: str) -> None:
    for line in demo_lines[crop]:
        same_answer(auditor, line)


def test_they_agree_on_every_card_and_crop(auditor: Auditor, rulebook: Rulebook, demo_setups: list[Line]) -> None:
    for card in rulebook.machines:
        start = next(setup for setup in demo_setups if setup["unit"]["card"] == card)
        for crop in rulebook.crops:
            same_answer(auditor, json.dumps({**start, "job": {**start["job"], "crop": crop}}).encode())
        same_answer(auditor, json.dumps({"unit": {"id": "u", "card": card}, "job": {"crop": "corn"}}).encode())


@settings(max_examples=20)
@given(st.data(), st.sampled_from(Level))
def test_they_agree_wherever_a_start_is_held(
    rulebook: Rulebook, setups: Setups, data: st.DataObject, hold_at: Level
) -> None:
    trial = {"drum-set-for-another-crop": Standing.TRIAL, "drive-unguarded": Standing.TRIAL}
    book = replace(
        rulebook,
        rules={id_: replace(rule, standing=trial.get(id_, rule.standing)) for id_, rule in rulebook.rules.items()},
    )
    auditor = AUDITORS.setdefault(hold_at, Auditor(book, hold_at))
    same_answer(auditor, json.dumps(setups.draw(data)).encode())


AUDITORS: dict[Level, Auditor] = {}


@settings(max_examples=60)
@given(st.data(), st.integers(0, 5_000), st.integers(0, 255))
def test_they_agree_on_text_with_a_byte_changed(
    auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], data: st.DataObject, place: int, byte: int
) -> None:
    line = bytearray(data.draw(st.sampled_from(demo_lines["corn"]), label="line"))
    line[place % len(line)] = byte
    same_answer(auditor, bytes(line))


# -------------------------------------------------------------------------------------------------- keys given twice

TWICE = [
    pytest.param(b'"settings": {', b'"settings": {"feeder.drum": "lowered", "feeder.drum": "raised", ', id="a setting"),
    pytest.param(b'"readings": {', b'"readings": {"header.knife": "sound", "header.knife": "sound", ', id="same value"),
    pytest.param(b'"unit": {', b'"unit": {"id": "x", ', id="the unit's id"),
    pytest.param(b'"job": {', b'"job": {"crop": "wheat", ', id="the crop"),
    pytest.param(b'{"unit"', b'{"settings": {}, "unit"', id="a section"),
    pytest.param(b'"job": {', b'"job": {"c\\u0072op": "wheat", ', id="one of them escaped"),
    pytest.param(b'"readings": {', b'"readings": {"header.knife": null, "header.knife": null, ', id="nothing twice"),
    pytest.param(b'"readings": {', b'"readings": {"loss.moisture": {"value": 21, "value": 22}, ', id="inside a value"),
]


@pytest.mark.parametrize("spaces", [True, False], ids=["with spaces", "without"])
@pytest.mark.parametrize(("old", "new"), TWICE)
def test_a_key_that_stands_twice_is_refused_by_both(auditor: Auditor, old: bytes, new: bytes, spaces: bool) -> None:
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "corn"},
        "settings": {"rotor.range": "low"},
        "readings": {"engine.leaks": "none"},
    }
    line = json.dumps(setup).encode()
    assert line.count(old) == 1
    line = line.replace(old, new)
    if not spaces:
        line = line.replace(b": ", b":").replace(b", ", b",")
    with pytest.raises(BadInput, match="stands twice"):
        auditor.judge(line, "line")
    same_answer(auditor, line)
    (answer,) = auditor.answer_all([line], str)
    assert isinstance(answer, BadInput)


@settings(max_examples=25)
@given(st.data())
def test_a_random_key_given_twice_is_refused_by_both(auditor: Auditor, setups: Setups, data: st.DataObject) -> None:
    line = copy.deepcopy(data.draw(st.sampled_from(setups.setups)))
    section = data.draw(st.sampled_from(["settings", "readings"]))
    if not line.get(section):
        return
    key = data.draw(st.sampled_from(sorted(line[section])))
    again = data.draw(st.one_of(st.none(), st.just(line[section][key]), st.text(max_size=12), st.integers(-3, 3)))
    compact = data.draw(st.booleans())
    text = json.dumps(line, separators=(",", ":") if compact else None)
    mark = json.dumps(section) + (":{" if compact else ": {")
    twice = text.replace(mark, f"{mark}{json.dumps(key)}:{json.dumps(again)},").encode()
    with pytest.raises(BadInput, match="stands twice"):
        auditor.judge(twice, "line")
    same_answer(auditor, twice)


# ------------------------------------------------------------------------------------------------------- many lines


def test_answers_come_in_the_order_of_the_lines(auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]]) -> None:
    good = demo_lines["corn"] + demo_lines["soybean"]
    answers = list(auditor.answer_all(good, str))
    assert len(answers) == len(good)
    for line, answer in zip(good, answers, strict=True):
        assert isinstance(answer, Answer)
        assert answer.unit == json.loads(line)["unit"]["id"]
        assert [answer] == list(auditor.answer_all([line], str))


def test_a_bad_line_stops_nothing_and_is_named(auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]]) -> None:
    good = demo_lines["corn"]
    unit = b'{"unit": {"id": "u", "card": "axial-single"}, "job": {"crop": "corn"}, '
    bad = {
        3: b"{",
        4: b"[]",
        7: unit + b'"settings": {"feeder.drum": "up"}}',
        16: b"\xff",
        17: unit + b'"readings": {"rotor.measured_speed": "30000 r/min"}}',
        33: b'{"unit": {"id": "u", "card": "none"}, "job": {"crop": "corn"}}',
    }
    lines = list(good + good)
    for place in bad:
        lines[place - 1] = bad[place]
    answers = list(auditor.answer_all(lines, lambda place: f"fleet:{place + 1}"))
    assert len(answers) == len(lines)
    for number, answer in enumerate(answers, 1):
        if number not in bad:
            assert isinstance(answer, Answer), number
            continue
        assert isinstance(answer, BadInput), number
        assert all(problem.place.source == f"fleet:{number}" for problem in answer.problems)


def test_nothing_is_remembered_from_one_setup_to_the_next(
    auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]]
) -> None:
    """Lines judged one after the other, and from the last to the first, give the same answers."""
    lines = demo_lines["corn"]
    forward, backward = (list(auditor.answer_all(some, str)) for some in (lines, lines[::-1]))
    assert forward == backward[::-1]
    assert all(isinstance(answer, Answer) for answer in forward)


# ------------------------------------------------------------------------------------------------- rules at random

CARD = "axial-single"
# by dimension or list of words: quantities a setup gives, facts computed from them, and constants of the card
MILLIMETRES = ["feeder.sheave_gap", "rotor.concave_gap", "feeder.wear_strip_left", "corn_head.deck_gap_front",
               "beater_drive.length_error", "beater_drive.take_up", "feeder_drive_chain.movement_high",
               "feeder_drive_chain.movement", "separator_drive.misalignment_limit"]  # fmt: skip
SPEEDS = ["rotor.speed", "rotor.speed_low", "rotor.speed_high", "feeder.slowest_speed", "shoe.speed", "header.speed",
          "shoe.measured_speed", "rotor.wanted_low", "feeder.measured_speed"]  # fmt: skip
PERCENTS = ["feeder.elongation", "feeder.elongation_limit", "shoe.speed_error", "separator_drive.measured_slip",
            "loss.total_percent", "field.efficiency", "loss.moisture"]  # fmt: skip
WORDS = {"feeder.drum": ["raised", "lowered"], "rotor.range": ["low", "high"], "job.condition": ["normal", "heavy"],
         "beater_drive.driving": ["small", "large"], "beater_drive.step": ["fast", "slow", "mismatched"],
         "build.shoe.stroke": ["long", "short"], "deflector.position": ["raised", "lowered"],
         "job.crop": ["corn", "soybean"]}  # fmt: skip
YES_NO = ["feeder.safety_stop", "feeder.drum_pins_home", "header.pins_home", "coupler.lock_pin_in"]
EVENTS = ["feeder.drum_moved", "feeder.chain_checked", "losses.counted", "unloading_drive.replaced"]
SIDED = ["rotor.concave_gap", "feeder.wear_strip_left", "feeder.drum", "deflector.position", "feeder.drum_pins_home"]
GROUPS = {"mm": MILLIMETRES, "r/min": SPEEDS, "%": PERCENTS}


def limits(unit: str) -> st.SearchStrategy[Limit]:
    scale = {"mm": 40.0, "r/min": 1200.0, "%": 30.0}[unit]
    literal = st.floats(0, scale).map(lambda value: Literal(value, f"{value:g} {unit}"))
    whole = st.integers(0, int(scale)).map(lambda value: Literal(float(value), f"{value} {unit}"))
    pointer = st.builds(Pointer, st.sampled_from(GROUPS[unit]), st.sampled_from([1.0, 0.9, 1.05, -1.0]))
    return st.one_of(literal, whole, pointer)


@st.composite
def number_comparisons(draw: st.DrawFn) -> Condition:
    unit = draw(st.sampled_from(sorted(GROUPS)))
    limit = limits(unit)
    within = st.sampled_from([0.0, 0.05, 2.0, 30.0])
    relation = draw(
        st.one_of(
            st.builds(AtMost, limit),
            st.builds(AtLeast, limit),
            st.builds(Between, limit, limit),
            st.builds(Near, limit, within, st.booleans(), st.just("some")),
            st.builds(Is, limit),
            st.builds(Same, st.sampled_from(GROUPS[unit]), within, st.just("some")),
        )
    )
    return Compare(draw(st.sampled_from(GROUPS[unit])), relation)


@st.composite
def word_comparisons(draw: st.DrawFn) -> Condition:
    name = draw(st.sampled_from(sorted(WORDS)))
    word = st.sampled_from(WORDS[name]).map(lambda text: Literal(text, text))
    other = st.sampled_from(sorted(WORDS)).map(Pointer)
    return Compare(
        name,
        draw(
            st.one_of(
                word.map(Is),
                other.map(Is),
                st.lists(st.one_of(word, other), min_size=1, max_size=3).map(lambda items: OneOf(tuple(items))),
                st.sampled_from(sorted(WORDS)).map(lambda found: Same(found, 0.0, "")),
            )
        ),
    )


COMPARISONS: st.SearchStrategy[Condition] = st.one_of(
    number_comparisons(),
    number_comparisons(),
    word_comparisons(),
    st.builds(
        Compare, st.sampled_from(YES_NO), st.booleans().map(lambda yes: Is(Literal(yes, "yes" if yes else "no")))
    ),
    st.builds(Compare, st.sampled_from(EVENTS), st.sampled_from(EVENTS).map(RecordedAfter)),
    st.builds(Compare, st.sampled_from(SIDED), st.sampled_from([0.0, 2.0]).map(lambda w: Same("", w, "some"))),
)


def several(parts: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
    lists = st.lists(parts, min_size=1, max_size=3).map(tuple)
    return st.one_of(
        lists.map(All), lists.map(AnyOf), lists.map(Evidence), parts.map(Not), st.builds(IfThen, parts, parts)
    )


CONDITIONS = st.recursive(COMPARISONS, several, max_leaves=6)
RISES = st.sampled_from(
    [(), (Rise(0.1, Probability.OCCASIONAL),), (Rise(0.2, Probability.OCCASIONAL), Rise(1.0, Probability.FREQUENT))]
)


@st.composite
def made_up_setups(draw: st.DrawFn) -> Line:
    def values(name: str) -> st.SearchStrategy[Any]:
        one: st.SearchStrategy[Any]
        if name in WORDS:
            one = st.sampled_from(WORDS[name])
        elif name in YES_NO:
            one = st.booleans()
        elif name in EVENTS:
            one = st.sampled_from(MOMENTS[:4])
        else:
            unit = next(unit for unit, group in GROUPS.items() if name in group)
            top = 38 if unit == "mm" else 900 if unit == "r/min" else 20
            low = 220 if name == "rotor.speed" else 21 if name.startswith("corn_head") else 5
            one = st.one_of(st.integers(low, top), st.floats(low, top)).map(lambda value: f"{value} {unit}")
        if name not in SIDED and name != "header.pins_home":
            return one
        return st.one_of(
            one, one.map(lambda value: {"right": value}), st.fixed_dictionaries({"left": one, "right": one})
        )

    def section(*names: str) -> st.SearchStrategy[Line]:
        return st.fixed_dictionaries({}, optional={name: values(name) for name in names})

    settings_ = ["rotor.concave_gap", "corn_head.deck_gap_front", "rotor.speed", "feeder.drum", "rotor.range",
                 "beater_drive.driving", "deflector.position"]  # fmt: skip
    readings = ["feeder.sheave_gap", "feeder.wear_strip_left", "feeder_drive_chain.movement", "feeder.slowest_speed",
                "shoe.measured_speed", "feeder.measured_speed", "field.efficiency", "loss.moisture", *YES_NO]  # fmt: skip
    line: Line = {
        "unit": {
            "id": "u",
            "card": CARD,
            **draw(st.sampled_from([{}, {"fitted": {"shoe.stroke": "long"}}, {"build_year": 2020}])),
        },
        "job": {"crop": "corn", **draw(st.sampled_from([{}, {"condition": "heavy"}, {"condition": "normal"}]))},
        "settings": draw(section(*settings_)),
        "readings": draw(section(*readings)),
        "events": draw(section(*EVENTS)),
    }
    line["settings"]["beater_drive.driven"] = draw(st.sampled_from(["small", "large", None]))
    line["readings"] |= draw(
        st.sampled_from(
            [{}, {"feeder.measured_length": "790 mm", "feeder.measured_pitches": 20}, {"separator.measured_speed": 960}]
        )
    )
    return line


@settings(max_examples=40)
@given(
    st.lists(st.tuples(CONDITIONS, st.one_of(st.none(), CONDITIONS), RISES), min_size=1, max_size=6),
    st.lists(made_up_setups(), min_size=1, max_size=4),
)
@example([(Not(IfThen(Compare("rotor.range", Is(Literal("low", "low"))), Compare("rotor.range", Is(Literal("high", "high"))))), None, ())], [{"unit": {"id": "u", "card": CARD}, "job": {"crop": "corn"}}])  # fmt: skip
@example([(Compare("beater_drive.driven_diameter", AtLeast(Literal(300.0, "300 mm"))), None, ())], [{"unit": {"id": "u", "card": CARD}, "job": {"crop": "corn"}, "settings": {"beater_drive.driven": step}} for step in ("small", "large")])  # fmt: skip
@example([(Compare("separator.measured_speed", AtLeast(Literal(970.0, "970 r/min"))), All((Known("feeder.drum_moved"), Known("unloading_drive.replaced"))), ())], [{"unit": {"id": "u", "card": CARD}, "job": {"crop": "corn"}, "readings": {"separator.measured_speed": 960}, "events": dict.fromkeys(given_, MOMENTS[0])} for given_ in ((), EVENTS[:1], EVENTS[3:], EVENTS)])  # fmt: skip
@example([(Compare("feeder.elongation_limit", AtMost(Literal(0.0, "0 %"))), None, ())], [{"unit": {"id": "u", "card": CARD}, "job": {"crop": "corn"}, "settings": {"beater_drive.driven": "small"}}])  # fmt: skip
def test_they_agree_on_rules_made_up_at_random(
    rulebook: Rulebook, parts: list[tuple[Condition, Condition | None, tuple[Rise, ...]]], lines: list[Line]
) -> None:
    pattern = rulebook.rules["drum-set-for-another-crop"]
    rules: dict[str, Rule] = {}
    for number, (hold, asked, rises) in enumerate(parts):
        harm = replace(pattern.harm, severity=Severity.CRITICAL, probability=Probability.REMOTE, rises=rises)
        rules[f"rule-{number}"] = replace(pattern, id=f"rule-{number}", hold=hold, given=asked, harm=harm)
    auditor = Auditor(replace(rulebook, rules=rules))
    for line in lines:
        same_answer(auditor, json.dumps(line).encode())


@pytest.mark.parametrize("name", sorted({*MILLIMETRES, *SPEEDS, *PERCENTS, *WORDS, *YES_NO, *EVENTS}))
def test_names_of_the_made_up_rules_exist(rulebook: Rulebook, name: str) -> None:
    quantity = on_card(rulebook.machines[CARD], rulebook.vocabulary)[name]
    unit = next((unit for unit, group in GROUPS.items() if name in group), "")
    assert unit == "" or dimension_of(quantity.unit) == dimension_of(unit)
    assert quantity.sided == (name in SIDED or name == "header.pins_home")


def test_text_of_a_file_cannot_become_code(rulebook: Rulebook) -> None:
    """A word is written into the generated function as a literal, whatever it holds."""
    evil = "'); raise SystemExit('\n"
    pattern = rulebook.rules["drum-set-for-another-crop"]
    values: list[Value] = [evil, 'a"b', "\\", "{0}"]
    hold = Compare("job.header_kind", OneOf(tuple(Literal(value, str(value)) for value in values)))
    both = All((hold, Compare("rotor.range", Is(Literal(evil, evil)))))
    book = replace(rulebook, rules={evil: replace(pattern, id=evil, hold=both, given=None)})
    line = json.dumps({"unit": {"id": evil, "card": CARD}, "job": {"crop": "corn", "header": {"kind": "draper"}}})
    same_answer(Auditor(book), line.encode())
