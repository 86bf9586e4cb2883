"""Tables as CSV and workbooks, read back by other programs: the standard library's csv, openpyxl."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from api.pages.sheets.tables import Column, Table, csv_bytes
from api.pages.sheets.workbook import workbook

AT = 1_790_000_000.0
WHEN = datetime(2026, 9, 21, 14, 13, 20, tzinfo=UTC)
COLUMNS = (Column("Name", wide=20), Column("Speed", "r/min"), Column("When"))


def read(text: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text.decode("utf-8-sig"), newline="")))


def test_csv_has_units_in_its_heading_and_numbers_with_points() -> None:
    rows = read(
        csv_bytes(Table("t", COLUMNS, [('Müller, "Hof"', 497.25, WHEN), (None, None, None), ("a\nb", True, 3)]))
    )
    assert rows == [
        ["Name", "Speed [r/min]", "When"],
        ['Müller, "Hof"', "497.25", "2026-09-21T14:13:20Z"],
        ["", "", ""],
        ["a\nb", "yes", "3"],
    ]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2", "@SUM(A1)", "\t=1", "=cmd|' /C calc'!A0"])
def test_no_text_becomes_a_formula(text: str) -> None:
    table = Table("t", COLUMNS[:2], [(text, -2.0)])
    row = read(csv_bytes(table))[1]
    assert row[0].startswith("'")
    assert row[1] == "-2.0"  # a number below zero stays a number
    leaf = load_workbook(io.BytesIO(workbook([table], "t", [], "About", AT)))["t"]
    assert leaf["A2"].data_type == "s"
    assert leaf["B2"].value == -2


@given(st.text(max_size=60), st.floats(-1e300, 1e300))
def test_whatever_a_text_is_the_workbook_opens_and_holds_it(text: str, value: float) -> None:
    table = Table(text, (Column("a"), Column("b")), [(text, value)])
    book = load_workbook(io.BytesIO(workbook([table, table], text, [(text, text)], text, AT)))
    assert len(book.sheetnames) == 3
    leaf = book.worksheets[0]
    kept = "".join(char for char in text if char == "\n" or char.isprintable())
    assert (leaf["A2"].value or "") == kept
    assert leaf["B2"].value == pytest.approx(value, rel=1e-14)
    assert leaf["A2"].data_type != "f"


def test_times_are_times_and_nothing_is_nothing() -> None:
    leaf = load_workbook(io.BytesIO(workbook([Table("t", COLUMNS, [("a", None, WHEN)])], "t", [], "About", AT)))["t"]
    assert leaf["B2"].value is None
    assert leaf["C2"].value == WHEN.replace(tzinfo=None)
    assert leaf["B1"].value == "Speed [r/min]"
    assert leaf.freeze_panes == "A2"
