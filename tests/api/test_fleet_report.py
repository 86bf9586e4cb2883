"""The report on an audited fleet and the audit of a log, as the command line gives them, on the demo fleet."""

from __future__ import annotations

import argparse
import copy
import gzip
import importlib
import json
import sys
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from api.commands import fleet_report, log
from api.wire import judged_json
from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.plan import Locks, Plan
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner

Plain = dict[str, Any]
TAKEN = datetime.fromisoformat("2026-09-16T08:00:00+00:00")


@pytest.fixture(scope="module")
def audited(
    demo_lines: Mapping[str, tuple[bytes, ...]], auditor: Auditor, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], Path]:
    """Folders as a fleet's audit writes them, one for each crop of the demo; made once, not to be changed."""
    made: dict[str, Path] = {}

    def folder(crop: str) -> Path:
        if crop not in made:
            made[crop] = tmp_path_factory.mktemp(crop)
            _write(made[crop], demo_lines[crop], auditor)
        return made[crop]

    return folder


def _write(folder: Path, lines: tuple[bytes, ...], auditor: Auditor) -> None:
    planner = Planner(auditor.rulebook, auditor.hold_at)
    units, findings = [], []
    for row, text in enumerate(lines, 1):
        setup = read_setup(text, "demo", auditor.rulebook)
        answer = judged_json(auditor.judge(text, "demo"), auditor.rulebook)
        counts = answer["counts"]
        levels = [one["risk"]["level"] for one in answer["findings"]]
        units.append(
            {
                "row": row, "source": f"demo:{row}", "unit": setup.unit.id, "farm": setup.unit.owner,
                "serial": setup.unit.serial, "build_year": setup.unit.build_year, "card": setup.unit.card,
                "builds": {}, "crop": setup.crop, "header_kind": setup.header_kind, "taken": setup.taken.at,
                "by": setup.taken.by, "state": setup.taken.state, "engine_hours": None,
                "clearance": answer["clearance"], "kept": counts["kept"], "broken": counts["broken"],
                "unknown": counts["unknown"], "not_asked": counts["not_asked"], "holding": 0,
                "worst": levels[0] if levels else "", "work": _work(planner, setup),
            }
        )  # fmt: skip
        for one in answer["findings"]:
            found = one["found"][0] if one["found"] else {}
            findings.append(
                {
                    "row": row, "unit": setup.unit.id, "farm": setup.unit.owner, "card": setup.unit.card,
                    "crop": setup.crop, "rule": one["rule"], "on": one["on"], "station": one["station"]["id"],
                    "verdict": one["verdict"], "level": one["risk"]["level"], "index": one["risk"]["index"],
                    "holds": one["holds_start"], "downtime_h": one["risk"]["downtime_h"],
                    "share": one["risk"]["margin_share"], "people": one["risk"]["danger_to_people"],
                    "quantity": found.get("quantity", ""), "side": found.get("side", ""),
                    "found": found.get("shown", ""), "wanted": found.get("wanted", ""),
                }
            )  # fmt: skip
    (folder / "units.ndjson").write_text("".join(json.dumps(one) + "\n" for one in units))
    (folder / "findings.ndjson").write_text("".join(json.dumps(one) + "\n" for one in findings))
    (folder / "summary.json").write_text(json.dumps({"rulebook": {"digest": auditor.rulebook.digest}}))


