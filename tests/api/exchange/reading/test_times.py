"""Times without an offset: placed by a time zone that is named, else kept as they are and proving nothing.

The instants at which clocks change in Germany are those of Directive 2000/84/EC (articles 2 and 3): 01:00 UTC on the last
Sunday of March and of October; its time is UTC+1, in summer UTC+2 (IANA's Europe/Berlin). In Nepal it is UTC+5:45.
"""

from __future__ import annotations

import struct
from datetime import UTC, datetime

import pytest
from lxml import etree

from api.exchange.reading.files import opened
from api.exchange.reading.nouns import NotRead, Read
from api.exchange.reading.registry import known
from api.exchange.reading.time_logs import last_values, read_template
from api.exchange.reading.times import TWICE, UNPLACED, moment, zone_named
from tests.api.exchange.samples import LOG_TEMPLATE, adapt, machine, snapshot_json, task_data, zipped

BERLIN = "Europe/Berlin"
DAY = (datetime(2026, 5, 21, tzinfo=UTC) - datetime(1980, 1, 1, tzinfo=UTC)).days


def at(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def read(format: str, content: bytes, name: str = "file", zone: str = "", mapping: bytes = b"") -> Read:
    return known()[format].read(opened(name, content), mapping, zone_named(zone))


@pytest.mark.parametrize(
    ("shown", "meant"),
    [
        ("2026-07-20T06:00:00", "2026-07-20T04:00:00Z"),
        ("2026-01-20T06:00:00", "2026-01-20T05:00:00Z"),
        ("2026-10-25T01:59:59", "2026-10-24T23:59:59Z"),  # the last second before the hour that comes twice
        ("2026-10-25T03:00:00", "2026-10-25T02:00:00Z"),
        ("2026-03-29T01:59:59", "2026-03-29T00:59:59Z"),  # the last second before the hour that does not come
        ("2026-03-29T03:00:00", "2026-03-29T01:00:00Z"),
    ],
)
def test_a_clock_of_a_zone_in_summer_and_winter(shown: str, meant: str) -> None:
    found = moment(shown, zone_named(BERLIN))
    assert found is not None
    assert (found.at, found.local, found.note()) == (at(meant), False, "")


@pytest.mark.parametrize(
    ("shown", "earlier"),
    [("2026-10-25T02:30:00", "2026-10-25T00:30:00Z"), ("2026-03-29T02:30:00", "2026-03-29T00:30:00Z")],
)
def test_the_hour_of_the_change_is_the_earlier_one_and_said(shown: str, earlier: str) -> None:
    """Hours that were read earlier never make a setup look fresher."""
    found = moment(shown, zone_named(BERLIN))
    assert found is not None
    assert (found.at, found.note()) == (at(earlier), TWICE)


def test_an_offset_that_is_written_holds_whatever_the_zone() -> None:
    found = moment("2026-07-20T06:00:00+05:45", zone_named(BERLIN))
    assert found == moment("2026-07-20T06:00:00", zone_named("Asia/Kathmandu"))


@pytest.mark.parametrize("name", ["Berlin", "CEST", "+02:00", "../../etc/passwd", "x" * 500])
def test_zones_that_are_none(name: str) -> None:
    with pytest.raises(NotRead, match="time zone"):
        zone_named(name)


def test_task_data_by_the_zone_of_the_machine() -> None:
    found = read("task-files", task_data(), "TASKDATA.XML", BERLIN)
    hours, task = found.units[0].hours, found.tasks[0]
    assert hours is not None
    assert (hours.taken, hours.local) == (at("2026-05-20T16:00:00Z"), False)
    assert (task.begins, task.ends, task.local) == (at("2026-07-20T04:00:00Z"), at("2026-07-20T16:00:00Z"), False)
    assert not any(value.local for value in found.units[0].values)
    assert UNPLACED not in found.notes


def test_task_data_without_a_zone_are_kept_as_written() -> None:
    found = read("task-files", task_data(), "TASKDATA.XML")
    hours, task = found.units[0].hours, found.tasks[0]
    assert hours is not None
    assert (hours.taken, hours.local, task.local) == (at("2026-05-20T18:00:00Z"), True, True)
    assert hours.latest() == at("2026-05-20T18:00:00-12:00")
    assert hours.earliest() == at("2026-05-20T18:00:00+14:00")
    assert found.notes.count(UNPLACED) == 1


def log(template: bytes, position: bytes) -> bytes:
    """Task data with a log of one record: 1482.5 engine hours at 07:40 by the machine's clock."""
    record = struct.pack("<IH", 27_600_000, DAY) + position + struct.pack("<BBi", 1, 0, 14825)
    task = '<TSK A="TSK9" B="Logged" G="4"><TLG A="TLG00001" C="1"/></TSK>'
    return zipped({"TASKDATA.XML": task_data(tasks=task), "TLG00001.xml": template, "TLG00001.bin": record})


POSITION = struct.pack("<iiB", 499_001_000, -971_402_000, 1)


def test_a_log_is_in_the_clock_of_the_machine() -> None:
    hours = read("task-files", log(LOG_TEMPLATE, POSITION), "a.zip", BERLIN).units[0].hours
    assert hours is not None
    assert (hours.hours, hours.taken, hours.local) == (1482.5, at("2026-05-21T05:40:00Z"), False)
    unplaced = read("task-files", log(LOG_TEMPLATE, POSITION), "a.zip").units[0].hours
    assert unplaced is not None
    assert (unplaced.taken, unplaced.local) == (at("2026-05-21T07:40:00Z"), True)


SATELLITES = LOG_TEMPLATE.replace(b'D=""/>', b'D="" H="" I=""/>')


def test_a_log_with_the_time_of_satellites_needs_no_zone() -> None:
    """It goes before the machine's clock, whatever zone that is said to be of."""
    assert SATELLITES != LOG_TEMPLATE
    position = POSITION + struct.pack("<IH", 45_600_000, DAY)
    for zone in ("", BERLIN):
        hours = read("task-files", log(SATELLITES, position), "a.zip", zone).units[0].hours
        assert hours is not None
        assert (hours.hours, hours.taken, hours.local) == (1482.5, at("2026-05-21T12:40:00Z"), False)


@pytest.mark.parametrize(
    ("clock", "day"), [(0xFFFFFFFF, 0xFFFF), (45_600_000, 0xFFFF), (45_600_000, 0), (86_400_000, DAY)]
)
def test_satellites_that_were_not_seen(clock: int, day: int) -> None:
    hours = read("task-files", log(SATELLITES, POSITION + struct.pack("<IH", clock, day)), "a.zip").units[0].hours
    assert hours is not None
    assert (hours.taken, hours.local) == (at("2026-05-21T07:40:00Z"), True)


def test_other_formats_by_their_zone() -> None:
    content = snapshot_json([machine(at="2026-05-31T17:40:10")])
    snapshot = read("fleet-snapshot", content, zone=BERLIN).units[0].hours
    assert snapshot is not None
    assert snapshot.taken == at("2026-05-31T15:40:10Z")
    document = read("adapt", adapt().replace(b"00:00Z", b"00:00"), "adapt.json", BERLIN)
    assert document.units[0].values[0].taken == at("2026-05-20T06:00:00Z")
    assert document.tasks[0].begins == at("2026-07-20T04:00:00Z")
    table = b"No,Hours,Read\n7,1200,2026-05-31T17:40:10\n"
    mapping = b"columns: {No: {is: fleet_number}, Hours: {is: engine_hours}, Read: {is: hours_at}}"
    for zone, more in ((BERLIN, b""), ("", b"\ntimezone: Europe/Berlin\n"), (BERLIN, b"\ntimezone: Europe/Berlin\n")):
        hours = read("csv-units", table, "m.csv", zone, mapping + more).units[0].hours
        assert hours is not None
        assert (hours.taken, hours.local) == (at("2026-05-31T15:40:10Z"), False)
    with pytest.raises(NotRead, match="Leave one of them out"):
        read("csv-units", table, "m.csv", "UTC", mapping + b"\ntimezone: Europe/Berlin\n")


SEEN = bytes.fromhex("8024a5012e42a826be1df09419c60100cdb7022e420300e93900000107000000020c000000")
"""One record of a log, and what the public reader ``isoxml`` 1.11.2 of npm (Apache-2.0) reads in it: 07:40:00 on
2026-05-21, 49.9001 north, 97.1402 west, status 1, satellites' day 16942 and 45600000 ms, 14825 for 01ED of DET1, 7 for 0001
of DET1, 12 for 00FB of DET2. So numbers are little-endian, and days are counted from 1980-01-01."""


def test_a_record_is_read_as_the_public_reader_reads_it() -> None:
    template = read_template(etree.fromstring(SATELLITES))
    found, said = last_values(template, SEEN, {0x01ED: None, 0x0001: None, 0x00FB: None})
    assert said == ""
    assert [(one.entry, one.element, one.value) for one in found] == [
        (0x01ED, "DET1", 14825), (0x0001, "DET1", 7), (0x00FB, "DET2", 12),
    ]  # fmt: skip
    assert {one.shown for one in found} == {datetime(2026, 5, 21, 7, 40)}
    assert {one.utc for one in found} == {datetime(1980, 1, 1, tzinfo=UTC).timestamp() + 16_942 * 86_400 + 45_600}
