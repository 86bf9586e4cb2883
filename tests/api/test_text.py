"""Reports as text: complete, within the page, the same with and without colour."""

from __future__ import annotations

import copy
import json
import re
from typing import Any

import pytest

from api.environment import page
from api.text import MARKS, Page
from api.wire import judged_json, report_json, usual_cautions
from audit.auditor import Auditor

SHOWN = ("unit-01", "unit-02", "unit-03", "unit-11", "unit-15", "unit-18", "unit-22")
"""Clean, held by a setting, by computed belt facts, by a hot bearing, of an undecided build, dangerous to people."""
ESCAPE = re.compile(r"\x1b\[[\d;]*m")


@pytest.fixture(scope="module")
def reports(auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]]) -> list[dict[str, Any]]:
    """Part of the demo fleet, and one machine that nobody looked at."""
    sparse = json.dumps({"unit": {"id": "u", "card": "axial-hybrid"}, "job": {"crop": "wheat"}}).encode()
    lines = [line for lines in demo_lines.values() for line in lines if json.loads(line)["unit"]["id"] in SHOWN]
    return [report_json(auditor.report(line, ""), auditor.rulebook, True) for line in (*lines, sparse)]


@pytest.fixture(scope="module")
def faulty(reports: list[dict[str, Any]]) -> dict[str, Any]:
    return next(report for report in reports if report["unit"] == "unit-02")


def flat(lines: object) -> str:
    """Lines as one, so that it does not matter where they were broken."""
    return " ".join(" ".join(str(line) for line in lines).split())  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [40, 80, 100, 120])
def test_nothing_in_full_is_wider_than_the_page(reports: list[dict[str, Any]], width: int) -> None:
    sheet = Page(width, usual="Engine off.")
    for report in reports:
        for line in sheet.report(report, facts=True):
            if line.startswith("   ") or line.startswith("  -"):
                words = line.split()
                assert len(line) <= width or len(words) <= 2, line  # a name that is longer than the page stands alone


def test_colour_adds_nothing_but_colour(reports: list[dict[str, Any]]) -> None:
    for report in reports:
        plain = list(Page(100).report(report, facts=True))
        coloured = list(Page(100, colour=True).report(report, facts=True))
        assert not any("\x1b" in line for line in plain)
        assert [ESCAPE.sub("", line) for line in coloured] == plain
        assert any("\x1b" in line for line in coloured)


def test_a_level_is_a_word_and_a_shape(faulty: dict[str, Any]) -> None:
    assert len(set(MARKS.values())) == len(MARKS) == 4
    finding = copy.deepcopy(faulty["findings"][0])
    for level, mark in MARKS.items():
        finding["risk"]["level"] = level
        assert Page().level(finding) == f"{mark} {level.upper()}"


def test_every_broken_finding_is_told_whole(reports: list[dict[str, Any]]) -> None:
    for report in reports:
        text = flat(Page(100, usual="").report(report))
        for finding in report["findings"]:
            if finding["verdict"] == "unknown":
                continue
            for part in (finding["title"], finding["why"], finding["harm"]["how"], f"[{finding['rule']}]"):
                assert " ".join(part.split()) in text
            for found in finding["found"]:
                assert found["wanted"] in text
                assert found["shown"] in text
            for cure in finding["cure"]:
                for step in cure["steps"]:
                    assert step["do"] in text
                    assert step["trap"] in text
                for caution in cure["special_cautions"]:
                    assert caution in text


def test_everything_that_is_missing_is_asked_for_once(reports: list[dict[str, Any]]) -> None:
    sparse = reports[-1]
    assert sparse["counts"]["broken"] == 0
    lines = list(Page(100, usual="Engine off.").report(sparse))
    names = {m["name"] for finding in sparse["findings"] for m in finding["missing"] if m["meaning"] or m["how"]}
    assert len(names) > 150
    text = flat(lines)
    for name in names:
        assert len(re.findall(rf"(?<![\w.]){re.escape(name)}[,:]", text)) == 1, name
    stations = {finding["station"]["title"] for finding in sparse["findings"]}
    assert stations <= {line.strip() for line in lines}