def _work(planner: Planner, setup: Any) -> Plain:
    plans = [branch.outcome for branch in planner.plan(setup, Locks(), lambda: False).branches]
    if not all(isinstance(plan, Plan) for plan in plans):
        return {"minutes": 0, "people": 0, "parts": [], "tools": [], "steps": 0, "proven": False, "conflict": True}
    most = max((plan for plan in plans if isinstance(plan, Plan)), key=lambda plan: plan.minutes)
    return {
        "minutes": most.minutes, "people": most.people, "parts": list(most.parts_needed), "tools": list(most.tools),
        "steps": len(most.steps), "proven": most.proven, "conflict": False,
    }  # fmt: skip


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Runs one of the two commands; status, output, errors."""

    def call(module: Any, *words: object) -> tuple[int, str, str]:
        command = argparse.ArgumentParser()
        module.add(command, "")
        arguments = command.parse_args([str(word) for word in words])
        status = module.run(arguments, "")
        out = capsys.readouterr()
        return status, out.out, out.err

    return call


Run = Callable[..., tuple[int, str, str]]
Audited = Callable[[str], Path]


def test_the_demo_fleet_before_corn(run: Run, audited: Audited, repository: Path) -> None:
    visits = repository / "api" / "demo" / "visits-corn.yaml"
    status, out, _ = run(fleet_report, audited("corn"), "--json", "--visits", visits)
    assert status == 1
    answer = json.loads(out)
    assert (answer["units"], answer["setups"], answer["takers_known"]) == (26, 26, True)
    held = {unit["unit"] for unit in answer["worst_first"] if unit["clearance"] == "held"}
    assert len(held) == answer["held"]
    habit = answer["systematic"]["concentrated"][0]
    assert habit["groups"][0] == {"by": "farm", "name": "Merrowdale Farm", "last": "", "card": ""}
    assert (habit["broken"], habit["machines"], habit["broken_rest"]) == (5, 5, 0)
    plan = answer["visits"]
    assert plan["proven"]
    assert held - {one["unit"] for one in plan["done"]} == {one["unit"] for one in plan["left_out"] if one["held"]}
    assert plan["cost"]["held_hours_missed"] == 0
    wanted = sum(part["count"] for part in answer["to_order"])
    assert wanted == sum(len(set(u["work"]["parts"])) for u in answer["worst_first"])
    loaded = sum(part["units"] for day in plan["days"] for part in day["parts"])
    done = {one["unit"] for one in plan["done"]}
    assert loaded == sum(len(u["work"]["parts"]) for u in answer["worst_first"] if u["unit"] in done)


def test_the_report_as_text(run: Run, audited: Audited, repository: Path) -> None:
    visits = repository / "api" / "demo" / "visits-corn.yaml"
    status, out, _ = run(fleet_report, audited("corn"), "--visits", visits, "--before", audited("soybean"), "--top", 5)
    assert status == 1
    for heading in ("Worst first", "The same fault on many machines", "More than chance", "Held, and what clears it",
                    "Work by farm", "To order now", "Visits", "Not in any visit", "Since the audit before"):  # fmt: skip
        assert heading in out
    assert "Merrowdale Farm: " in out
    assert "proven" in out
    assert "--top" in out
    assert "Stop the engine before anything is opened or touched." in out
    assert max(map(len, out.splitlines())) <= 100


def test_two_audits_of_the_demo_fleet(run: Run, audited: Audited) -> None:
    _, out, _ = run(fleet_report, audited("soybean"), "--before", audited("corn"), "--json")
    changed = json.loads(out)["changed"]
    assert (changed["units"], changed["gone"], changed["new"], changed["same_rules"]) == (26, [], [], True)
    assert len(changed["other_job"]) == 26  # corn then, soybean now
    assert (changed["hours_removed"], changed["hours_added"]) == (0, 0)
    assert {change["turn"] for change in changed["changes"]} >= {"put right", "newly broken", "still broken"}
    stopped = next(unit for unit in changed["released"] if unit == "unit-02")
    assert stopped == "unit-02"


def test_another_rulebook_is_refused(run: Run, audited: Audited, tmp_path: Path) -> None:
    for name in ("units.ndjson", "findings.ndjson"):
        (tmp_path / name).write_bytes((audited("corn") / name).read_bytes())
    (tmp_path / "summary.json").write_text(json.dumps({"rulebook": {"digest": "0" * 64}}))
    status, out, errors = run(fleet_report, tmp_path)
    assert (status, out) == (2, "")
    assert "was judged by rulebook 000000000000" in errors


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("summary.json", "{}", "summary.json: is not the summary of a fleet audit"),
        ("units.ndjson", '{"row": 1}\n', "units.ndjson:1: is not a line of a fleet audit"),
        ("findings.ndjson", "[1]\n", "findings.ndjson:1: is not a line of a fleet audit"),
        ("findings.ndjson", "\n", "findings.ndjson:1: is not a line of a fleet audit"),
    ],
)
def test_a_spoilt_folder_is_refused(
    name: str, text: str, says: str, run: Run, audited: Audited, tmp_path: Path
) -> None:
    for one in ("units.ndjson", "findings.ndjson", "summary.json"):
        (tmp_path / one).write_bytes((audited("corn") / one).read_bytes())
    (tmp_path / name).write_text(text)
    status, _, errors = run(fleet_report, tmp_path)
    assert status == 2
    assert says in errors


def test_a_folder_that_is_none(run: Run, tmp_path: Path) -> None:
    assert "can't be read" in run(fleet_report, tmp_path / "nowhere")[2]


def test_visits_without_the_solver(
    run: Run, audited: Audited, repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The report itself does not need it, and says what to install when visits are wanted."""
    monkeypatch.delitem(sys.modules, "audit.fleet.schedule_solver", raising=False)
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    assert run(fleet_report, audited("corn"))[0] == 1
    status, _, errors = run(fleet_report, audited("corn"), "--visits", repository / "api/demo/visits-corn.yaml")
    assert status == 2
    assert "pip install" in errors
    monkeypatch.undo()
    importlib.import_module("audit.fleet.schedule_solver")


