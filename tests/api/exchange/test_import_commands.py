"""setup-audit import and imports: files, archives and folders to units on record, and back."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from api.cli import main
from tests.api.exchange.samples import machine, snapshot_json, snapshot_xml, task_data, zipped
from tests.api.legal import CARD

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command in a folder with a store that has one organisation."""
    monkeypatch.setenv("SETUP_AUDIT_STORE", f"sqlite:///{tmp_path / 'record.db'}")
    monkeypatch.chdir(tmp_path)

    def found(*words: str) -> tuple[int, str, str]:
        status = main(list(words))
        said = capsys.readouterr()
        return status, said.out, said.err

    assert found("organisation", "make", "home", "--name", "Home")[0] == 0
    return found


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    file = tmp_path / "fleet.xml"
    file.write_bytes(snapshot_xml([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")]))
    return file


def test_dry_run_import_answer_undo(run: Run, fleet: Path) -> None:
    status, out, _ = run("import", "fleet.xml", "--dry-run")
    assert (status, "Nothing was put on record" in out) == (1, True)
    assert "Nothing was imported yet" in run("imports", "list")[1]
    status, out, _ = run("import", "fleet.xml")
    assert (status, "2 waits" in out) == (1, True)
    assert run("imports", "answer", "1", "--card", CARD)[0] == 0
    assert run("import", "fleet.xml")[0] == 0
    assert "pin XXXMDA1AC00000482" in run("imports", "identities", "Unit-07")[1]
    id = json.loads(run("imports", "list", "--json")[1])[0]["id"]
    assert "fleet.xml" in run("imports", "show", id)[1]
    assert run("imports", "undo", id)[0] == 0
    assert run("imports", "undo", id)[0] == 2
    assert "Nothing waits" in run("imports", "questions")[1]
    assert "as it was written" in run("record", "verify")[1]
    assert fleet.is_file()


def test_a_folder_an_archive_and_a_file_are_the_same(run: Run, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    (tmp_path / "card" / "TASKDATA.XML").write_bytes(task_data())
    (tmp_path / "card" / "._TASKDATA.XML").write_bytes(b"junk")
    (tmp_path / "card.zip").write_bytes(zipped({"TASKDATA.XML": task_data()}))
    run("import", "card")
    run("imports", "answer", "1", "--card", CARD, "--only")
    status, out, _ = run("import", "card.zip", "card/TASKDATA.XML")
    assert status == 0
    assert out.count("all of it is on record") == 2


def test_a_table_for_programs(run: Run, fleet: Path, tmp_path: Path) -> None:
    run("import", str(fleet))
    run("imports", "answer", "1", "--card", CARD)
    (tmp_path / "m.csv").write_text("No,Hours\nUnit 07,1500\n")
    (tmp_path / "m.yaml").write_text("columns: {No: {is: fleet_number}, Hours: {is: engine_hours}}")
    status, out, _ = run("import", "m.csv", "--map", "m.yaml", "--json")
    (report,) = json.loads(out)
    assert (status, report["counts"], report["lines"][0]["unit"]) == (0, {"updated": 1}, "Unit-07")


def test_one_bad_file_stops_no_others(run: Run, fleet: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.xml").write_bytes(b"<Fleet>")
    status, out, err = run("import", "bad.xml", str(fleet))
    assert status == 2
    assert "bad.xml, line 1: is not whole XML" in err
    assert "import 1" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("import", "no-such.xml"), "can't be read"),
        (("import", "fleet.xml", "--format", "nothing"), "is no format"),
        (("import", "fleet.xml", "--map", "no-such.yaml"), "can't be read"),
        (("import", "fleet.xml", "--organisation", "away"), "no organisation"),
        (("imports", "show", "import-1"), "no import"),
        (("imports", "answer", "7", "--new"), "no question"),
        (("imports", "identities", "unit-99"), "no unit"),
        (("imports", "split", "unit-99", "identity-1", "--why", "because"), "no unit"),
        (("imports", "end-source", "depot"), "no source"),
        (("imports", "add-source", "depot", "https://127.0.0.1/"), "not public"),
    ],
)
def test_what_is_refused(run: Run, fleet: Path, words: tuple[str, ...], said: str) -> None:
    status, out, err = run(*words)
    assert (status, out) == (2, ""), fleet
    assert re.search(said, err)


def test_questions_of_every_kind(run: Run, tmp_path: Path) -> None:
    def send(*machines: dict[str, object]) -> None:
        (tmp_path / "fleet.json").write_bytes(snapshot_json(machines))
        run("import", "fleet.json")

    send(machine())
    assert "a machine card" not in run("imports", "answer", "1", "--card", "no-such")[1]
    assert "Not answered: say which machine card" in run("imports", "answer", "1", "--card", "no-such")[2]
    run("imports", "answer", "1", "--card", CARD)
    send(machine(hours=5.0, at="2026-08-01T00:00:00Z"))
    assert "meter-replaced: Unit 07" in run("imports", "questions")[1]
    status, out, _ = run("imports", "answer", "2", "--replaced", "yes")
    assert (status, "hours count from 5 on" in out) == (0, True)
    send(machine("Unit 07", "U09-000999", "XXXMDA1AC00000999"))
    status, out, _ = run("imports", "answer", "3", "--new")
    assert (status, "new unit: Unit-07-2" in out) == (0, True)
    assert run("imports", "answer", "3", "--new")[0] == 2, "once is enough"
    assert "answered" in run("imports", "questions", "--every")[1]
