"""Task data of ISO 11783-10.

Checked against: the public reader ``isoxml`` (Apache-2.0), which reads our samples by the schema's own classes, and whose
list of data dictionary entries gives names, units and resolutions; the layout of NAME in ISO 11783-5 as the
open implementation AgIsoStack++ (MIT) documents it.
"""

from __future__ import annotations

import struct
from typing import Any

import pytest
from isoxml.models.ddi_entities import DDEntity
from isoxml.util.isoxml_io import isoxml_from_text

from api.exchange.reading.dictionary import (
    ENGINE_HOURS,
    HOURS_PER_STEP,
    PRACTICE,
    PROPRIETARY,
    SETTINGS,
    WORKING_HOURS,
    code,
)
from api.exchange.reading.files import Files, opened
from api.exchange.reading.names import decode, matches, means_harvesters
from api.exchange.reading.nouns import NotRead, Read, Role
from api.exchange.reading.registry import format_of
from tests.api.exchange.samples import LOG_TEMPLATE, NAME, log_record, task_data, zipped

WIDTHS = (
    ("self_configurable", 1), ("industry_group", 3), ("device_class_instance", 4), ("device_class", 7), ("reserved", 1),
    ("function", 8), ("function_instance", 5), ("ecu_instance", 3), ("manufacturer_code", 11), ("identity_number", 21),
)  # fmt: skip
"""Fields of NAME from the highest bit down, with their bits."""
LOG_TASK = '<TSK A="TSK9" B="Logged" G="4"><TLG A="TLG00001" C="1"/></TSK>'
DAY = 16_942
"""2026-05-21, in days since 1980-01-01."""


def read(files: Files) -> Read:
    found = format_of(files)
    assert found.name == "task-files"
    return found.read(files, b"", None)


def one(content: bytes) -> Read:
    return read(opened("TASKDATA.XML", content))


# --------------------------------------------------------------------------------------------------------------- NAME


def named(**fields: int) -> str:
    """A NAME written bit by bit, from the highest field down."""
    bits = "".join(f"{fields.get(name, 0):0{width}b}" for name, width in WIDTHS)
    assert len(bits) == 64
    return f"{int(bits, 2):016X}"


@pytest.mark.parametrize("field", [name for name, _ in WIDTHS if name != "reserved"])
def test_each_field_of_a_name(field: str) -> None:
    most = 2 ** dict(WIDTHS)[field] - 1
    found = decode(named(**{field: most}))
    assert found is not None
    for name, _ in WIDTHS:
        if name != "reserved":
            assert getattr(found, name) == (most if name == field else 0)


def test_the_name_of_the_sample() -> None:
    """Group 2, class 7, function 132, manufacturer 0 (reserved), identity 74565."""
    assert named(self_configurable=1, industry_group=2, device_class=7, function=132, identity_number=74565) == NAME
    found = decode(NAME)
    assert found is not None
    assert found.is_harvester()


def test_class_seven_of_another_group_is_no_harvester() -> None:
    """In group 3, construction, class 7 is a wheel loader."""
    found = decode(named(industry_group=3, device_class=7))
    assert found is not None
    assert not found.is_harvester()


@pytest.mark.parametrize("text", ["", "A00E84000001234", "A00E8400000123456", "G00E840000012345", "0xA00E8400001234"])
def test_what_is_no_name(text: str) -> None:
    assert decode(text) is None
    assert not matches(text, NAME, NAME)


def test_masks_of_allocations() -> None:
    any_harvester = named(industry_group=7, device_class=127)
    assert matches(NAME, named(industry_group=2, device_class=7), any_harvester)
    assert not matches(named(industry_group=2, device_class=1), named(industry_group=2, device_class=7), any_harvester)
    assert means_harvesters(named(industry_group=2, device_class=7), any_harvester)
    assert not means_harvesters(named(industry_group=2, device_class=7), named(industry_group=7))


# --------------------------------------------------------------------------------------------------- data dictionary

UNITS = {"mm": 1.0, "/s": 60.0, "h": 1.0, "1/s": 60.0, "r/s": 60.0}
"""The dictionary's units in ours: mm, r/min, h."""


