"""A fleet's report: one page that says most, plots that hold the same numbers, every unit, in bounded room."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from functools import cache
from typing import Any

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from api.fleet.blocks import Block, Piece, Seal, Text
from api.fleet.judging import Judge
from api.fleet_lines import finding_line, unit_line
from api.fleet_wire import Plain, fleet_json
from api.pages.sheets.fleet_report import Beside, fleet_report
from api.pages.sheets.printout import Printout, printed
from api.pages.sheets.speeds import Speed, speeds_of
from audit.facts import compute
from audit.fleet.units import Fleet, fleet_of
from audit.nouns.risk import Level
from tests.api.drawings.reading import read
from tests.api.pages.sheets.making import DEMO, book, holds, machine, pages, printing, squeezed


def judged(texts: list[bytes], plan: bool) -> Fleet:
    piece = Piece("lines", Text(b"\n".join(texts)), 1, len(texts))
    done = Judge(book(), Level.HIGH).block(Block(0, "demo", 1, piece, Seal(0, 0, ""), 0), plan)
    units = [unit_line(json.loads(line)) for line in done.units.splitlines()]
    return fleet_of(units, (finding_line(json.loads(line)) for line in done.findings.splitlines()), book().digest)


@cache
def demo_fleet() -> tuple[Fleet, Plain, dict[str, list[Speed]]]:
    """The demo's fleet, its answer, and the speeds of its units."""
    texts = DEMO.read_bytes().splitlines()
    fleet = judged(texts, plan=True)
    found = [machine(json.loads(text)) for text in texts]
    speeds = {one.setup.unit.id: speeds_of(one.sheet, compute(one.sheet, one.setup).values, "card") for one in found}
    return fleet, fleet_json(fleet, book(), {}), speeds


def report(answer: Plain | None = None, **more: Any) -> Printout:
    fleet, usual, speeds = demo_fleet()
    return fleet_report(answer or usual, fleet, book(), Beside("Tarnfield Growers", speeds), printing(**more))


def test_the_first_page_says_how_many_are_held_who_is_worst_the_work_and_the_parts() -> None:
    _, answer, _ = demo_fleet()
    for paper in ("a4", "letter"):
        first = squeezed(pages(printed(report(paper=paper), printing(paper=paper), "pdf"))[0])
        texts = [f"{answer['held']} / {answer['units']}", "Worst first", "Hours of work by farm", "Parts to order"]
        texts += [answer["worst_first"][0]["unit"], answer["farms"][0]["farm"], answer["to_order"][0]["part"]]
        for text in texts:
            assert squeezed(text) in first, text


def test_visits_stand_on_the_first_page_and_day_by_day() -> None:
    _, answer, _ = demo_fleet()
    units = [unit["unit"] for unit in answer["worst_first"] if unit["work"] and unit["work"]["steps"]]
    day = {
        "day": "2026-09-15", "technician": "tech-01", "base": "Workshop", "leaves": "07:00", "back": "15:00",
        "travel_minutes": 40, "work_minutes": 90, "parts": [{"part": "belt", "units": 1}], "tools": ["13 mm spanner"],
        "visits": [{"farm": "Oxgill Farm", "arrives": "07:40", "begins": "07:40", "leaves": "09:10",
                    "work": [{"unit": units[0], "card": "axial-single", "held": True, "minutes": 90, "technicians": 1,
                              "people": 1, "part": 1}]}],
    }  # fmt: skip
    left = {"unit": units[1], "farm": "Saltlane Farm", "held": False, "why": "no room before the harvest"}
    found = report({**answer, "visits": {"days": [day], "left_out": [left]}})
    pdf = printed(found, printing(), "pdf")
    assert "2026-09-15" in pages(pdf)[0]
    assert holds(pdf, ["leaves Workshop at 07:00", "no room before the harvest", "13 mm spanner"]) == []
    leaf = load_workbook(io.BytesIO(printed(found, printing(), "xlsx")))["Visits"]
    assert leaf["F2"].value == units[0]
    assert leaf["H2"].value == 90


