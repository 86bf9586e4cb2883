"""Every format of the same fleet gives the same lists; only the places differ."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from api.fleet.judging import Judge
from api.fleet.lines import WorkLine
from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.answer import Answer
from audit.nouns.plan import Branch, Conflict, Plan
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime

ENDINGS = [f"{kind}{packed}" for kind in ("ndjson", "json", "csv", "parquet") for packed in ("", ".gz", ".zst")]


@pytest.fixture(scope="module")
def fleet(demo_setups: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Mixed cards and crops, one value with its instrument left out: a table has no place for it."""
    return demo_setups


@pytest.mark.parametrize("ending", ENDINGS)
def test_every_format_gives_the_same(fleet: Any, written: Any, audit: Any, ending: str) -> None:
    plain = audit(written(fleet, "ndjson"))
    other = audit(written(fleet, ending))
    assert other.without_source() == plain.without_source()
    assert {**other.summary, "inputs": []} == {**plain.summary, "inputs": []}
    assert plain.summary["audited"] == len(fleet)
    assert {line["by"] for line in other.lines("units")} == {setup["taken"]["by"] for setup in fleet}


def test_the_answers_are_those_of_the_full_report(fleet: Any, written: Any, audit: Any, rulebook: Rulebook) -> None:
    """Units and findings hold what the plain way says, in its order."""
    auditor = Auditor(rulebook)
    found = audit(written(fleet, "parquet"))
    findings = found.lines("findings")
    for line, setup in zip(found.lines("units"), fleet, strict=True):
        report = auditor.report(json.dumps(setup).encode(), "x")
        assert (line["unit"], line["farm"]) == (report.unit, setup["unit"].get("owner", ""))
        assert (line["taken"], line["by"], line["state"]) == (report.taken.at, report.taken.by, report.taken.state)
        assert line["clearance"] == report.clearance.value
        assert line["builds"] == dict(report.builds)
        counts = report.counts
        assert [line[key] for key in ("kept", "broken", "unknown", "not_asked")] == [
            counts.kept, counts.broken, counts.unknown, counts.not_asked,
        ]  # fmt: skip
        assert line["holding"] == sum(finding.holds_start for finding in report.findings)
        own = [one for one in findings if one["row"] == line["row"]]
        assert [(one["rule"], one["on"], one["verdict"], one["index"], one["share"]) for one in own] == [
            (f.rule, f.on, f.verdict.value, f.risk.index, f.risk.share) for f in report.findings
        ]
        first = [f.comparisons[0] if f.comparisons else None for f in report.findings]
        assert [(one["quantity"], one["side"], one["wanted"]) for one in own] == [
            (c.quantity, c.side, c.wanted) if c else ("", "", "") for c in first
        ]


def test_parquet_lists_hold_the_same_as_the_lines(fleet: Any, written: Any, audit: Any) -> None:
    found = audit(written(fleet, "ndjson"), plan=False)
    table = pl.read_parquet(found.path / "findings.parquet").to_dicts()
    assert table == found.lines("findings")
    units = pl.read_parquet(found.path / "units.parquet").to_dicts()
    assert [{**unit, "builds": json.loads(unit["builds"])} for unit in units] == found.lines("units")


def test_rows_are_numbered_over_all_inputs(fleet: Any, written: Any, audit: Any) -> None:
    found = audit(written(fleet[:5], "csv"), b"no setup\n", written(fleet[5:9], "json"))
    assert [line["row"] for line in found.lines("units")] == [1, 2, 3, 4, 5, 7, 8, 9, 10]
    assert found.lines("units")[5]["source"].endswith("-2[1]")
    assert found.lines("set-aside")[0]["source"].endswith("-1:1")


@pytest.mark.parametrize("comma", [";", "\t"])
def test_other_separators_of_csv(fleet: Any, written: Any, audit: Any, comma: str) -> None:
    text = written(fleet[:3], "csv")
    assert b'"' not in text
    assert audit(text.replace(b",", comma.encode())).without_source() == audit(text).without_source()


def test_a_family_stands_for_its_parts(audit: Any) -> None:
    """In a table as in JSON, a part that is named itself keeps its own value."""
    setup = {"unit": {"id": "a", "card": "axial-single"}, "job": {"crop": "corn"},
             "readings": {"belt.condition": "cracked", "fan_drive.condition": "sound"}}  # fmt: skip
    table = b"unit.id,unit.card,job.crop,readings.belt.condition,readings.fan_drive.condition\na,axial-single,corn,cracked,sound\n"
    assert audit(table).without_source() == audit(json.dumps(setup).encode()).without_source()