@pytest.mark.parametrize("entry", sorted(SETTINGS))
def test_settings_are_those_of_the_dictionary(entry: int) -> None:
    ours, theirs = SETTINGS[entry], DDEntity.from_id(entry)
    word = {"concave_gap": "concave", "chaffer": "chaffer", "sieve": "sieve", "fan_speed": "fan"}[ours.quantity]
    assert word in theirs.name.lower()
    assert ("setpoint" if ours.role is Role.WANTED else "actual") in theirs.name.lower()
    assert ours.factor == pytest.approx(theirs.bit_resolution * UNITS[theirs.unit])


def test_hours_and_practice_are_those_of_the_dictionary() -> None:
    hours = DDEntity.from_id(ENGINE_HOURS)
    assert ("engine hours" in hours.name.lower(), hours.unit, hours.bit_resolution) == (True, "h", HOURS_PER_STEP)
    assert "working hours" in DDEntity.from_id(WORKING_HOURS).name.lower()
    assert "cultural practice" in DDEntity.from_id(PRACTICE[0]).name.lower()  # 471 is younger than that list
    assert (PROPRIETARY.start, PROPRIETARY.stop - 1) == (57344, 65534)


@pytest.mark.parametrize(("text", "number"), [("01ED", 493), ("01ed", 493), ("1ED", None), ("", None), ("XYZW", None)])
def test_codes(text: str, number: int | None) -> None:
    assert code(text) == number


# ------------------------------------------------------------------------------------------------------ whole files


@pytest.mark.parametrize("version", ["3", "4"])
def test_the_public_reader_sees_what_we_see(version: str) -> None:
    content = task_data(version)
    theirs: Any = isoxml_from_text(content.decode())
    ours, device = one(content), theirs.devices[0]
    (unit,) = ours.units
    name = device.client_name if version == "4" else device.working_set_master_name
    assert unit.isobus_name == name.hex().upper()
    assert (unit.serial, unit.fleet_number) == (device.serial_number, device.designator)
    assert [crop.designator for crop in theirs.crop_types] == ["TRZAX Winter wheat", "Raps"]
    assert [crop.said for crop in ours.crops] == [("TRZAX", "TRZAX Winter wheat", "Winter wheat"), ("Raps",)]
    planned = [task for task in theirs.tasks if task.status.value == "1"]
    assert ours.tasks[0].name == planned[0].designator
    assert len(ours.tasks) == 1, "the other one plans no harvest"
    values = {(value.process_data_ddi, value.process_data_value) for value in theirs.tasks[2].times[0].data_log_values}
    assert (b"\x01\xed", 14820) in values
    assert unit.hours is not None
    assert unit.hours.hours == pytest.approx(1482.0)


def test_settings_with_their_source() -> None:
    (unit,) = one(task_data()).units
    found = {(value.quantity, value.role, value.value, value.measure, value.part) for value in unit.values}
    assert found == {
        ("concave_gap", Role.ACTUAL, 12.0, "mm", "Threshing"),
        ("fan_speed", Role.ACTUAL, 900.0, "r/min", "Cleaning"),
        ("chaffer", Role.FIXED, 14.0, "mm", "Threshing"),
    }


def test_a_tractor_is_passed_over_and_said() -> None:
    rows = one(task_data()).rows
    assert any("'Tractor' is no combine" in row.why and not row.wrong for row in rows)
    assert not any(row.wrong for row in rows)


def test_devices_of_one_machine_are_one_unit() -> None:
    header = (
        f'<DVC A="DVC3" B="Header" D="{NAME[:-1]}6" E="U07-000482" F="53455455503031" G="FF000000006E65">'
        '<DET A="DET9" B="1" C="1" D="Header" E="0" F="0"/></DVC>'
    )
    assert len(one(task_data(devices=header)).units) == 1
    other = header.replace("U07-000482", "U09-000001")
    assert len(one(task_data(devices=other)).units) == 2


def test_any_harvester_may_be_planned() -> None:
    mask = named(industry_group=7, device_class=127)
    task = f'<TSK A="TSK8" B="Any" E="PFD1" G="1"><DAN A="{named(industry_group=2, device_class=7)}" B="{mask}"/></TSK>'
    found = one(task_data(tasks=task)).tasks[1]
    assert (found.name, len(found.units)) == ("Any", 1)


