"""The command line as a person or a program uses it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from api.cli import main
from api.status import BAD_INPUT, CLEARED, HELD
from audit.intake.json_text import MOST_BYTES

DEMO = Path(__file__).parents[2] / "api" / "demo"
CLEAN, FAULTY = (DEMO / "before-corn.ndjson").read_bytes().splitlines()[:2]


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Exit status, output and error output of a command."""
    status = main(argv)
    out, err = capsys.readouterr()
    return status, out, err


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "clean.json").write_bytes(CLEAN)
    (tmp_path / "faulty.json").write_bytes(FAULTY)
    return tmp_path


def test_a_clean_machine_is_cleared(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    status, out, err = run(capsys, "check", str(folder / "clean.json"))
    assert (status, err) == (CLEARED, "")
    assert "CLEARED: 0 broken, 0 not known" in out


def test_a_faulty_one_is_held_and_explained(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    status, out, _ = run(capsys, "check", str(folder / "faulty.json"))
    assert status == HELD
    for text in (
        "■ HIGH",
        "feeder house, right: lowered, wanted raised [feeder.drum]",
        "Why:",
        "Damage:",
        "Put right:",
        "Beware:",
        "Ground:",
    ):
        assert text in " ".join(out.split())
    assert "Take the key out and keep it in your pocket while you work." in " ".join(out.split())


def test_many_files_are_brief_and_summed_up(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    status, out, _ = run(capsys, "check", str(folder / "clean.json"), str(folder / "faulty.json"))
    assert status == HELD
    assert "2 setups audited: 1 cleared, 1 held; 0 refused" in out
    assert "Put right" not in out


def test_json_is_one_report_a_line(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    (folder / "fleet.ndjson").write_bytes(CLEAN + b"\n\n" + FAULTY + b"\n")
    status, out, _ = run(capsys, "check", "--json", str(folder / "fleet.ndjson"))
    reports = [json.loads(line) for line in out.splitlines()]
    assert status == HELD
    assert [report["clearance"] for report in reports] == ["cleared", "held"]
    assert reports[1]["findings"][0]["holds_start"] is True
    assert "facts" not in reports[0]


def test_facts_carry_their_traces(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    _, out, _ = run(capsys, "check", "--json", "--facts", str(folder / "clean.json"))
    facts = {fact["name"]: fact for fact in json.loads(out)["facts"]}
    assert facts["separator.speed"]["formula"] == "Speed of a belt-driven shaft"
    assert facts["separator.speed"]["source"]
    _, text, _ = run(capsys, "check", "--facts", str(folder / "clean.json"))
    assert "separator.speed = 970 r/min" in text


def test_an_array_and_a_pretty_object_are_read(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    setups = [json.loads(CLEAN), json.loads(FAULTY)]
    (folder / "array.json").write_text(json.dumps(setups, indent=2))
    (folder / "pretty.json").write_text(json.dumps(setups[0], indent=2))
    status, out, _ = run(capsys, "check", str(folder / "array.json"))
    assert status == HELD
    assert "2 setups audited" in out
    assert run(capsys, "check", str(folder / "pretty.json"))[0] == CLEARED


def test_standard_input(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(CLEAN)))
    assert run(capsys, "check", "-")[0] == CLEARED


def test_one_bad_setup_never_stops_the_others(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    bad = CLEAN.replace(b'"corn"', b'"korn"', 1)
    (folder / "fleet.ndjson").write_bytes(b"\n".join([CLEAN, bad, b"{broken}", b"\xff\xfe", FAULTY]))
    status, out, err = run(capsys, "check", str(folder / "fleet.ndjson"))
    assert status == BAD_INPUT
    assert "2 setups audited: 1 cleared, 1 held; 3 refused" in out
    assert "fleet.ndjson:2: job/crop" in err
    assert "'corn'" in err
    assert "is not JSON" in err
    assert "is not UTF-8" in err


def test_a_huge_line_is_refused_and_passed_over(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    path = folder / "huge.ndjson"
    with path.open("wb") as file:
        file.write(CLEAN + b"\n{" + b" " * (200 * 1024 * 1024) + b"}\n" + CLEAN + b"\n")
    status, out, err = run(capsys, "check", str(path))
    assert status == BAD_INPUT
    assert "2 setups audited: 2 cleared, 0 held; 1 refused" in out
    assert f"longer than {MOST_BYTES // 1024 // 1024} MiB" in err


@pytest.mark.parametrize("content", [b"", b"\n \n", b"[]"])
def test_nothing_to_audit_is_bad_input(capsys: pytest.CaptureFixture[str], folder: Path, content: bytes) -> None:
    (folder / "empty.json").write_bytes(content)
    status, _, err = run(capsys, "check", str(folder / "empty.json"))
    assert status == BAD_INPUT
    assert "holds no setup" in err


def test_a_missing_file_is_said_and_the_rest_goes_on(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    status, out, err = run(capsys, "check", str(folder / "none.json"), str(folder / "clean.json"))
    assert status == BAD_INPUT
    assert "can't be read" in err
    assert "CLEARED" in out


def test_hold_at_moves_the_threshold(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    line = (DEMO / "before-corn.ndjson").read_bytes().splitlines()[4]  # nothing high, several serious
    (folder / "serious.json").write_bytes(line)
    assert run(capsys, "check", str(folder / "serious.json"))[0] == CLEARED
    assert run(capsys, "check", "--hold-at", "serious", str(folder / "serious.json"))[0] == HELD


def test_a_site_folder_overrides_and_the_finding_says_so(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    import rules

    shipped = (rules.root() / "packs/feeder/drum-set-for-another-crop.yaml").read_text()
    site = folder / "ours" / "packs" / "feeder"
    site.mkdir(parents=True)
    (site / "drum-set-for-another-crop.yaml").write_text(shipped.replace("severity: critical", "severity: marginal"))
    status, out, _ = run(capsys, "check", "--json", "--site", str(folder / "ours"), str(folder / "faulty.json"))
    found = next(f for f in json.loads(out)["findings"] if f["rule"] == "drum-set-for-another-crop")
    assert status == HELD
    assert (found["risk"]["severity"], found["overrides"]) == ("marginal", True)
    assert found["origin"].endswith("ours")
    _, text, _ = run(capsys, "check", "--site", str(folder / "ours"), str(folder / "faulty.json"))
    assert "overrides the shipped rule by site folder" in " ".join(text.split())


def test_a_broken_rulebook_says_where(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    site = folder / "ours" / "packs" / "feeder"
    site.mkdir(parents=True)
    (site / "ours.yaml").write_text("title: no rest\nhod: {}\n")
    for command in (("rulebook", "check"), ("check", str(folder / "clean.json"))):
        status, _, err = run(capsys, *command, "--site", str(folder / "ours"))
        assert status == BAD_INPUT
        assert "ours/packs/feeder/ours.yaml:2:6" in err
        assert "Did you mean 'hold'?" in err


def test_rulebook_check_and_show(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "rulebook", "check")[0] == CLEARED
    _, out, _ = run(capsys, "rulebook", "show")
    assert "■ high     drum-set-for-another-crop" in out
    _, out, _ = run(capsys, "rulebook", "show", "elevator-chain-too-tight")
    assert "Must hold:" in out
    status, _, err = run(capsys, "rulebook", "show", "elevator-chain-to-tight")
    assert status == BAD_INPUT
    assert "elevator-chain-too-tight" in err
    _, out, _ = run(capsys, "rulebook", "show", "--json")
    assert len(json.loads(out)) >= 80


def test_a_blank_setup_is_taken_as_it_is(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    _, out, _ = run(capsys, "card", "show", "tangential-walker", "--blank", "--crop", "maize")
    (folder / "blank.json").write_text(out)
    status, report, err = run(capsys, "check", "--json", str(folder / "blank.json"))
    assert (status, err) == (HELD, "")
    counts = json.loads(report)["counts"]
    assert counts["broken"] == 0
    assert counts["kept"] == 0
    assert counts["unknown"] > 200


def test_card_show_new_and_check(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert "axial-hybrid" in run(capsys, "card", "show")[1]
    _, out, _ = run(capsys, "card", "show", "axial-single")
    assert "rotor: 335 r/min to 1003 r/min (rotor.range high)" in out
    _, card, _ = run(capsys, "card", "new", "our-axial", "--blank")
    path = folder / "our-axial.yaml"
    path.write_text(card)
    status, out, err = run(capsys, "card", "check", str(path))
    assert (status, err) == (CLEARED, "")
    assert "rotor: 515 r/min to 1258 r/min" in out
    assert "Rules not asked of this card" in out
    path.write_text(card.replace("driven_diameter: 500 mm", "driven_diametr: 500 m"))
    status, _, err = run(capsys, "card", "check", str(path))
    assert status == BAD_INPUT
    assert "our-axial.yaml:" in err
    assert "Did you mean 'driven_diameter'?" in err
    assert run(capsys, "card", "new", "Our Axial")[0] == BAD_INPUT
    assert run(capsys, "card", "show", "axial-singel")[2].endswith("Did you mean 'axial-single'?\n")


def test_a_card_is_shown_with_what_moves_it_and_which_builds_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "card", "show", "axial-single")
    text = " ".join(out.split())
    assert "build unloading.rate: Rate of the unloading auger. standard (standard sprocket): serial to KX-01799" in text
    assert "Move the feeder house drum: 25 min, 2 people, 19 mm spanner, drift." in text
    assert "feeder.drum_moved:" in text
    order = [text.index(title) for title in ("Header and coupling", "Feeder house", "In the field", "Speeds with")]
    assert order == sorted(order)


def test_each_card_file_is_checked_by_itself(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    _, card, _ = run(capsys, "card", "new", "our-axial", "--blank")
    good, bad = folder / "our-axial.yaml", folder / "theirs.yaml"
    good.write_text(card)
    bad.write_text("card: theirs\n")
    status, out, err = run(capsys, "card", "check", str(bad), str(good))
    assert status == BAD_INPUT
    assert "our-axial: What you call this type of machine" in out
    assert "theirs.yaml:1:" in err
    assert "our-axial" not in err
    assert run(capsys, "card", "check", str(folder / "none.yaml"))[0] == BAD_INPUT


def test_a_fleet_is_summed_up_by_level(capsys: pytest.CaptureFixture[str]) -> None:
    """Against a count of our own over the findings of every report."""
    path = DEMO / "before-soybean.ndjson"
    _, out, _ = run(capsys, "check", "--json", str(path))
    findings = [finding for line in out.splitlines() for finding in json.loads(line)["findings"]]
    _, brief, _ = run(capsys, "check", str(path))
    for level in ("high", "serious", "medium"):
        for verdict in ("broken", "unknown"):
            count = sum((f["risk"]["level"], f["verdict"]) == (level, verdict) for f in findings)
            assert f"{count} {level} {verdict}" in brief
    assert brief.count("Before any work:") == 1


def test_a_reader_who_leaves_gets_no_clearance(folder: Path) -> None:
    """Output that nobody reads to its end must not look like a fleet that is cleared."""
    (folder / "fleet.ndjson").write_bytes(b"\n".join([CLEAN] * 300))
    command = [sys.executable, "-m", "api.cli", "check", str(folder / "fleet.ndjson")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=DEMO.parents[1]) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == b""
    assert running.returncode == BAD_INPUT


def test_another_package_called_rules_is_refused(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, folder: Path
) -> None:
    monkeypatch.setattr("rules.root", lambda: folder)
    status, _, err = run(capsys, "check", str(folder / "clean.json"))
    assert status == BAD_INPUT
    assert "another package called 'rules'" in err


def test_a_check_of_one_file_loads_no_web(folder: Path) -> None:
    """Cold start: nothing that only the web or the rulebook's proofs need is imported."""
    script = (
        "import sys; from api.cli import main; "
        f"main(['check', {str(folder / 'clean.json')!r}]); "
        "print([name for name in ('fastapi', 'pydantic', 'uvicorn', 'rich', 'audit.cases', 'audit.compiling', "
        "'importlib.metadata') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=DEMO.parents[1], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_serve_refuses_an_address_that_others_reach(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "serve", "--host", "0.0.0.0")
    assert status == BAD_INPUT
    assert "nobody has a token yet" in err
    status, _, err = run(capsys, "serve", "--host", "0.0.0.0", "--no-store", "--behind-proxy")
    assert status == BAD_INPUT
    assert "Without a store" in err


def test_the_demo_ranks_the_fleet(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "demo")
    assert status == CLEARED
    assert out.count("machines as found") == 2
    assert out.index("■ HIGH  unit-18") < out.index("▲ SERIOUS") < out.index("● MEDIUM")


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    for flag in ("--version", "--help"):
        with pytest.raises(SystemExit) as stop:
            main([flag])
        assert stop.value.code == 0
    assert "setup-audit" in capsys.readouterr().out