def test_a_visits_file_that_is_wrong(run: Run, audited: Audited, tmp_path: Path) -> None:
    visits = tmp_path / "visits.yaml"
    visits.write_text("start: tomorrow\nhours_a_day: 8\ntechnicians: []\nfarms: []\n")
    status, _, errors = run(fleet_report, audited("corn"), "--visits", visits)
    assert status == 2
    assert "visits.yaml:1:8" in errors


# ----------------------------------------------------------------------------------------------------------- a log


@pytest.fixture
def setup(demo_setups: list[Plain]) -> Plain:
    """A unit of the demo that is in order, at 6.5 km/h with a header of 30 ft."""
    return copy.deepcopy(next(one for one in demo_setups if one["unit"]["id"] == "unit-01"))


def _at(setup: Plain, seconds: float, **changed: Any) -> str:
    row = copy.deepcopy(setup)
    row["taken"]["at"] = (TAKEN + timedelta(seconds=seconds)).isoformat()
    row["settings"] |= changed.get("settings", {})
    row["job"] |= changed.get("job", {})
    return json.dumps(row)


WRONG = {"settings": {"feeder.drum": "lowered"}}


def test_a_log(run: Run, setup: Plain, tmp_path: Path) -> None:
    """An hour in order, half an hour with the feeder drum set for another crop, and half an hour of silence between."""
    rows = [_at(setup, 60 * minute, **(WRONG if minute >= 60 else {})) for minute in (*range(61), *range(90, 121))]
    path = tmp_path / "log.ndjson"
    path.write_text("\n".join(rows))
    status, out, _ = run(log, path, "--json")
    answer = json.loads(out)
    assert status == 1
    assert (answer["unit"], answer["rows"], answer["covered_s"], len(answer["gaps"])) == ("unit-01", 92, 5400, 1)
    drum = next(one for one in answer["out"] if one["rule"] == "drum-set-for-another-crop")
    assert drum["seconds"] == 1800
    assert drum["spells"] == [
        {"start": "2026-09-16T09:30:00Z", "end": "2026-09-16T10:00:00Z", "open": True, "seconds": 1800, "flickers": 0}
    ]
    # 6.5 km/h by 30 ft = 9.144 m: 5.9436 ha/h, the arithmetic of field capacity without losses of time
    assert drum["hectares"] == pytest.approx(6.5 * 0.9144 / 2)
    assert answer["hectares"] == pytest.approx(6.5 * 0.9144 * 1.5)


