"""Imports on record: who is who, hours that only rise, questions, answers, undoing; nothing twice and nothing lost."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from api.exchange.reading.files import opened
from api.exchange.reading.nouns import NotRead, ReadUnit
from api.import_wire import hours_json
from api.service import import_answers, import_undo, importing
from api.service.identities import NotTaken, join, split
from api.service.importing import Report
from api.service.recording import prepare, put_unit, record, retire_unit, unit_named
from api.store import identities, imports, machine_words
from api.store.database import Work
from audit.nouns.risk import Level
from tests.api.exchange.samples import adapt, machine, snapshot_json, snapshot_xml, task_data, zipped
from tests.api.legal import CARD, NOW
from tests.api.service.conftest import Place, start
from tests.api.service.office import LATER, Office, fates


def test_a_type_that_nobody_knows_waits_for_its_card(place: Place) -> None:
    office = Office(place)
    report = office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    assert fates(report) == [("waits", ""), ("waits", "")]
    assert [one.kind for one in office.open()] == ["which-card", "which-card"]
    answered = office.answer({"card": CARD})
    assert [(line.fate, line.unit) for line in answered.lines] == [("new unit", "Unit-07"), ("new unit", "Unit-08")]
    assert office.open() == []
    assert office.unit("Unit-07").engine_hours == 1482.35


def test_a_question_that_was_settled_otherwise_is_closed(place: Place) -> None:
    office = Office(place)
    office.send(snapshot_json([machine()]))
    office.use_card(CARD)
    assert fates(office.send(snapshot_json([machine()]))) == [("new unit", "Unit-07")]
    assert office.open() == []


def test_more_machines_than_are_taken_at_once(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importing, "MOST_UNITS", 1)
    with pytest.raises(NotRead, match="in parts"):
        Office(place).send(snapshot_json([machine(), machine("Unit 08")]))


def test_what_a_unit_is_an_import_never_changes(office: Office) -> None:
    mapping = b"columns: {No: {is: fleet_number}, Built: {is: build_year}, Card: {is: card}}"
    office.send(b"No,Built,Card\n7,2021,axial-single\n", "m.csv", mapping=mapping)
    line = office.send(b"No,Built,Card\n7,2019,axial-hybrid\n", "m.csv", mapping=mapping).lines[0]
    assert line.fate == "nothing new"
    assert "build year 2019 is not taken: on record is 2021" in line.text
    assert (office.unit("7").card, office.unit("7").build_year) == ("axial-single", 2021)


def test_a_new_unit_with_its_identities_and_hours(office: Office) -> None:
    report = office.send(snapshot_xml([machine()]), "fleet.xml")
    assert fates(report) == [("new unit", "Unit-07")]
    row = office.unit("Unit-07")
    assert (row.card, row.serial, row.engine_hours) == (CARD, "U07-000482", 1482.35)
    assert set(office.known_by("Unit-07")) == {
        ("pin", "XXXMDA1AC00000482"),
        ("serial", "u07-000482"),
        ("fleet-number", "unit 07"),
    }


def test_the_same_again_changes_nothing(office: Office) -> None:
    first = office.send(snapshot_json([machine()]))
    again = office.send(snapshot_json([machine()]))
    assert again.repeated
    assert again.row.id == first.row.id
    assert fates(again) == [("nothing new", "Unit-07")]
    assert len(office.work(lambda work: imports.page(work, None, 10))) == 1


def test_hours_rise_and_older_ones_are_history(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    assert fates(office.send(snapshot_json([machine(hours=1490.0, at=LATER)]))) == [("updated", "Unit-07")]
    older = office.send(snapshot_json([machine(hours=1400.0, at="2026-01-01T00:00:00Z")]))
    assert "older" in older.lines[0].text
    assert office.unit("Unit-07").engine_hours == 1490.0
    assert len(office.work(lambda work: machine_words.hours_of(work, "Unit-07", 10))) == 3


def test_a_meter_that_runs_backwards_is_a_question(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    fallen = snapshot_json([machine(hours=12.0, at=LATER)])
    assert fates(office.send(fallen)) == [("waits", "Unit-07")]
    assert fates(office.send(fallen)) == [("waits", "Unit-07")], "asked once"
    assert len(office.open()) == 1
    assert office.unit("Unit-07").engine_hours == 1482.35, "and nothing changed meanwhile"
    office.answer({"replaced": True})
    assert office.unit("Unit-07").engine_hours == 12.0


def test_a_wrong_reading_is_kept_as_such(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    fallen = snapshot_json([machine(hours=12.0, at=LATER)])
    office.send(fallen)
    office.answer({"replaced": False})
    assert office.unit("Unit-07").engine_hours == 1482.35
    assert fates(office.send(fallen)) == [("nothing new", "Unit-07")], "it is not asked again"


def test_a_new_meter_ends_clearance_by_older_setups(office: Office, record_legal: Callable[..., str]) -> None:
    """A setup at 1000 h would look fresh for ever beside a meter that shows 12."""
    unit = record_legal()
    cleared = start(office.place, unit)
    claim = {"id": unit, "serial": "", "pin": "XXXMDA1AC00000470"}
    office.send(snapshot_json([machine(**claim, hours=None)]))
    office.answer({"unit": unit})
    office.now = NOW + 600
    office.send(snapshot_json([machine(**claim, hours=12.0, at="2026-09-21T14:20:00Z")]))
    assert office.answer({"replaced": True}).revoked == (cleared.id,)


def test_hours_from_a_farm_system_revoke_what_is_too_old(office: Office, record_legal: Callable[..., str]) -> None:
    unit = record_legal()
    cleared = start(office.place, unit)
    claim = {"id": unit, "serial": "", "pin": "XXXMDA1AC00000470"}
    office.send(snapshot_json([machine(**claim, hours=None)]))
    office.answer({"unit": unit})
    report = office.send(snapshot_json([machine(**claim, hours=5000.0, at=LATER)]))
    assert report.revoked == [cleared.id]


@pytest.mark.parametrize("hours", ["-5", "1e9", "NaN", "inf", "soon"])
def test_hours_that_no_engine_has(office: Office, hours: str) -> None:
    report = office.send(snapshot_json([machine(hours=hours)]))
    assert fates(report) == [("refused", "")]
    assert office.unit("Unit-07") is None


def test_hours_of_a_time_to_come(office: Office) -> None:
    assert "clocks" in office.send(snapshot_json([machine(at="2031-01-01T00:00:00Z")])).lines[0].text


def test_rounding_is_no_fall(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    assert fates(office.send(snapshot_json([machine(hours=1482.0, at=LATER)]))) == [("nothing new", "Unit-07")]


def test_a_serial_alone_never_merges(office: Office) -> None:
    """Serials repeat across types; the one on record was written by hand."""
    office.work(lambda work: put_unit(work, office.rulebook(work), "north-1", {"card": CARD, "serial": "U07-000482"}))
    report = office.send(snapshot_json([machine()]))
    assert report.lines[0].fate == "waits"
    assert office.open()[0].content["choices"] == ["north-1"]
    office.answer({"unit": "north-1"})
    assert fates(office.send(snapshot_json([machine(hours=1500.0, at=LATER)]))) == [("updated", "north-1")]
    assert office.unit("Unit-07") is None


def test_what_looks_alike_may_be_another(office: Office) -> None:
    office.work(lambda work: put_unit(work, office.rulebook(work), "Unit-07", {"card": CARD}))
    assert office.send(snapshot_json([machine()])).lines[0].fate == "waits"
    answered = office.answer({"new": True})
    assert [(line.fate, line.unit) for line in answered.lines] == [("new unit", "Unit-07-2")]


def test_a_pin_of_one_and_a_serial_of_another(office: Office) -> None:
    office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    report = office.send(snapshot_json([machine("Unit 09", "U08-000483")]))
    assert report.lines[0].fate == "waits"
    assert office.open()[0].content["choices"] == ["Unit-07", "Unit-08"]
    office.answer({"unit": "Unit-08"})
    assert ("pin", "XXXMDA1AC00000482") in office.known_by("Unit-08")
    assert ("pin", "XXXMDA1AC00000482") not in office.known_by("Unit-07")


def test_two_machines_of_one_fleet_number(office: Office) -> None:
    report = office.send(snapshot_json([machine(), machine("Unit 07", "U09-000999", "XXXMDA1AC00000999")]))
    assert fates(report) == [("new unit", "Unit-07"), ("waits", "")]


def test_a_machine_that_is_another_s_by_proof_is_not_new(office: Office) -> None:
    office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    office.send(snapshot_json([machine("Unit 09", "U08-000483")]))
    with pytest.raises(import_answers.BadAnswer, match="split it off"):
        office.answer({"new": True})
    assert len(office.open()) == 1


def test_a_fleet_number_stays_where_it_is(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    office.send(snapshot_json([machine("Unit 07", "U09-000999", "XXXMDA1AC00000999")]))
    office.answer({"new": True})
    assert ("fleet-number", "unit 07") in office.known_by("Unit-07")
    assert ("fleet-number", "unit 07") not in office.known_by("Unit-07-2")


def test_undo_gives_moved_identities_back(office: Office) -> None:
    office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    second = office.send(snapshot_json([machine("Unit 09", "U08-000483")]))
    office.now += 60
    office.answer({"unit": "Unit-08"})
    assert ("pin", "XXXMDA1AC00000482") in office.known_by("Unit-08")
    office.undo(second.row.id)
    assert ("pin", "XXXMDA1AC00000482") in office.known_by("Unit-07")
    assert ("pin", "XXXMDA1AC00000482") not in office.known_by("Unit-08")


def test_two_combines_of_one_designator_are_never_one(office: Office) -> None:
    """Designators on the bus are often what the maker set; another NAME may be another machine."""
    plain = task_data().replace(b' E="U07-000482"', b"")
    office.send(plain, "TASKDATA.XML")
    office.answer({"card": CARD, "only": True})
    other = plain.replace(b"A00E840000012345", b"A00E840000099999")
    assert office.send(other, "TASKDATA.XML").lines[2].fate == "waits"
    assert "isobus-name is new there" in office.open()[0].content["text"]
    assert [line.fate for line in office.send(plain, "TASKDATA.XML").lines if line.what == "unit"] == ["nothing new"]


def test_the_same_machine_twice_in_one_file(office: Office) -> None:
    report = office.send(snapshot_json([machine(), machine()]))
    assert fates(report) == [("new unit", "Unit-07"), ("nothing new", "Unit-07")]


@pytest.mark.parametrize("serial", ["0000", "unknown", "n/a", "1"])
def test_a_placeholder_proves_nothing(office: Office, serial: str) -> None:
    report = office.send(snapshot_json([machine(serial=serial, pin="")]))
    assert any("placeholder" in note for note in report.notes)
    assert all(scheme != "serial" for scheme, _ in office.known_by("Unit-07"))


def test_a_pin_with_letters_that_plates_have_not(office: Office) -> None:
    report = office.send(snapshot_json([machine(pin="XXXMDA1AC0000O482")]))
    assert any("stand for 1 and 0" in note for note in report.notes)
    assert all(scheme != "pin" for scheme, _ in office.known_by("Unit-07"))


def test_serial_breaks_that_cant_be_decided_ask(place: Place) -> None:
    office = Office(place)
    office.use_card(CARD, "U07-000100", "U07-000499")
    report = office.send(
        snapshot_json(
            [
                machine(),
                machine("Unit 08", "U07-000500", "XXXMDA1AC00000500"),
                machine("Unit 09", "V07-000200", "XXXMDA1AC00000200"),
                machine("Unit 10", "U07-00300", "XXXMDA1AC00000300"),
            ]
        )
    )
    assert [line.fate for line in report.lines] == ["new unit", "waits", "waits", "waits"]


def test_undo_takes_back_what_nothing_stands_on(office: Office) -> None:
    first = office.send(snapshot_json([machine()]))
    undone = office.undo(first.row.id)
    assert undone.left == ()
    assert office.unit("Unit-07").retired is not None
    assert office.known_by("Unit-07") == []
    again = office.send(snapshot_json([machine()]))
    assert fates(again) == [("new unit", "Unit-07")], "and it can be imported again"
    assert office.unit("Unit-07").retired is None
    assert office.undo(again.row.id).left == ()
    with pytest.raises(import_undo.UndoneBefore):
        office.undo(again.row.id)


def test_undo_gives_hours_back_but_not_newer_ones(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    second = office.send(snapshot_json([machine(hours=1500.0, at="2026-09-01T10:00:00Z")]))
    third = office.send(snapshot_json([machine(hours=1510.0, at=LATER)]))
    assert "newer engine hours" in office.undo(second.row.id).left[0]
    assert office.undo(third.row.id).left == ()
    assert office.unit("Unit-07").engine_hours == 1500.0


def test_undo_leaves_a_unit_that_another_import_knows(office: Office) -> None:
    first = office.send(snapshot_json([machine(hours=None)]))
    office.send(snapshot_json([machine(hours=1500.0)]))
    assert any("Unit-07 and what it is known by stay" in text for text in office.undo(first.row.id).left)
    assert ("pin", "XXXMDA1AC00000482") in office.known_by("Unit-07")


def test_undo_leaves_a_unit_that_was_set_up_since(office: Office, legal: str) -> None:
    first = office.send(snapshot_json([machine(hours=None)]))

    def set_up(work: Work) -> None:
        auditor = office.place.in_force.auditor(work, Level.HIGH)
        record(work, prepare(unit_named(work, "Unit-07"), auditor, legal.encode()), auditor.rulebook.digest)

    office.work(set_up)
    assert any("Unit-07 and what it is known by stay" in text for text in office.undo(first.row.id).left)
    assert office.unit("Unit-07").retired is None


def test_undo_of_what_answers_added(place: Place) -> None:
    office = Office(place)
    first = office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483", type="B")]))
    office.answer({"card": CARD})
    office.undo(first.row.id)
    assert office.unit("Unit-07").retired is not None
    assert office.open() == [], "what nobody answered is no question any more"


def test_task_data_prefill_but_verify_nothing(office: Office) -> None:
    report = office.send(task_data(), "TASKDATA.XML")
    assert ("waits", "") in fates(report)
    office.answer({"card": CARD, "only": True})
    found = office.work(lambda work: machine_words.values_of(work, "Unit-07"))
    assert {(one.quantity, one.role, one.value, one.measure) for one in found} == {
        ("concave_gap", "actual", 12.0, "mm"),
        ("fan_speed", "actual", 900.0, "r/min"),
        ("chaffer", "fixed", 14.0, "mm"),
    }
    assert office.unit("Unit-07").setups == 0


def test_planned_harvests_are_kept_once(office: Office) -> None:
    office.send(task_data(), "TASKDATA.XML")
    (waiting,) = office.work(lambda work: machine_words.tasks(work))
    assert waiting.unit == ""
    office.answer({"card": CARD, "only": True})
    found = office.work(lambda work: machine_words.tasks(work, "Unit-07"))
    assert [(one.name, one.crop, one.field) for one in found] == [("Harvest North 40", "wheat", "North 40")]
    again = office.send(task_data(), "TASKDATA.XML")
    assert again.repeated


def test_a_bus_and_a_maker_speak_of_one_machine_only_if_a_person_says_so(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    assert office.send(task_data(), "TASKDATA.XML", source="").lines[1].fate == "waits" or office.open()
    office.answer({"unit": "Unit-07"})
    assert ("isobus-name", "A00E840000012345") in office.known_by("Unit-07")
    assert all(line.fate != "waits" for line in office.send(task_data(), "TASKDATA.XML").lines)


def test_an_adapt_document_of_the_same_machine(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    report = office.send(adapt(), "adapt.json")
    line = next(line for line in report.lines if line.what == "unit")
    assert (line.fate, line.unit) == ("updated", "Unit-07"), "maker, type and serial are equal"


def test_a_split_can_be_taken_back(office: Office) -> None:
    office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))

    def pin_of(unit: str) -> Any:
        return next(one for one in office.work(lambda work: identities.of_unit(work, unit)) if one.scheme == "pin")

    first = pin_of("Unit-07")
    office.work(lambda work: split(work, unit_named(work, "Unit-07"), first.id, "Unit-08", "plates were mixed up"))
    assert ("pin", first.value) in office.known_by("Unit-08")
    moved = next(
        one for one in office.work(lambda work: identities.of_unit(work, "Unit-08")) if one.value == first.value
    )
    office.work(lambda work: split(work, unit_named(work, "Unit-08"), moved.id, "Unit-07", "they were not"))
    assert pin_of("Unit-07").value == first.value


def test_an_identity_of_another_unit_is_not_given(office: Office) -> None:
    office.send(snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    with pytest.raises(NotTaken, match="Unit-07"):
        office.work(lambda work: join(work, unit_named(work, "Unit-08"), ReadUnit("", pin="XXXMDA1AC00000482")))


@pytest.mark.parametrize(
    "says", [{}, {"card": "no-such"}, {"card": CARD, "what": 1}, {"unit": "x"}, {"card": CARD, "serial_from": "ZZ-1"}]
)
def test_answers_that_say_nothing(place: Place, says: dict[str, Any]) -> None:
    office = Office(place)
    office.send(snapshot_json([machine()]))
    with pytest.raises(import_answers.BadAnswer):
        office.answer(says)
    assert len(office.open()) == 1


def test_a_unit_out_of_the_fleet_is_not_touched(office: Office) -> None:
    office.send(snapshot_json([machine()]))
    office.work(lambda work: retire_unit(work, unit_named(work, "Unit-07")))
    report = office.send(snapshot_json([machine(hours=1500.0, at=LATER)]))
    assert fates(report) == [("refused", "")]
    assert "taken out" in report.lines[0].text


def read_locally(office: Office, hours: float, shown: str) -> Report:
    """Hours whose time came without an offset."""
    return office.send(snapshot_json([machine(hours=hours, at=shown)]))


def test_hours_of_an_unknown_offset_are_older_only_if_no_clock_says_otherwise(office: Office) -> None:
    office.send(snapshot_json([machine(hours=1000.0, at="2026-09-20T12:00:00Z")]))
    report = read_locally(office, 990.0, "2026-09-19T23:59:00")
    assert fates(report) == [("updated", "Unit-07")], "at UTC-12 it is still before"
    assert "kept as history" in report.lines[0].text
    assert fates(read_locally(office, 980.0, "2026-09-20T00:01:00")) == [("waits", "Unit-07")]
    assert office.unit("Unit-07").engine_hours == 1000.0


def test_hours_of_an_unknown_offset_rise_and_are_told_without_one(office: Office) -> None:
    office.send(snapshot_json([machine(hours=1000.0, at="2026-09-20T12:00:00Z")]))
    assert fates(read_locally(office, 1010.0, "2026-09-20T11:00:00")) == [("updated", "Unit-07")]
    row = office.unit("Unit-07")
    assert (row.engine_hours, row.hours_at) == (1010.0, datetime(2026, 9, 20, 23, tzinfo=UTC).timestamp())
    (newest, *_) = office.work(lambda work: machine_words.hours_of(work, "Unit-07", 1))
    assert newest.local
    assert hours_json(newest)["taken"] == "2026-09-20T11:00:00.000"


def test_hours_of_a_time_to_come_by_every_clock(office: Office) -> None:
    """NOW is 14:13:20 UTC; at UTC+14 it is 04:13:20 of the next day."""
    assert fates(read_locally(office, 1000.0, "2026-09-22T04:00:00"))[0][0] == "new unit"
    assert fates(read_locally(office, 1000.0, "2026-09-22T05:00:00"))[0][0] == "refused"


def test_fault_codes_are_kept_as_told_and_judge_nothing(office: Office) -> None:
    told = {
        "CodeIdentifier": "SPN 110 FMI 3", "CodeDescription": "Coolant temperature above normal",
        "CodeSeverity": "high", "CodeSource": "Engine", "datetime": "2026-05-31T17:00:00Z",
    }  # fmt: skip
    one = {**machine(), "FaultCode": [told, {"CodeSeverity": "low"}]}
    report = office.send(snapshot_json([one]))
    assert "1 fault codes, as the machine tells them" in report.lines[0].text
    assert any("left out" in note for note in report.notes)
    assert fates(office.send(snapshot_json([one, machine("Unit 08", "", "")])))[0] == ("nothing new", "Unit-07")
    (kept,) = office.work(lambda work: machine_words.faults_of(work, "Unit-07", 10))
    assert (kept.code, kept.severity, kept.source) == ("SPN 110 FMI 3", "high", "Engine")
    with office.place.store.reading("home", NOW) as work:
        assert office.place.gate.see(work, office.unit_in(work, "Unit-07"), office.job).setup is None
    xml = snapshot_xml([machine()]).replace(
        b"</Equipment>",
        b'<FaultCode datetime="2026-05-31T17:00:00Z"><CodeIdentifier>SPN 110 FMI 3</CodeIdentifier>'
        b"<CodeSource>Engine</CodeSource></FaultCode></Equipment>",
    )
    assert fates(office.send(xml, "fleet.xml")) == [("nothing new", "Unit-07")], "XML tells the same as JSON"
    assert "1 fault codes from machines" in office.undo(report.row.id).done
    assert office.work(lambda work: machine_words.faults_of(work, "Unit-07", 10)) == []


def test_a_time_series_names_no_machine() -> None:
    with pytest.raises(NotRead, match="names no machine"):
        importing.prepare(opened("hours.xml", b"<CumulativeOperatingHoursMessages/>"), format="fleet-snapshot")


LINKED = '<ISO11783LinkList><LGP A="LGP1" B="1"><LNK A="DVC1" B="c232ab00-9414-11ec-b3c8-9f6bdeced846"/></LGP></ISO11783LinkList>'


def linked(name: str, designator: str) -> bytes:
    """Task data whose combine has no serial, and a link to another system's record of it."""
    data = task_data(name=name).replace(b'B="Unit 07" C="4.2.0"', f'B="{designator}" C="4.2.0"'.encode())
    return zipped({"TASKDATA.XML": data.replace(b' E="U07-000482"', b""), "LINKLIST.XML": LINKED.encode()})


