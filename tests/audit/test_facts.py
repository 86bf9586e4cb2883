"""Computed facts: their traces, what leaves them unknown and why, and what every formula must say of itself."""

from __future__ import annotations

import json
from typing import Any

import pytest

from audit.auditor import Auditor
from audit.facts import Reasons, compute, missing_for, work_out
from audit.field import FACTS
from audit.intake.setups import read_setup
from audit.kinds import drive_kinds, part_kinds
from audit.measures import CANONICAL, dimension_of
from audit.nouns.fact import Computation, Constant, Fact, Ref
from audit.nouns.rulebook import Rulebook
from audit.physics.formula import OutOfRange, formula, formula_of, within
from audit.sheet import Sheet

CARDS = ("axial-hybrid", "axial-single", "tangential-walker")
OF_KINDS = [
    pytest.param(fact.function, id=f"{kind.name}.{fact.name}")
    for kind in (*drive_kinds().values(), *part_kinds().values())
    for fact in kind.facts
]
CARRIES = [pytest.param(kind.carry.function, id=f"{kind.name} carry") for kind in drive_kinds().values() if kind.carry]
OF_FIELD = [pytest.param(fact.function, id=fact.name) for fact in FACTS]


@pytest.mark.parametrize("function", [*OF_KINDS, *CARRIES, *OF_FIELD])
def test_every_formula_names_its_source_and_unit(function: Any, rulebook: Rulebook) -> None:
    sheet = formula_of(function)
    assert sheet.name
    assert sheet.equation
    assert sheet.source in rulebook.sources or sheet.source in ("definition", "common practice", "memory")
    assert sheet.unit == "" or sheet.unit == CANONICAL[dimension_of(sheet.unit)]
    assert (function.__doc__ or "").strip()


@pytest.fixture(scope="module")
def setup(demo_setups: list[dict[str, Any]]) -> dict[str, Any]:
    """A complete setup; each test changes its own copy."""
    return next(setup for setup in demo_setups if setup["unit"]["card"] == "axial-single")


def facts_of(auditor: Auditor, setup: dict[str, Any], **readings: object) -> dict[str, Fact]:
    changed = {**setup, "readings": {**setup["readings"], **{k.replace("__", "."): v for k, v in readings.items()}}}
    return {fact.name: fact for fact in auditor.report(json.dumps(changed).encode(), "setup").facts}


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("crop", ["corn", "soybean", "rice"])
def test_every_fact_has_a_canonical_unit_and_a_whole_trace(auditor: Auditor, card: str, crop: str) -> None:
    sheet = auditor.sheet(card, crop)
    text = json.dumps({"unit": {"id": "u", "card": card}, "job": {"crop": crop}}).encode()
    report = auditor.report(text, "setup")
    assert [fact.name for fact in report.facts] == [computation.name for computation in sheet.computations]
    for fact in report.facts:
        assert fact.unit == "" or fact.unit == CANONICAL[dimension_of(fact.unit)], fact.name
        assert fact.formula, fact.name
        assert fact.equation, fact.name
        assert fact.source, fact.name
        assert fact.meaning, fact.name
        assert (fact.value is None) == bool(fact.why_unknown), fact.name
        assert len(fact.inputs) == len(sheet.by_name[fact.name].args)


@pytest.mark.parametrize("card", CARDS)
def test_a_computation_needs_only_earlier_ones(auditor: Auditor, card: str) -> None:
    sheet = auditor.sheet(card, "corn")
    done: set[str] = set()
    for computation in sheet.computations:
        needed = {arg.name for arg in computation.args if isinstance(arg, Ref)}
        assert needed & set(sheet.by_name) <= done, computation.name
        assert computation.name not in done
        done.add(computation.name)


def test_a_trace_can_be_worked_out_again(auditor: Auditor, setup: dict[str, Any]) -> None:
    """The inputs shown, put into the formula, give the value shown: nothing is left out of a trace."""
    facts = facts_of(auditor, setup)
    known = 0
    for fact in facts.values():
        if fact.value is not None:
            computation = auditor.sheet("axial-single", "corn").by_name[fact.name]
            assert work_out(computation, [value for _, value in fact.inputs]) == (fact.value, ""), fact.name
            known += 1
    assert known > 200


