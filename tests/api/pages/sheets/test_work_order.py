"""A work order carries the whole plan: every step in order, cautions on the step, a box, blanks, signatures, a code."""

from __future__ import annotations

import io
import re

import pytest
from openpyxl import load_workbook

from api.pages.sheets.printout import printed
from api.plan_wire import planned_json
from tests.api.pages.sheets.making import BARE, book, demo, holds, order_of, pages, printing, squeezed


@pytest.mark.parametrize("unit", ["unit-02", "unit-05", "unit-21"])
def test_every_step_stands_there_in_order_with_its_cautions(unit: str) -> None:
    found, planned = order_of(demo(unit))
    pdf = printed(found, printing(), "pdf")
    plan = planned_json(planned, book())["branches"][0]["plan"]
    assert plan["steps"]
    texts = [*plan["safety"]["stopped"], *plan["safety"]["restart"], plan["safety"]["last"], *plan["tools"]]
    for step in plan["steps"]:
        texts += [step["title"], *step["cautions"], *step["safe"], *step["parts"]]
        texts += [text for one in step["steps"] for text in (one["do"], one["trap"]) if text]
        texts += [record["meaning"] for record in step["records"]]
        texts += [change["after"][0]["shown"] for change in step["changes"] if change["role"] == "setting"]
    assert holds(pdf, texts) == []
    html = printed(found, printing(), "html").decode()
    numbers = [int(number) for number in re.findall(r'<h4><span class="number">(\d+)</span>', html)]
    assert numbers == [step["number"] for step in plan["steps"]]
    assert html.count('<span class="box"></span>') == len(plan["steps"])


def test_cautions_stand_on_the_step_and_not_only_at_the_end() -> None:
    found, planned = order_of(demo("unit-05"))
    html = printed(found, printing(), "html").decode()
    plan = planned_json(planned, book())["branches"][0]["plan"]
    parts = html.split('<div class="step')[1:]
    for step, part in zip(plan["steps"], parts, strict=True):
        for caution in (*step["cautions"], *step["safe"]):
            assert squeezed(caution).replace("'", "&#39;") in squeezed(part)


def test_signatures_a_box_of_8_mm_and_a_code_that_opens_the_unit() -> None:
    found, _ = order_of(demo("unit-02"), printing(address="http://combine.example"))
    html = printed(found, printing(address="http://combine.example"), "html").decode()
    assert ".box { display: inline-block; width: 8mm; height: 8mm" in html
    assert "Done by, signature" in html
    assert '<div class="code"><svg' in html
    plain, _ = order_of(demo("unit-02"))
    assert '<div class="code">' not in printed(plain, printing(), "html").decode()


def test_pages_are_numbered_and_nothing_of_a_long_order_is_lost() -> None:
    found, planned = order_of(BARE)
    pdf = printed(found, printing(), "pdf")
    steps = planned_json(planned, book())["branches"][0]["plan"]["steps"]
    assert len(steps) > 100
    said = pages(pdf)
    for number, text in enumerate(said, 1):
        assert f"{number} / {len(said)}" in text
    assert holds(pdf, [f"{step['number']}Take:{step['title']}" for step in steps if not step["procedure"]]) == []


def test_a_unit_in_order_has_nothing_to_do() -> None:
    found, _ = order_of(demo("unit-01"))
    assert holds(printed(found, printing(), "pdf"), ["Nothing to do: every rule that is asked holds."]) == []


def test_why_there_is_no_plan() -> None:
    found, planned = order_of(demo("unit-25"))
    plain = planned_json(planned, book())
    assert plain["branches"][0]["plan"] is None
    rules = [one["title"] for one in plain["branches"][0]["conflict"]["rules"]]
    assert rules
    assert holds(printed(found, printing(), "pdf"), ["No plan", *rules]) == []


def test_the_workbook_has_the_steps_with_minutes_as_numbers() -> None:
    found, planned = order_of(demo("unit-05"))
    leaf = load_workbook(io.BytesIO(printed(found, printing(), "xlsx")))["Steps"]
    heads = [cell.value for cell in leaf[1]]
    rows = [dict(zip(heads, (cell.value for cell in row), strict=True)) for row in leaf.iter_rows(min_row=2)]
    steps = planned_json(planned, book())["branches"][0]["plan"]["steps"]
    assert [row["Time [min]"] for row in rows] == [step["minutes"] for step in steps]
    assert [row["Step"] for row in rows] == [step["number"] for step in steps]


def test_in_german_what_is_set_is_still_set() -> None:
    how = printing("de", "si")
    found, planned = order_of(demo("unit-05"), how)
    html = printed(found, how, "html").decode()
    settings = [
        change
        for step in planned_json(planned, book())["branches"][0]["plan"]["steps"]
        for change in step["changes"]
        if change["role"] == "setting" and not change["taken"]
    ]
    assert settings
    say = how.view.language.say
    assert say("machine stopped") in html
    assert "machine stopped" not in html
    assert html.count(f"{say('Set')}: ") == len(settings)
