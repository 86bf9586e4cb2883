"""Tables of machines: RFC 4180, with a mapping of columns."""

from __future__ import annotations

import pytest

from api.exchange.reading.files import opened
from api.exchange.reading.nouns import NotRead, Read
from api.exchange.reading.registry import format_of

MAPPING = b"""\
columns:
  "Machine no.": {is: fleet_number}
  Chassis: {is: serial}
  Make: {is: maker}
  Kind: {is: type}
  Built: {is: build_year}
  Hours: {is: engine_hours, unit: h}
  Read on: {is: hours_at}
"""
TITLES = "Machine no.,Chassis,Make,Kind,Built,Hours,Read on\n"


def read(table: str | bytes, mapping: bytes = MAPPING) -> Read:
    content = table.encode() if isinstance(table, str) else table
    files = opened("machines.csv", content)
    found = format_of(files)
    assert found.name == "csv-units"
    return found.read(files, mapping, None)


def test_a_line_is_a_machine() -> None:
    (unit,) = read(TITLES + '"Unit 07",U07-000482,"Sample, Works",Type A,2021,1482.35,2026-05-31T17:40:10Z\r\n').units
    assert (unit.fleet_number, unit.serial, unit.maker, unit.type, unit.build_year) == (
        "Unit 07", "U07-000482", "Sample, Works", "Type A", 2021,
    )  # fmt: skip
    assert unit.hours is not None
    assert (unit.hours.hours, unit.hours.taken) == (1482.35, 1780249210.0)


@pytest.mark.parametrize(("unit", "text"), [("h", "1482.5"), ("min", "88950"), ("s", "5337000")])
def test_units_of_hours(unit: str, text: str) -> None:
    found = read(f"{TITLES}Unit 07,,,,,{text},\n", MAPPING.replace(b"unit: h", f"unit: {unit}".encode()))
    assert found.units[0].hours is not None
    assert found.units[0].hours.hours == pytest.approx(1482.5)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("Unit 07,,,,,soon,", "no number"),
        ('Unit 07,,,,,"1.482,5",', "decimals"),
        ("Unit 07,,,,,1482,yesterday", "time of its hours"),
        ("Unit 07,,,,1821,1482,", "year of build"),
        (",,,,,1482,", "nothing by which"),
        ("Unit 07,,,", "cells"),
    ],
)
def test_lines_that_are_wrong_stop_no_others(line: str, why: str) -> None:
    found = read(f"{TITLES}{line}\n\nUnit 08,,,,,5,\n")
    assert [unit.fleet_number for unit in found.units] == ["Unit 08"]
    assert why in found.rows[0].why
    assert found.rows[0].place == "machines.csv, line 2"


@pytest.mark.parametrize(
    ("table", "why"),
    [
        (b"", "empty"),
        ("Machine no.,Käse\n".encode("latin-1"), "UTF-8"),
        (b"a\0b\n", "zero bytes"),
        (b"Machine no.,Hours\n", "no column 'Chassis'"),
        ((TITLES.strip() + ",Hours\n").encode(), "two columns"),
        ((TITLES + '"Unit 07,1\n').encode(), "quote"),
    ],
)
def test_tables_that_are_none(table: bytes, why: str) -> None:
    with pytest.raises(NotRead, match=why):
        read(table)


@pytest.mark.parametrize(
    ("mapping", "why"),
    [
        (b"", "needs a mapping"),
        (b"columns: [", "mapping"),
        (b"columns: {Hours: {is: engine_hours}}", "by which a machine is known"),
        (b"columns: {No: {is: fleet_number}, Nr: {is: fleet_number}}", "second column"),
        (b"columns: {No: {is: fleet_numbers}}", "fleet_number"),
        (b"columns: {No: {is: fleet_number, unti: h}}", "unti"),
        (b"columns: {No: {is: fleet_number}}\ncolour: red", "colour"),
        (b"columns: {No: {is: pin}, H: {is: engine_hours, unit: days}}", "unit"),
    ],
)
def test_mappings_that_are_none(mapping: bytes, why: str) -> None:
    with pytest.raises(NotRead, match=why):
        read(TITLES, mapping)


def test_semicolons_tabs_and_decimal_commas() -> None:
    mapping = b"delimiter: ';'\ndecimal: ','\ncolumns:\n  No: {is: fleet_number}\n  H: {is: engine_hours}\n"
    assert read("No;H\n7;1482,5\n", mapping).units[0].hours is not None
    tabs = mapping.replace(b"';'", b"tab")
    assert read("\ufeffNo\tH\n7\t1482,5\n", tabs).units[0].fleet_number == "7"