def test_a_trace_names_formula_inputs_and_source(auditor: Auditor, setup: dict[str, Any]) -> None:
    """Slip by the measured speeds (common definition): 1 - (n2 d2) / (n1 d1)."""
    fact = facts_of(auditor, setup, separator__measured_speed=950, main_gearbox__measured_speed=1400)[
        "separator_drive.measured_slip"
    ]
    assert fact.inputs == (
        ("main_gearbox.measured_speed", 1400.0),
        ("separator.measured_speed", 950.0),
        ("separator_drive.driver_diameter", 280.0),
        ("separator_drive.driven_diameter", 400.0),
    )
    assert fact.value == pytest.approx(100 * (1 - 950 * 400 / (1400 * 280)))
    assert fact.unit == "%"
    assert fact.formula
    assert "/" in fact.equation


def test_an_input_that_is_not_known_is_named_through_the_chain(auditor: Auditor, setup: dict[str, Any]) -> None:
    facts = facts_of(auditor, setup, feeder_jackshaft__measured_speed=None)
    for name in ("feeder_jackshaft.speed", "feeder.speed", "feeder.chain_speed", "feeder.speed_index"):
        assert facts[name].why_unknown == "feeder_jackshaft.measured_speed is not known"


def test_what_a_card_does_not_state_is_named(auditor: Auditor, setup: dict[str, Any]) -> None:
    facts = facts_of(auditor, setup)
    assert (
        facts["header_drive.length_error"].why_unknown
        == "machine card axial-single does not state header_drive.belt_length"
    )
    assert facts["rotor.wanted_low"].value is not None


@pytest.mark.parametrize(
    ("fact", "reading", "value", "said"),
    [
        ("feeder.speed_index", "job.ground_speed", "0.2 km/h", "this formula holds from 0.1 to 10 m/s"),
        ("field.capacity", "job.ground_speed", "21 km/h", "speed is 21 km/h; this formula holds from 0 to 20 km/h"),
        ("separator_drive.measured_slip", "main_gearbox.measured_speed", 0, "can't be computed"),
    ],
)
def test_out_of_range_leaves_a_fact_unknown_and_says_why(
    auditor: Auditor, setup: dict[str, Any], fact: str, reading: str, value: object, said: str
) -> None:
    job = {**setup["job"], "ground_speed": value} if reading.startswith("job.") else setup["job"]
    changed = {**setup, "job": job}
    readings = {} if reading.startswith("job.") else {reading.replace(".", "__"): value}
    found = facts_of(auditor, changed, **readings)[fact]
    assert found.value is None
    assert said in found.why_unknown
    assert fact in found.why_unknown


def test_an_argument_is_handed_over_in_the_unit_its_formula_takes(auditor: Auditor, setup: dict[str, Any]) -> None:
    """Field capacity, ha/h = km/h × m × % / 1000; the sheet keeps m/s and mm."""
    job = {**setup["job"], "ground_speed": "6 km/h", "header": {**setup["job"]["header"], "width": "9 m"}}
    found = facts_of(auditor, {**setup, "job": job}, field__efficiency=70)["field.capacity"]
    assert found.value == pytest.approx(6 * 9 * 0.7 / 10)
    assert [value for _, value in found.inputs] == [pytest.approx(6), pytest.approx(9), 70]


def test_a_formula_that_takes_none_is_asked_even_so(auditor: Auditor, setup: dict[str, Any]) -> None:
    job = {key: value for key, value in setup["job"].items() if key != "seeds_per_kg"}
    usual = facts_of(auditor, {**setup, "job": job})["loss.seeds_per_kg"]
    assert usual.value == pytest.approx(1556 / 0.45359237)
    counted = facts_of(auditor, {**setup, "job": {**job, "seeds_per_kg": 3100}})["loss.seeds_per_kg"]
    assert counted.value == 3100