def test_the_cautions_stand_once_and_also_where_only_readings_are_wanted(
    auditor: Auditor, reports: list[dict[str, Any]]
) -> None:
    sheet = page(auditor.rulebook)
    for report in reports:
        text = flat(sheet.report(report))
        assert text.count(usual_cautions(auditor.rulebook)) == bool(report["findings"])
    usual = usual_cautions(auditor.rulebook)
    for word in ("engine", "key", "stopped", "safety stop", "guard", "manual", "qualified technician"):
        assert word in usual


def test_a_procedure_s_steps_are_told_once(faulty: dict[str, Any]) -> None:
    procedures = [cure["procedure"] for finding in faulty["findings"] for cure in finding["cure"]]
    assert procedures.count("move-feeder-drum") == 2
    text = flat(Page(100).report(faulty))
    assert text.count("Draw the locking pins") == 1
    assert "Move the feeder house drum, as told under 1." in text


def test_danger_to_people_and_trial_are_said_in_both_lengths(faulty: dict[str, Any]) -> None:
    report = copy.deepcopy(faulty)
    finding = report["findings"][0]
    assert "people" not in flat(Page().brief(report)).lower()
    finding["risk"]["danger_to_people"] = True
    finding["standing"], finding["holds_start"] = "trial", False
    assert "(trial rule) (danger to people)" in flat(Page().brief(report))
    full = flat(Page().report(report))
    assert "DANGER TO PEOPLE." in full
    assert "Shown only, on trial." in full


def test_an_overriding_rule_says_whose_it_is(faulty: dict[str, Any]) -> None:
    report = copy.deepcopy(faulty)
    report["findings"][0].update(origin="our-rules", overrides=True)
    assert "overrides the shipped rule by site folder our-rules" in flat(Page().report(report))


def test_brief_is_the_same_by_the_quick_way(
    auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], reports: list[dict[str, Any]]
) -> None:
    """But for what an hour costs, which only the full answer works out."""
    lines = {(crop, json.loads(line)["unit"]["id"]): line for crop, lines in demo_lines.items() for line in lines}
    for report in reports[:-1]:
        line = lines[report["crop"], report["unit"]]
        quick = list(Page().brief(judged_json(auditor.judge(line, ""), auditor.rulebook)))
        assert quick == list(Page().brief({**report, "hour_standing": None, "taken": {}}))


def test_an_undecided_build_is_asked_for(reports: list[dict[str, Any]]) -> None:
    report = next(report for report in reports if "cannot decide" in report["builds"].values())
    assert "Build not decided: feeder.chain_tensioner. State it under unit.fitted." in flat(Page().brief(report))


def test_a_tip_speed_says_what_to_set(auditor: Auditor) -> None:
    """3000 to 4000 ft/min (the soybean window) over a bar circle of 762 mm: n = v / (pi D)."""
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "soybean"},
        "settings": {"rotor.speed": "700 r/min"},
    }
    report = report_json(auditor.report(json.dumps(setup).encode(), ""), auditor.rulebook, True)
    low, high = (round(v * 0.3048 / (3.14159265 * 0.762)) for v in (3000, 4000))
    text = flat(Page().report(report))
    assert f"To set: {low} r/min to {high} r/min gives what is wanted." in text
    assert "Computed: rotor.tip_speed = 27.9 m/s." in text


def test_facts_show_value_equation_and_inputs(faulty: dict[str, Any]) -> None:
    text = flat(Page().report(faulty, facts=True))
    for fact in faulty["facts"]:
        assert f"{fact['name']} = " in text
        assert " ".join(fact["equation"].split()) in text
        if fact["value"] is None:
            assert "not known (" in text


@pytest.mark.parametrize(
    ("terminal", "no_colour", "width", "colour"),
    [(False, None, 100, False), (True, None, 90, True), (True, "1", 90, False), (True, "", 90, True)],
)
def test_the_page_follows_the_surroundings(
    auditor: Auditor, monkeypatch: pytest.MonkeyPatch, terminal: bool, no_colour: str | None, width: int, colour: bool
) -> None:
    """An empty NO_COLOR means nothing (no-color.org)."""
    monkeypatch.setattr("sys.stdout.isatty", lambda: terminal)
    monkeypatch.setenv("COLUMNS", "90")
    monkeypatch.delenv("NO_COLOR", raising=False)
    if no_colour is not None:
        monkeypatch.setenv("NO_COLOR", no_colour)
    sheet = page(auditor.rulebook)
    assert (sheet.width, sheet.colour) == (width, colour)
