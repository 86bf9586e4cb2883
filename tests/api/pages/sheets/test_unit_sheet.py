"""The sheet of a unit says all that its report says, on either paper, in colour or grey."""

from __future__ import annotations

import io

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from api.pages.sheets.printout import printed
from api.wire import USUAL, report_json
from tests.api.pages.sheets.making import BARE, book, demo, holds, machine, pages, printing, squeezed, unit_of

MM = 72 / 25.4
SIZES = {"a4": (210 * MM, 297 * MM), "letter": (8.5 * 72, 11 * 72)}
"""ISO 216; ANSI/ASME Y14.1, size A."""


def test_every_finding_stands_there_with_level_reason_damage_and_cure() -> None:
    setup = demo("unit-05")
    report = report_json(machine(setup).report, book())
    texts = [book().cautions[key] for key in USUAL]
    for one in report["findings"]:
        texts += [one["risk"]["level"] + one["title"], one["why"], one["harm"]["how"], one["rule"]]
        texts += [found["wanted"] for found in one["found"]]
        for cure in one["cure"]:
            texts += [cure["title"], *cure["special_cautions"], *cure["tools"], *cure["parts"]]
    assert len(report["findings"]) > 3
    assert holds(printed(unit_of(setup), printing(), "pdf"), texts) == []


@pytest.mark.parametrize("paper", SIZES)
def test_pages_have_the_papers_size_their_number_rulebook_and_time(paper: str) -> None:
    how = printing(paper=paper)
    pdf = printed(unit_of(demo("unit-05"), how), how, "pdf")
    found = PdfReader(io.BytesIO(pdf)).pages
    for page in found:
        size = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert size == pytest.approx(sorted(SIZES[paper]), abs=0.5)
    for number, text in enumerate(pages(pdf), 1):
        assert f"{number} / {len(found)}" in text
        assert book().digest[:12] in text
        assert "unit-05" in text
        assert "9/21/26" in text
        assert "R. Holm" in text


def test_what_nobody_knows_has_a_place_to_be_written_in() -> None:
    found = unit_of(BARE)
    report = report_json(machine(BARE).report, book())
    missing = {one["name"] for finding in report["findings"] for one in finding["missing"] if one["meaning"]}
    items = [item for station in found.content["stations"] for item in station["items"]]
    assert {item["name"] for item in items} >= missing
    assert len({item["name"] for item in items}) == len(items)
    assert all(item["blanks"] for item in items)
    pins = next(item for item in items if item["meaning"] == "Locking pins of the drum are home")
    assert [blank["side"] for blank in pins["blanks"]] == ["left", "right"]
    assert holds(printed(found, printing(), "pdf"), [item["meaning"] for item in items]) == []


def test_a_unit_in_order_says_so() -> None:
    pdf = printed(unit_of(demo("unit-01")), printing(), "pdf")
    assert holds(pdf, ["cleared", "Nothing that was looked at is wrong."]) == []


def test_the_same_bytes_for_the_same_setup_and_time() -> None:
    for ending in ("pdf", "xlsx", "csv", "html"):
        one, other = (printed(unit_of(demo("unit-05")), printing(), ending) for _ in range(2))
        assert one == other, ending


def test_numbers_of_the_workbook_are_numbers_and_headings_name_units() -> None:
    book_ = load_workbook(io.BytesIO(printed(unit_of(demo("unit-05")), printing(), "xlsx")))
    leaf = book_["Findings"]
    heads = [cell.value for cell in leaf[1]]
    assert "Standing if it fails [h]" in heads
    rows = [dict(zip(heads, (cell.value for cell in row), strict=True)) for row in leaf.iter_rows(min_row=2)]
    belt = next(
        row for row in rows if row["Rule"] == "feeder-belt-out-of-setting" and row["Unit of measure"] == "r/min"
    )
    assert belt["Found"] == pytest.approx(551)
    assert belt["Standing if it fails [h]"] == 4
    assert belt["Holds the start"] is False
    assert leaf.freeze_panes == "A2"
    about = {row[0].value: row[1].value for row in book_["About"].iter_rows(min_row=2)}
    assert about["Rulebook, whole digest"] == book().digest
    speeds = list(book_["Speeds"].iter_rows(min_row=2, values_only=True))
    assert any(isinstance(row[3], float | int) and isinstance(row[4], float | int) for row in speeds)


def test_in_german_with_a_decimal_comma_and_in_us_units() -> None:
    how = printing("de", "us", "letter")
    found = unit_of(demo("unit-05"), how)
    html = printed(found, how, "html").decode()
    assert '<html lang="de">' in html
    assert "4,38 %" in html
    assert "4.38 %" not in html
    speed = next(row for row in found.tables[-1].rows if row[2] == "ft/min")
    assert speed[3] == pytest.approx(17.156 / 0.00508, rel=0.01)  # 17.2 m/s, one foot being 0.3048 m


def test_hostile_names_are_only_text() -> None:
    setup = demo("unit-05")
    long = "Long" * 200
    setup["unit"] |= {"owner": "<script>alert(1)</script>", "serial": '\u202e=HYPERLINK("http://x.example")'}
    setup["taken"]["by"] = f"=1+1 {long} &amp; <img src=http://x.example/y.png>"
    found = unit_of(setup)
    html = printed(found, printing(), "html").decode()
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)" in html
    assert "<img" not in html
    pdf = printed(found, printing(), "pdf")
    assert holds(pdf, ["<img src=http://x.example/y.png>", long]) == []
    for leaf in load_workbook(io.BytesIO(printed(found, printing(), "xlsx"))):
        assert all(cell.data_type != "f" for row in leaf.iter_rows() for cell in row)


def test_words_and_shapes_carry_what_colour_does() -> None:
    html = printed(unit_of(demo("unit-05")), printing(), "html").decode()
    for level, shape in (("serious", "<polygon"), ("medium", "<circle")):
        mark = html.split('<span class="level">')[1:]
        of_level = [one for one in mark if squeezed(one.split("</svg>")[1]).startswith(level)]
        assert of_level
        assert all(shape in one.split("</svg>")[0] for one in of_level)