def test_sides_that_differ_give_no_single_argument(auditor: Auditor, setup: dict[str, Any]) -> None:
    @formula(name="Twice", equation="2 a", unit="mm", source="definition")
    def twice(a: float) -> float:
        """Twice a, for a from 0 to 10."""
        return 2 * within("a", a, 0, 10, "mm")

    sheet = sheet_with(auditor, Computation("x.twice", "twice", "mm", twice, (Ref("rotor.concave_gap"),)))
    plain = read_setup(json.dumps(setup).encode(), "setup", auditor.rulebook)
    for gap, expected, said in [
        ((4.0, 4.0), 8.0, ""),
        ((4.0, 5.0), None, "rotor.concave_gap is not known"),
        ((40.0, 40.0), None, "x.twice can't be computed: a is 40 mm; this formula holds from 0 to 10 mm"),
    ]:
        values = {**plain.values, "rotor.concave_gap": gap}
        facts = compute(sheet, type(plain)(plain.unit, plain.crop, "", plain.taken, values, {}))
        assert (facts.values["x.twice"], facts.traces["x.twice"].why_unknown) == (expected, said)
        assert Reasons(sheet, facts.values).get("x.twice", "") == said


def sheet_with(auditor: Auditor, computation: Computation) -> Sheet:
    sheet = auditor.sheet("axial-single", "corn")
    return Sheet(
        sheet.card,
        sheet.crop,
        sheet.digest,
        sheet.names,
        {},
        {},
        (computation,),
        {computation.name: computation},
        (),
        (),
    )


def test_out_of_range_names_argument_value_and_range() -> None:
    with pytest.raises(OutOfRange, match=r"^wrap is 20 deg; this formula holds from 30 to 180 deg$"):
        within("wrap", 20.0, 30.0, 180.0, "deg")
    with pytest.raises(OutOfRange):
        within("wrap", float("nan"), 30.0, 180.0)
    assert within("wrap", 30.0, 30.0, 180.0) == 30.0


def test_reasons_are_the_same_worked_out_late(auditor: Auditor, setup: dict[str, Any]) -> None:
    """The short way keeps no traces; asked for a reason, it says what the full report says."""
    sheet = auditor.sheet("axial-single", "corn")
    sparse = {**setup, "readings": {"feeder.measured_pitches": 1}}
    facts = compute(sheet, read_setup(json.dumps(sparse).encode(), "setup", auditor.rulebook))
    reasons = Reasons(sheet, facts.values)
    unknown = [name for name, fact in facts.traces.items() if fact.value is None]
    assert len(unknown) > 50
    assert all(reasons[name] == facts.why_unknown[name] for name in unknown)
    assert all(name not in reasons or facts.values[name] is None for name in facts.traces)
    assert len(list(reasons)) == len(reasons)


def missing(auditor: Auditor, name: str, values: dict[str, Any]) -> dict[str, str]:
    sheet = auditor.sheet("axial-single", "corn")
    found = missing_for(name, sheet, values, {})
    assert all(item.name == key for key, item in found.items())
    return {key: item.how for key, item in found.items()}


def test_what_is_missing_is_a_reading_and_not_the_fact(auditor: Auditor) -> None:
    assert set(missing(auditor, "feeder.elongation", {"feeder.pitch": 38.1})) == {
        "feeder.measured_length", "feeder.measured_pitches",
    }  # fmt: skip
    assert "tape" in missing(auditor, "feeder.elongation", {"feeder.pitch": 38.1})["feeder.measured_length"].lower()


def test_a_build_that_is_missing_can_be_stated(auditor: Auditor) -> None:
    how = missing(auditor, "build.shoe.stroke", {})["build.shoe.stroke"]
    assert "unit.fitted" in how


def test_what_a_card_lacks_is_to_be_added_to_the_card(auditor: Auditor) -> None:
    sheet = auditor.sheet("axial-single", "corn")
    found = missing_for("header_drive.belt_length", sheet, dict(sheet.constants), sheet.why_constant_unknown)
    assert found["header_drive.belt_length"].how == "Add it to the card, from the machine's manual."


def test_a_constant_argument_without_a_value_is_named(auditor: Auditor) -> None:
    @formula(name="Same", equation="a", unit="mm", source="definition")
    def same(a: float) -> float:
        """The same."""
        return a

    lacking = Constant(None, "target.x.low", "neither card has a target for x")
    sheet = sheet_with(auditor, Computation("x.same", "same", "mm", same, (lacking,)))
    assert set(missing_for("x.same", sheet, {}, {})) == {"target.x.low"}
    plain = compute(
        sheet, read_setup(b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"}}', "s", auditor.rulebook)
    )
    assert plain.why_unknown["x.same"] == "neither card has a target for x"
