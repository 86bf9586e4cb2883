"""Sheets of the demo's units, made as the command line makes them."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from api.commands.sheets import machine_of
from api.environment import rulebook
from api.pages.languages import languages
from api.pages.sheets.cab_sheet import cab_sheet
from api.pages.sheets.printout import Printing, Printout
from api.pages.sheets.unit_sheet import Machine, about_unit, unit_sheet
from api.pages.sheets.work_order import work_order
from api.pages.view import View
from audit.intake.setups import read_setup
from audit.nouns.plan import Locks, Planned
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.planning.changeover import changeover
from audit.planning.planner import Planner
from audit.sheet import make_sheet

DEMO = Path(__file__).parents[4] / "api" / "demo" / "before-corn.ndjson"
AT = 1_790_000_000.0
"""2026-09-21T14:13:20Z."""
BARE = {
    "unit": {"id": "unit-07", "card": "axial-single", "serial": "KX-01822", "build_year": 2021},
    "job": {"crop": "corn", "header": {"kind": "corn-head"}},
    "settings": {"feeder.drum": {"left": "raised", "right": "lowered"}},
}
"""A setup of which almost nothing is known."""


@cache
def book() -> Rulebook:
    """The shipped rulebook."""
    return rulebook()


@cache
def planner() -> Planner:
    return Planner(book())


def demo(unit: str) -> dict[str, Any]:
    """The setup of a unit of the demo."""
    lines = (json.loads(line) for line in DEMO.read_text().splitlines())
    found: dict[str, Any] = next(line for line in lines if line["unit"]["id"] == unit)
    return found


def machine(setup: dict[str, Any]) -> Machine:
    return machine_of(read_setup(json.dumps(setup).encode(), "", book()), book(), Level.HIGH)


def printing(language: str = "en", units: str = "card", paper: str = "a4", address: str = "") -> Printing:
    view = View(None, languages()[language], units)
    return Printing(view, AT, "R. Holm", address, paper)


def unit_of(setup: dict[str, Any], how: Printing | None = None) -> Printout:
    return unit_sheet(machine(setup), how or printing())


def order_of(setup: dict[str, Any], how: Printing | None = None) -> tuple[Printout, Planned]:
    found = machine(setup)
    planned = planner().plan(found.setup, Locks(), lambda: False)
    return work_order(found, planned, how or printing()), planned


def cab_of(setup: dict[str, Any], to: str, how: Printing | None = None) -> tuple[Printout, Planned]:
    found, how = machine(setup), how or printing()
    planned = changeover(planner(), found.setup, to, "", Locks(), lambda: False)
    sheet = make_sheet(book(), found.sheet.card, book().crops[planned.before.crop])
    return cab_sheet(found, planned, found.setup.crop, sheet, about_unit(found, how.view), how), planned


def pages(pdf: bytes) -> list[str]:
    """The text of each page, with every run of blanks as one."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    """A text without blanks and signs of hyphenation: how lines are broken is the layout's own."""
    return "".join(text.split())


def holds(pdf: bytes, texts: list[str]) -> list[str]:
    """Those of the texts that a PDF does not hold, wherever its lines and pages are broken."""
    said = squeezed("".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))
    return [text for text in texts if squeezed(text) not in said]
