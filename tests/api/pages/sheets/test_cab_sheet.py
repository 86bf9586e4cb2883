"""The changeover sheet: two pages at most, what is moved from and to with pictures, and nothing silently left out."""

from __future__ import annotations

import io
import re

import pytest
from pypdf import PdfReader

from api.pages.sheets.printout import printed
from api.plan_wire import changeover_json
from tests.api.pages.sheets.making import BARE, book, cab_of, demo, holds, printing

HARDEST = ["unit-05", "unit-14", "unit-17", "unit-25"]
"""Of the demo's units those with the longest changeovers."""


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("unit", [*HARDEST, "bare"])
def test_two_pages_at_most(unit: str, language: str) -> None:
    how = printing(language, paper="letter", address="http://combine.example")  # the shorter paper
    found, _ = cab_of(BARE if unit == "bare" else demo(unit), "soybean", how)
    assert len(PdfReader(io.BytesIO(printed(found, how, "pdf"))).pages) <= 2


def test_what_is_moved_stands_there_with_now_and_then() -> None:
    found, planned = cab_of(demo("unit-02"), "soybean")
    plain = changeover_json(planned, "corn", book())
    moves = [
        change
        for step in plain["branches"][0]["plan"]["steps"]
        for change in step["changes"]
        if change["role"] == "setting" and change["before"] != change["after"] and not change["taken"]
    ]
    assert moves
    texts = [change["meaning"] for change in moves] + [change["after"][0]["shown"] for change in moves]
    safety = plain["branches"][0]["plan"]["safety"]
    assert holds(printed(found, printing(), "pdf"), [*texts, *safety["stopped"], *safety["restart"]]) == []
    assert len(found.tables[0].rows) == len(moves)
    pictures = found.content["branches"][0]["pictures"]
    assert pictures
    assert all("<svg" in one for one in pictures)


def test_what_has_no_room_is_counted() -> None:
    found, planned = cab_of(BARE, "soybean")
    branch = found.content["branches"][0]
    html = printed(found, printing(), "html").decode()
    counted = re.search(r"(\d+) more stand on the work order", html)
    assert counted is not None
    assert int(counted[1]) + branch["most_looks"] == len(branch["looks"])
    assert len(found.tables[1].rows) == len(branch["looks"])
    assert planned.before.crop == "soybean"