def test_a_device_that_harvests_by_its_practice_is_a_combine() -> None:
    assert len(one(task_data(name=named(industry_group=2, device_class=0))).units) == 1


def test_sets_in_any_folder_and_case_and_several() -> None:
    found = read(opened("a.zip", zipped({"x/TaskData/taskdata.xml": task_data(), "y/TASKDATA.XML": task_data()})))
    assert len(found.units) == 2
    assert "2 sets" in found.notes[-1]


def test_files_that_a_set_refers_to() -> None:
    further = b'<?xml version="1.0"?><XFC><CTP A="CTP7" B="Weizen"/></XFC>'
    files = {"T/TASKDATA.XML": task_data(more='<XFR A="CTP00001" B="1"/>'), "T/ctp00001.xml": further}
    assert ("Weizen",) in [crop.said for crop in read(opened("a.zip", zipped(files))).crops]
    missing = one(task_data(more='<XFR A="CTP00001" B="1"/>'))
    assert any(row.wrong and "CTP00001, which is not there" in row.why for row in missing.rows)


def test_ids_that_stand_twice_are_said() -> None:
    found = one(task_data(more='<CTP A="CTP1" B="Gerste"/>'))
    assert any(row.wrong and "CTP1" in row.why for row in found.rows)


def test_references_that_lead_nowhere() -> None:
    task = '<TSK A="TSK8" B="Lost" E="PFD99" G="1"><DAN C="DVC1"/><PAN A="PDT99" D="2"/></TSK>'
    found = one(task_data(tasks=task)).tasks[1]
    assert (found.field, found.crops) == ("", ())


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (task_data("2"), "version '2'"),
        (b"<ISO11783_TaskData/>", "version ''"),
        (b"<ISO11783LinkList/>", "another kind"),
    ],
)
def test_files_of_another_kind(content: bytes, why: str) -> None:
    with pytest.raises(NotRead, match=why):
        one(content)


def test_a_name_that_is_none_is_a_row_error() -> None:
    found = one(task_data(name="A00E84000001234"))
    assert any(row.wrong and "16 hexadecimal digits" in row.why for row in found.rows)
    assert found.units == ()


# -------------------------------------------------------------------------------------------------------- time logs


def logged(binary: bytes, template: bytes = LOG_TEMPLATE) -> Read:
    files = {"TASKDATA.XML": task_data(tasks=LOG_TASK), "TLG00001.xml": template, "TLG00001.BIN": binary}
    return read(opened("a.zip", zipped(files)))


def test_the_last_value_of_a_time_log() -> None:
    records = [
        (DAY, 3_600_000, [(0, 14_900), (2, 13)]),
        (DAY, 7_200_000, [(0, 14_930), (1, 5)]),
        (DAY + 1, 0, [(2, 15)]),
    ]
    (unit,) = logged(b"".join(log_record(*record) for record in records)).units
    assert unit.hours is not None
    assert unit.hours.hours == pytest.approx(1493.0)
    assert unit.hours.taken == 315_532_800 + DAY * 86_400 + 7200
    assert unit.hours.local
    concave = next(value for value in unit.values if value.code == "DDI 251")
    assert (concave.value, concave.taken) == (15.0, 315_532_800 + (DAY + 1) * 86_400)


def test_a_log_that_breaks_off_is_good_up_to_there() -> None:
    whole = log_record(DAY, 0, [(0, 14_900)])
    for cut in range(1, len(whole)):
        found = logged(whole + log_record(DAY, 1000, [(0, 99_999)])[:cut])
        assert found.units[0].hours is not None
        assert found.units[0].hours.hours == pytest.approx(1490.0)
        assert any("not whole" in note for note in found.notes)


@pytest.mark.parametrize("binary", [b"", b"\xff" * 500, struct.pack("<IH", 90_000_000, DAY) + b"\0" * 40])
def test_logs_that_are_none(binary: bytes) -> None:
    assert len(logged(binary).units) == 1


def test_a_template_that_is_none() -> None:
    assert any(row.wrong and "no single TIM" in row.why for row in logged(b"", b"<A/>").rows)


def test_a_log_without_its_file() -> None:
    found = one(task_data(tasks=LOG_TASK))
    assert any(row.wrong and "not there" in row.why for row in found.rows)
    assert len(found.units) == 1