def test_one_value_for_both_sides(audit: Any) -> None:
    one = b"unit.id,unit.card,job.crop,settings.feeder.drum\na,axial-single,corn,raised\n"
    two = b"unit.id,unit.card,job.crop,settings.feeder.drum.left,settings.feeder.drum.right\na,axial-single,corn,raised,raised\n"
    half = b"unit.id,unit.card,job.crop,settings.feeder.drum.left\na,axial-single,corn,raised\n"
    assert audit(one).without_source() == audit(two).without_source() != audit(half).without_source()


def test_times_and_years_of_parquet(audit: Any, tmp_path: Path) -> None:
    """A time column is read as UTC, a year in a column of floats as a year."""
    frame = pl.DataFrame(
        {
            "unit.id": ["a", "b"], "unit.card": ["axial-single"] * 2, "job.crop": ["corn"] * 2,
            "taken.at": ["2026-07-01T06:00:00", None], "unit.build_year": [2021.0, None],
            "readings.feeder.slats": pl.Series(["sound", ""], dtype=pl.Categorical),
        }
    ).with_columns(pl.col("taken.at").str.to_datetime())  # fmt: skip
    path = tmp_path / "table"
    frame.write_parquet(path)
    found = audit(inputs=[str(path)])
    first, second = found.lines("units")
    assert (first["taken"], first["build_year"]) == ("2026-07-01T06:00:00Z", 2021)
    assert (second["taken"], second["build_year"]) == ("", None)
    assert {line["row"] for line in found.lines("findings") if line["quantity"] == "feeder.slats"} == {2}


def test_inputs_are_told_by_what_is_in_them(fleet: Any, written: Any, audit: Any, tmp_path: Path) -> None:
    for number, ending in enumerate(("parquet.gz", "csv.zst", "json", "ndjson.gz")):
        (tmp_path / f"fleet-{number}.dat").write_bytes(written(fleet[number : number + 1], ending))
    found = audit(inputs=[str(tmp_path / "fleet-*.dat")])
    assert [line["unit"] for line in found.lines("units")] == [setup["unit"]["id"] for setup in fleet[:4]]


@pytest.mark.parametrize("ending", ["ndjson", "json", "csv", "parquet"])
def test_standard_input(fleet: Any, written: Any, audit: Any, monkeypatch: Any, ending: str) -> None:
    import io
    from types import SimpleNamespace

    text = written(fleet[:9], ending)
    monkeypatch.setattr("api.fleet.streams.sys", SimpleNamespace(stdin=SimpleNamespace(buffer=io.BytesIO(text))))
    assert audit(inputs=["-"]).without_source() == audit(text).without_source()


def test_plans_give_the_work(fleet: Any, written: Any, audit: Any, rulebook: Rulebook) -> None:
    """Hours of work by unit, the same from every format; nothing to do where nothing is wrong."""
    some = fleet[:4]
    found = audit(written(some, "csv"), plan=True)
    assert found.without_source() == audit(written(some, "ndjson"), plan=True).without_source()
    planner = Planner(rulebook)
    for line, setup in zip(found.lines("units"), some, strict=True):
        (branch,) = planner.plan(read_setup(json.dumps(setup).encode(), "x", rulebook)).branches
        assert isinstance(branch.outcome, Plan)
        assert line["work"]["minutes"] == branch.outcome.minutes
        assert line["work"]["steps"] == len(branch.outcome.steps)
        assert line["work"]["parts"] == list(branch.outcome.parts_needed)
    assert any(line["work"]["minutes"] for line in found.lines("units"))


def test_work_of_a_unit_that_no_work_puts_right(demo_setups: Any, rulebook: Rulebook, monkeypatch: Any) -> None:
    """A conflict in any way that builds may turn out is one; a search that ended too soon proves nothing."""
    judge = Judge(rulebook, Level.HIGH)
    text = json.dumps(demo_setups[1]).encode()
    (answer,) = judge.auditor.answer_all([text], str)
    assert isinstance(answer, Answer)
    (branch,) = judge.planner.plan(read_setup(text, "x", rulebook)).branches
    planned = judge.planner.plan(read_setup(text, "x", rulebook))
    stuck = replace(planned, branches=(branch, Branch((), Conflict((), (), (), ()))))
    monkeypatch.setattr(judge.planner, "plan", lambda *_, **__: stuck)
    assert judge.work(answer, lambda: text) == WorkLine(conflict=True)
    assert isinstance(branch.outcome, Plan)
    longer = replace(branch.outcome, minutes=1e6, proven=False)
    both = replace(planned, branches=(Branch((), longer), branch))
    monkeypatch.setattr(judge.planner, "plan", lambda *_, **__: both)
    work = judge.work(answer, lambda: text)
    assert (work.minutes, work.proven, work.conflict) == (1e6, False, False)

    def too_slow(*_: Any, out_of_time: Any) -> None:
        while not out_of_time():
            pass
        raise OutOfTime

    monkeypatch.setattr(judge.planner, "plan", too_slow)
    assert judge.work(answer, lambda: text) == WorkLine(proven=False)
