"""setup-audit fleet: what it says, and its exit status."""

from __future__ import annotations

import argparse
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from api.commands.fleet import add, run
from api.fleet.run import Progress
from api.fleet.telling import Teller
from api.status import BAD_INPUT, CLEARED, HELD


def command(*words: str) -> int:
    parser = argparse.ArgumentParser()
    add(parser, "fleet")
    return run(parser.parse_args(words), "fleet")


@pytest.fixture
def fleet_file(demo_setups: Any, written: Any, tmp_path: Path) -> Path:
    path = tmp_path / "fleet.csv"
    path.write_bytes(written(demo_setups, "csv"))
    return path


def test_status_is_that_of_check(fleet_file: Path, demo_setups: Any, written: Any, tmp_path: Path, capsys: Any) -> None:
    assert command(str(fleet_file), "--out", str(tmp_path / "a")) == HELD
    summary = json.loads((tmp_path / "a" / "summary.json").read_text())
    units = [json.loads(line) for line in (tmp_path / "a" / "units.ndjson").read_bytes().splitlines()]
    cleared = [setup for setup, unit in zip(demo_setups, units, strict=True) if unit["clearance"] == "cleared"]
    fleet_file.write_bytes(written(cleared[:3], "csv"))
    assert command(str(fleet_file), "--out", str(tmp_path / "b")) == CLEARED
    fleet_file.write_bytes(fleet_file.read_bytes() + b"short\n")
    assert command(str(fleet_file), "--out", str(tmp_path / "c")) == BAD_INPUT
    told = capsys.readouterr().out
    assert f"52 setups: {summary['cleared']} cleared, {summary['held']} held, 0 set aside" in told
    assert "1 set aside" in told


def test_lists_only(fleet_file: Path, tmp_path: Path, capsys: Any) -> None:
    both, lists = tmp_path / "both", tmp_path / "lists"
    assert command(str(fleet_file), "--out", str(both)) == command(str(fleet_file), "--out", str(lists), "--lists-only")
    assert {path.name for path in both.iterdir()} - {path.name for path in lists.iterdir()} == {
        "units.parquet", "findings.parquet",
    }  # fmt: skip
    for name in ("units.ndjson", "findings.ndjson", "set-aside.ndjson"):
        assert (both / name).read_bytes() == (lists / name).read_bytes()
    assert json.loads((lists / "summary.json").read_text())["tables"] is False
    assert command(str(fleet_file), "--out", str(lists), "--resume") == BAD_INPUT  # now with tables: another run
    assert "name another folder" in capsys.readouterr().err


def test_columns_are_printed_and_taken(tmp_path: Path, capsys: Any) -> None:
    for card in ("axial-single", "axial-hybrid", "tangential-walker"):
        assert command("--columns", card) == CLEARED
        header = capsys.readouterr().out
        cells = dict.fromkeys(header.strip().split(","), "") | {"unit.id": "a", "unit.card": card, "job.crop": "corn"}
        path = tmp_path / f"{card}.csv"
        path.write_text(header + ",".join(cells.values()) + "\n")
        assert command(str(path), "--out", str(tmp_path / card)) == HELD
        (unit,) = (tmp_path / card / "units.ndjson").read_bytes().splitlines()
        assert json.loads(unit)["broken"] == 0
        capsys.readouterr()
    assert command("--columns", "axial-singel") == BAD_INPUT
    assert "Did you mean 'axial-single'?" in capsys.readouterr().err


def test_what_is_missing_is_said(fleet_file: Path, tmp_path: Path, capsys: Any) -> None:
    assert command(str(fleet_file)) == BAD_INPUT
    assert "--out" in capsys.readouterr().err
    assert command("none.csv", "--out", str(tmp_path / "a")) == BAD_INPUT
    assert "none.csv: is no file" in capsys.readouterr().err
    assert command(str(fleet_file), "--out", str(tmp_path / "b")) == HELD
    assert command(str(fleet_file), "--out", str(tmp_path / "b")) == BAD_INPUT
    assert "name another folder" in capsys.readouterr().err


def test_interrupted(fleet_file: Path, tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    def interrupted(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("api.fleet.telling.Teller.__call__", interrupted)
    assert command(str(fleet_file), "--out", str(tmp_path / "a")) == BAD_INPUT
    assert "--resume" in capsys.readouterr().err
    monkeypatch.undo()
    assert command(str(fleet_file), "--out", str(tmp_path / "a"), "--resume") == HELD


def test_without_the_optional_part(fleet_file: Path, tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    monkeypatch.delitem(sys.modules, "api.fleet.cluster", raising=False)
    assert command(str(fleet_file), "--out", str(tmp_path / "a"), "--cluster", "tcp://127.0.0.1:9") == BAD_INPUT
    assert "'cluster'" in capsys.readouterr().err


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_has_rate_and_time_left() -> None:
    now = [0.0]
    for out in (Terminal(), io.StringIO()):
        now[0] = 0.0
        teller = Teller(out, lambda: now[0])
        teller(Progress(100, 0, 0, 3, 1000, 10_000))
        assert out.getvalue() == ""
        now[0] = 100.0
        teller(Progress(500, 100, 2, 7, 5500, 10_000))
        teller(Progress(501, 100, 2, 7, 5510, 10_000))
        assert out.getvalue().count("setups") == 1
        assert "500 setups, 4/s, 55 %, 2 min left, 7 held, 2 set aside" in out.getvalue()
        teller.close()
    assert "left" not in Teller(io.StringIO()).line(Progress(5, 0, 0, 0, 100, None), 1.0)
