"""Fleet snapshots compatible with ISO/TS 15143-3: element names of clauses 8.2, 8.4 and 11 as public readers print them.

The lists below were written from those names; no schema of the standard is copied.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from api.exchange.reading.files import opened
from api.exchange.reading.nouns import NotRead, Read
from api.exchange.reading.registry import format_of, known
from tests.api.exchange.samples import NAMESPACES, machine, snapshot_json, snapshot_xml, zipped

HEADER = {"UnitInstallDateTime", "OEMName", "Model", "EquipmentID", "SerialNumber", "PIN"}
"""Children of EquipmentHeader (11.2)."""
TIMES = ("attribute datetime", "attribute dateTime", "child datetime", "attribute Timestamp")
PAGES = [("self", "https://depot.example/Fleet/1"), ("next", "https://depot.example/Fleet/2")]


def read(content: bytes, name: str = "fleet.xml") -> Read:
    files = opened(name, content)
    found = format_of(files)
    assert found.name == "fleet-snapshot"
    return found.read(files, b"", None)


def test_our_samples_use_the_standard_s_names() -> None:
    assert set(machine()["EquipmentHeader"]) <= HEADER


@pytest.mark.parametrize("namespace", [*NAMESPACES, "urn:another"])
@pytest.mark.parametrize("time", TIMES)
def test_every_namespace_and_place_of_the_time(namespace: str, time: str) -> None:
    (unit,) = read(snapshot_xml([machine()], namespace=namespace, time=time)).units
    assert (unit.pin, unit.maker, unit.type, unit.serial, unit.fleet_number) == (
        "XXXMDA1AC00000482", "Sample Works", "Type A", "U07-000482", "Unit 07",
    )  # fmt: skip
    assert unit.hours is not None
    assert (unit.hours.hours, unit.hours.taken, unit.hours.local) == (1482.35, 1780249210.0, False)


def test_json_says_the_same_as_xml() -> None:
    xml, plain = read(snapshot_xml([machine()])).units[0], read(snapshot_json([machine()]), "fleet.json").units[0]
    for name in ("pin", "maker", "type", "serial", "fleet_number", "hours", "key"):
        assert getattr(xml, name) == getattr(plain, name)


@pytest.mark.parametrize(
    "wrap",
    [lambda plain: [plain], lambda plain: {"Fleet": plain}, lambda plain: plain["Equipment"], lambda plain: plain],
)
def test_shapes_of_json_that_are_in_use(wrap: Any) -> None:
    plain = json.loads(snapshot_json([machine()]))
    files = opened("fleet.json", json.dumps(wrap(plain)).encode())
    assert len(known()["fleet-snapshot"].read(files, b"", None).units) == 1


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00Z", "1970-01-01T00:00:00Z", ""])
def test_a_placeholder_is_no_time(at: str) -> None:
    hours = read(snapshot_xml([machine(at=at)])).units[0].hours
    assert hours is not None
    assert hours.taken is None


def test_a_time_without_an_offset_is_noted() -> None:
    found = read(snapshot_xml([machine(at="2026-05-31T17:40:10")]))
    assert found.units[0].hours is not None
    assert found.units[0].hours.local
    assert "without an offset" in found.notes[0]


@pytest.mark.parametrize("form", [snapshot_xml, snapshot_json])
def test_the_link_to_the_next_page(form: Any) -> None:
    assert read(form([machine()], PAGES)).next == "https://depot.example/Fleet/2"
    same = [(rel, "https://depot.example/Fleet/1") for rel in ("self", "next", "last")]
    assert read(form([machine()], same)).next == "", "some senders write one address for every relation"


def test_rows_that_are_wrong_stop_no_others() -> None:
    found = read(
        snapshot_xml(
            [{"EquipmentHeader": {}}, {}, machine(hours="soon"), machine(at="yesterday"), machine("Unit 09", hours=1)]
        )
    )
    assert [unit.fleet_number for unit in found.units] == ["Unit 09"]
    assert len(found.rows) == 4
    assert all(row.place.startswith("fleet.xml, line ") and row.wrong for row in found.rows)


def test_an_empty_fleet_is_said() -> None:
    assert read(snapshot_xml([])).notes == ("The snapshot holds no machine.",)


def test_unknown_members_are_passed_over() -> None:
    one = {**machine(), "FuelRemaining": {"Percent": 40}, "Extra": [1, 2], "Locations": None}
    assert len(read(snapshot_json([one])).units) == 1


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b'{"Equipment": [', "JSON"),
        (b'{"Equipment": NaN}', "JSON"),
        (b'{"Equipment": [], "Equipment": []}', "twice"),
        (b'{"Equipment": [{"EquipmentHeader": {"PIN": "\\ud800"}}]}', "no character"),
        (b'{"Equipment": [{"EquipmentHeader": {"PIN": "a\\u0000b"}}]}', "no character"),
        (b'{"Equipment": "\xff"}', "UTF-8"),
        (b"[" * 100_000 + b'"Equipment', "JSON"),
    ],
)
def test_json_that_is_none(content: bytes, why: str) -> None:
    with pytest.raises(NotRead, match=why):
        known()["fleet-snapshot"].read(opened("fleet.json", content), b"", None)


def test_xml_of_another_kind() -> None:
    with pytest.raises(NotRead, match="root element Feed"):
        known()["fleet-snapshot"].read(opened("fleet.xml", b"<Feed><Fleet/></Feed>"), b"", None)


def test_pages_that_were_saved_as_files() -> None:
    pages = {f"page-{n}.xml": snapshot_xml([machine(f"Unit {n}")], PAGES) for n in (1, 2)}
    found = read(zipped(pages), "fleet.zip")
    assert [unit.fleet_number for unit in found.units] == ["Unit 1", "Unit 2"]
    assert found.next == ""


def test_what_nobody_knows() -> None:
    with pytest.raises(NotRead, match="no format that is read here"):
        format_of(opened("photo.jpg", b"\xff\xd8\xff"))
    with pytest.raises(NotRead, match="is no format"):
        format_of(opened("a.xml", b"<a/>"), "spreadsheet")