def test_a_log_as_text(run: Run, setup: Plain, tmp_path: Path) -> None:
    rows = [_at(setup, 0), _at(setup, 60, **WRONG), _at(setup, 120, job={"ground_speed": None}, **WRONG),
            _at(setup, 180), _at(setup, 1000), _at(setup, 1060)]  # fmt: skip
    path = tmp_path / "log.ndjson"
    path.write_text("\n".join(rows))
    status, out, _ = run(log, path)
    assert status == 1
    assert "unit-01  axial-single: 6 rows, 2026-09-16 08:00 to 08:17 UTC" in out
    assert "gap 2026-09-16 08:03 to 08:16 UTC" in out
    assert "Feeder house drum set for another crop" in out
    assert "out of window for 2 min, over 0.1 ha and an unknown area in 1 min" in out
    assert "2026-09-16 08:01 to 08:03 UTC, 2 min" in out


def test_rows_that_can_not_be_used(run: Run, setup: Plain, tmp_path: Path) -> None:
    """They are told with their place, and the rest still counts."""
    other, timeless = copy.deepcopy(setup), copy.deepcopy(setup)
    other["unit"]["id"] = "unit-99"
    del timeless["taken"]["at"]
    path = tmp_path / "log.ndjson"
    path.write_text("\n".join([_at(setup, 0), json.dumps(other), json.dumps(timeless), "{", _at(setup, 60)]))
    status, out, errors = run(log, path, "--json")
    assert status == 2
    assert json.loads(out)["refused"] == 3
    assert json.loads(out)["covered_s"] == 60
    for said in ("log.ndjson:2: unit/id: is unit-99", "log.ndjson:3: taken/at: is missing", "log.ndjson:4"):
        assert said in errors


@pytest.mark.parametrize("packed", [False, True])
def test_a_log_in_columns(packed: bool, run: Run, setup: Plain, tmp_path: Path) -> None:
    """CSV says the same as JSON, packed too; a record that is none is refused with its line."""
    flat = {f"unit.{key}": setup["unit"][key] for key in ("id", "card")} | {
        "job.crop": "corn", "job.header.kind": "corn-head", "job.header.width": "30 ft", "job.ground_speed": "6.5 km/h",
    }  # fmt: skip
    moments = [(TAKEN + timedelta(seconds=60 * minute)).isoformat() for minute in range(3)]
    lines = [",".join([*flat, "taken.at", "settings.feeder.drum.left", "settings.feeder.drum.right"])]
    lines += [",".join([*map(str, flat.values()), at, "lowered", "lowered"]) for at in moments]
    text = "\n".join(lines).encode()
    path = tmp_path / ("log.csv.gz" if packed else "log.csv")
    path.write_bytes(gzip.compress(text) if packed else text)
    status, out, errors = run(log, path, "--json")
    drum = next(one for one in json.loads(out)["out"] if one["rule"] == "drum-set-for-another-crop")
    assert (status, errors, drum["seconds"]) == (1, "", 120)
    assert drum["hectares"] == pytest.approx(6.5 * 0.9144 * 120 / 3600)
    path.write_bytes(text + b"\nunit-01,axial-single")
    status, out, errors = run(log, path, "--json")
    assert (status, json.loads(out)["rows"], json.loads(out)["refused"]) == (2, 3, 1)
    assert "has 2 cells" in errors


def test_a_log_of_nothing(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "log.ndjson"
    path.write_text("")
    assert run(log, path)[0] == 2
    assert run(log, tmp_path / "none.ndjson")[0] == 2


def test_hours_of_an_unknown_rulebook_entry_are_still_told(rulebook: Rulebook) -> None:
    """A rule that is gone from the rulebook stands by its id."""
    from api.fleet_wire import Teller

    assert Teller(rulebook).title("no-such-rule") == "no-such-rule"
    assert Teller(rulebook).on_title("no-such-card", "belt") == ""