def test_the_id_of_another_system_finds_a_unit_and_proves_nothing(office: Office) -> None:
    first = office.send(linked("A00E840000012345", "Unit 07"), "a.zip")
    assert [line.fate for line in first.lines if line.what == "unit"] == ["waits"]
    office.answer({"card": CARD})
    assert ("system-id", "c232ab00-9414-11ec-b3c8-9f6bdeced846") in office.known_by("Unit-07")
    again = office.send(linked("A00E840000012345", "Unit 07"), "b.zip")
    assert [line.unit for line in again.lines if line.what == "unit"] == ["Unit-07"]
    other = office.send(linked("A00E840000054321", "Unit 77"), "c.zip")
    assert [line.fate for line in other.lines if line.what == "unit"] == ["waits"], "a NAME that is new is asked about"
    assert [one.kind for one in office.open()] == ["which-unit"]


def test_a_row_that_waits_is_the_same_when_it_is_read_again(place: Place) -> None:
    office = Office(place)
    one = {**machine(), "FaultCode": [{"CodeIdentifier": "SPN 110 FMI 3"}]}
    for content, name in ((snapshot_json([one]), "fleet.json"), (linked("A00E840000012345", "Unit 07"), "a.zip")):
        office.send(content, name)
        assert office.send(content, name).repeated
