"""``--sheet`` of each command that has it: what is written, where it can't be, and that the answer stays the same."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from api.cli import main
from api.status import BAD_INPUT, HELD

DEMO = Path(__file__).parents[2] / "api" / "demo" / "before-corn.ndjson"


@pytest.fixture
def unit(tmp_path: Path) -> str:
    file = tmp_path / "unit-02.json"
    file.write_bytes(DEMO.read_bytes().splitlines()[1])
    return str(file)


def test_check_writes_a_unit_sheet_and_says_the_same(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, unit: str
) -> None:
    assert main(["check", unit, "--brief"]) == HELD
    said = capsys.readouterr().out
    sheet = tmp_path / "unit.pdf"
    assert main(["check", unit, "--brief", "--sheet", str(sheet), "--paper", "letter"]) == HELD
    assert capsys.readouterr().out == said
    page = PdfReader(sheet).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == (612, 792)
    assert "unit-02" in page.extract_text()
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".new"] == []


def test_check_takes_a_pipe(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, unit: str) -> None:
    class Pipe:
        buffer = io.BytesIO(Path(unit).read_bytes())

    monkeypatch.setattr(sys, "stdin", Pipe())
    assert main(["check", "-", "--brief", "--sheet", str(tmp_path / "unit.csv")]) == HELD
    assert (tmp_path / "unit.csv").read_bytes().startswith(b"\xef\xbb\xbfNumber,")


def test_plan_writes_a_work_order_in_german(tmp_path: Path, unit: str) -> None:
    main(["plan", unit, "--sheet", str(tmp_path / "order.html"), "--language", "de", "--units", "us"])
    text = (tmp_path / "order.html").read_text()
    assert '<html lang="de">' in text
    assert "Arbeitsauftrag" in text
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")


def test_changeover_writes_a_sheet_for_the_cab_from_a_setup_only(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, unit: str
) -> None:
    sheet = tmp_path / "cab.xlsx"
    main(["changeover", unit, "--to", "soybean", "--sheet", str(sheet)])
    assert "Settings" in load_workbook(sheet).sheetnames
    card = ["changeover", "--card", "axial-single", "--from", "corn", "--to", "soybean", "--sheet", str(sheet)]
    assert main(card) == BAD_INPUT
    assert "--sheet goes with a setup" in capsys.readouterr().err


def test_fleet_report_writes_a_report(tmp_path: Path) -> None:
    assert main(["fleet", str(DEMO), "--out", str(tmp_path / "spring"), "--plan"]) == HELD
    sheet = tmp_path / "report.xlsx"
    assert main(["fleet-report", str(tmp_path / "spring"), "--sheet", str(sheet)]) == HELD
    assert load_workbook(sheet)["Units"].max_row == 27


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--sheet", "unit.doc"], "Use one of: html, pdf, xlsx, csv."),
        (["--sheet", "no-such-folder/unit.csv"], "No such file or directory"),
        (["--sheet", "unit.csv", "--language", "xx"], "Use one of: en, de."),
    ],
)
def test_what_can_not_be_written_is_said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, unit: str, options: list[str],
    says: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main(["check", unit, *options]) == BAD_INPUT
    assert says in capsys.readouterr().err
    assert [one.name for one in tmp_path.iterdir()] == ["unit-02.json"]


def test_a_sheet_is_of_one_setup(capsys: pytest.CaptureFixture[str], tmp_path: Path, unit: str) -> None:
    assert main(["check", unit, unit, "--sheet", str(tmp_path / "unit.csv")]) == BAD_INPUT
    assert "of one setup" in capsys.readouterr().err
    (tmp_path / "bad.json").write_text('{"unit": 3}')
    assert main(["check", str(tmp_path / "bad.json"), "--sheet", str(tmp_path / "unit.csv")]) == BAD_INPUT
    assert not (tmp_path / "unit.csv").exists()
