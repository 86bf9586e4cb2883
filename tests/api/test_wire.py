"""Reports as plain values: the shape that programs rely on, and what each value means."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

import rules
from api.models import Audit
from api.wire import USUAL, finding_json, judged_json, report_json, shown_difference
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook
from audit.measures import dimension_of, read_quantity
from audit.nouns.finding import Report
from audit.nouns.quantity import Form, Quantity, Role

Site = Callable[[Mapping[str, str | bytes]], Path]


@pytest.fixture(scope="module")
def reports(auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]]) -> list[Report]:
    return [auditor.report(line, crop) for crop, lines in demo_lines.items() for line in lines]


@pytest.fixture(scope="module")
def plain(auditor: Auditor, reports: list[Report]) -> list[dict[str, Any]]:
    return [report_json(report, auditor.rulebook, with_facts=True) for report in reports]


def test_every_report_is_json_with_the_documented_keys(plain: list[dict[str, Any]]) -> None:
    for report in plain:
        assert json.loads(json.dumps(report, allow_nan=False)) == report
        again = Audit.model_validate(report).model_dump(mode="json")
        assert again == report


def test_the_short_answer_says_the_same(
    auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], plain: list[dict[str, Any]]
) -> None:
    lines = [line for lines in demo_lines.values() for line in lines]
    for line, full in zip(lines, plain, strict=True):
        short = judged_json(auditor.judge(line, ""), auditor.rulebook)
        assert short == {key: full[key] for key in short}
        assert {"unit", "clearance", "counts", "findings"} <= short.keys()


def test_values_are_canonical_and_shown_in_the_unit_of_the_card(auditor: Auditor) -> None:
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "corn"},
        "readings": {"feeder.sheave_gap": "1/4 in"},
    }
    report = report_json(auditor.report(json.dumps(setup).encode(), "u"), auditor.rulebook)
    finding = next(f for f in report["findings"] if f["rule"] == "feeder-belt-out-of-setting")
    found = finding["found"][0]
    assert (found["value"], found["shown"], found["unit"]) == (pytest.approx(6.35), "1/4 in", "in")
    assert found["past"] == {"value": pytest.approx(25.4 * 3 / 32), "shown": "3/32 in"}
    assert found["wanted"] == "3/32 in to 5/32 in"
    assert finding["targets"][0]["card"] == "machine card axial-single"


def test_what_is_shown_reads_back_to_the_value(plain: list[dict[str, Any]]) -> None:
    seen = 0
    for report in plain:
        for fact in report["facts"]:
            if isinstance(fact["value"], float) and fact["unit"] not in ("", "1", "1/kg"):
                back = read_quantity(fact["shown"], dimension_of(fact["unit"]))
                assert back == pytest.approx(fact["value"], rel=0.005, abs=1e-5), fact["name"]
                seen += 1
    assert seen > 1000


def test_only_a_broken_finding_has_a_cure(plain: list[dict[str, Any]]) -> None:
    findings = [finding for report in plain for finding in report["findings"]]
    assert {finding["verdict"] for finding in findings} == {"broken", "unknown"}
    for finding in findings:
        assert bool(finding["cure"]) == (finding["verdict"] == "broken"), finding["rule"]
        assert not (finding["missing"] and finding["verdict"] == "broken")


def test_the_machine_card_s_own_times_go_before_the_procedure_s(auditor: Auditor) -> None:
    """Setting the fan takes two minutes in general and one on this card."""
    assert auditor.rulebook.procedures["set-fan"].minutes == 2
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "corn"},
        "settings": {"shoe.fan_speed": "560 r/min"},
    }
    report = report_json(auditor.report(json.dumps(setup).encode(), "u"), auditor.rulebook)
    cures = {cure["procedure"]: cure for finding in report["findings"] for cure in finding["cure"]}
    assert cures["set-fan"]["minutes"] == 1


def test_safe_states_come_first_and_none_is_lost(auditor: Auditor, plain: list[dict[str, Any]]) -> None:
    book = auditor.rulebook
    usual = [book.cautions[key] for key in USUAL]
    cures = [cure for report in plain for finding in report["findings"] for cure in finding["cure"]]
    assert cures
    for cure in cures:
        procedure = book.procedures[cure["procedure"]]
        safe = [book.cautions[key] for key in procedure.safe]
        assert cure["cautions"][: len(safe)] == safe
        assert set(cure["cautions"]) == {book.cautions[key] for key in (*procedure.safe, *procedure.cautions)}
        assert set(cure["cautions"]) <= set(cure["special_cautions"]) | set(usual)
        assert not set(cure["special_cautions"]) & set(usual)


def test_a_caution_that_a_site_adds_is_said(site: Site) -> None:
    """A safe state beyond the usual ones stands with the procedure that asks for it."""
    procedure = (rules.root() / "procedures/move-feeder-drum.yaml").read_text(encoding="utf-8")
    asked = procedure.replace("safe: [engine-off,", "safe: [engine-off, battery-off,")
    assert asked != procedure
    folder = site(
        {
            "procedures/move-feeder-drum.yaml": asked,
            "cautions.yaml": "battery-off: {say: Open the battery's main switch., basis: {ground: common practice}}\n",
        }
    )
    book = read_rulebook(rules.root(), [folder])
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "corn"},
        "settings": {"feeder.drum": "lowered"},
    }
    report = report_json(Auditor(book).report(json.dumps(setup).encode(), "u"), book)
    finding = next(f for f in report["findings"] if f["rule"] == "drum-set-for-another-crop")
    assert "Open the battery's main switch." in finding["cure"][0]["special_cautions"]


def test_grounds_carry_their_source(plain: list[dict[str, Any]]) -> None:
    grounds = [finding["basis"] for report in plain for finding in report["findings"]]
    published = [ground for ground in grounds if ground["ground"] == "published"]
    assert published
    assert all(ground["source"]["title"] and ground["source"]["status"] == "read" for ground in published)


def test_an_hour_of_standing(reports: list[Report], plain: list[dict[str, Any]]) -> None:
    """Capacity by hand: speed x width x efficiency; 1 ac = 4046.8564224 m2 (international acre)."""
    seen = 0
    for report, said in zip(reports, plain, strict=True):
        facts = {fact.name: fact.value for fact in report.facts}
        if facts["field.capacity"] is None:
            assert said["hour_standing"] is None
            continue
        hour = said["hour_standing"]
        assert hour["acres"] == pytest.approx(hour["hectares"] * 10_000 / 4046.8564224)
        inputs = dict(next(fact.inputs for fact in report.facts if fact.name == "field.capacity"))
        speed, width, efficiency = (
            float(str(inputs[name])) for name in ("job.ground_speed", "job.header_width", "field.efficiency")
        )
        assert any(
            hour["hectares"] == pytest.approx(speed * width * efficiency / 100 * factor)
            for factor in (0.1, 0.36, 1e-4, 3.6e-4)
        )
        seen += 1
    assert seen > 20


def test_a_difference_of_temperatures_is_in_kelvin() -> None:
    quantity = Quantity("a.b", Role.READING, Form.NUMBER, "", "degC")
    assert shown_difference(15.0, quantity) == "15 K"
    assert shown_difference(15.0, Quantity("a.b", Role.READING, Form.NUMBER, "", "mm")) == "15 mm"


def test_times_are_shown_in_utc(auditor: Auditor) -> None:
    setup = {
        "unit": {"id": "u", "card": "axial-single"},
        "job": {"crop": "corn"},
        "events": {"feeder.drum_moved": "2026-08-10T09:00:00+02:00", "feeder.chain_checked": "2026-08-10T06:30:00Z"},
    }
    report = auditor.report(json.dumps(setup).encode(), "u")
    card = auditor.rulebook.machines["axial-single"]
    finding = next(f for f in report.findings if f.rule == "conveyor-chain-not-checked-after-drum-move")
    plain = finding_json(finding, auditor.rulebook, card, auditor.sheet("axial-single", "corn").names)
    assert (plain["verdict"], plain["found"][0]["shown"]) == ("broken", "2026-08-10 06:30 UTC")