def test_every_unit_stands_there_with_its_worst_finding() -> None:
    _, answer, _ = demo_fleet()
    texts = [unit["unit"] for unit in answer["worst_first"]]
    texts += [unit["findings"][0]["title"] for unit in answer["worst_first"] if unit["findings"]]
    assert holds(printed(report(), printing(), "pdf"), texts) == []


def test_plots_add_up_to_the_hours_at_risk() -> None:
    _, answer, _ = demo_fleet()
    by_system, by_farm, by_years = report().content["risk"]
    for plot in (by_system, by_farm):
        hours = [
            float(text[:-2].replace(",", "")) for text in _texts(plot) if text.endswith(" h") and text[0].isdigit()
        ]
        assert sum(hours) == pytest.approx(answer["hours_at_risk"], abs=0.05 * len(hours))
    machines = [
        int(text.split(", ")[1].split()[0]) for text in _texts(by_years) if " machine" in text and " h, " in text
    ]
    assert sum(machines) == answer["units"]


def _texts(plot: str) -> list[str]:
    return [text.text for text in read(plot).texts]


def test_speeds_outside_their_window_are_counted_as_the_findings_count_them() -> None:
    fleet, _, speeds = demo_fleet()
    slow = {unit.line.unit for unit in fleet.units
            for one in unit.broken if one.quantity == "shoe.fan_speed"}  # fmt: skip
    outside = {
        unit
        for unit, some in speeds.items()
        for one in some
        if one.quantity == "shoe.fan_speed" and one.value is not None
        and not (one.low or 0.0) <= one.value <= (one.high or 1e9)
    }  # fmt: skip
    assert slow
    assert outside == slow


def test_work_that_was_not_planned_is_never_told_as_none() -> None:
    fleet = judged(DEMO.read_bytes().splitlines(), plan=False)
    answer = fleet_json(fleet, book(), {})
    found = fleet_report(answer, fleet, book(), Beside("x"), printing())
    html = printed(found, printing(), "html").decode()
    assert f"For {len(answer['unplanned'])} units with findings no work was planned" in html
    assert "≥ 0 min" in html
    assert "The lists of an audit hold no speeds" in html


def test_csv_has_a_line_for_each_unit_with_numbers() -> None:
    _, answer, _ = demo_fleet()
    rows = list(csv.DictReader(io.StringIO(printed(report(), printing(), "csv").decode("utf-8-sig"), newline="")))
    assert [row["Unit of the fleet"] for row in rows] == [unit["unit"] for unit in answer["worst_first"]]
    assert sum(float(row["At risk [h]"]) for row in rows) == pytest.approx(answer["hours_at_risk"])


def test_two_thousand_units_in_bounded_room() -> None:
    lines = [json.loads(line) for line in DEMO.read_text().splitlines()]
    texts = []
    for n in range(2000):
        one = lines[n % len(lines)]
        one["unit"] |= {"id": f"unit-{n:04d}", "owner": f"Farm {n % 41}"}
        texts.append(json.dumps(one).encode())
    fleet = judged(texts, plan=False)
    answer = fleet_json(fleet, book(), {date.today().isoformat(): date.today()})
    found = fleet_report(answer, fleet, book(), Beside("x"), printing())
    html = printed(found, printing(), "html")
    assert len(html) < 4_000_000
    leaf = load_workbook(io.BytesIO(printed(found, printing(), "xlsx")), read_only=True)["Units"]
    assert sum(1 for _ in leaf.iter_rows()) == 2001
    pdf = PdfReader(io.BytesIO(printed(found, printing(), "pdf")))
    assert len(pdf.pages) < 120
    last = pdf.pages[-1].extract_text()
    assert found.content["units"][-1]["unit"] in last
