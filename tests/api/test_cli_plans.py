"""Plans, changeovers, what-ifs and proofs on the command line: every option, every error, every exit status."""

from __future__ import annotations

import dataclasses
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from api.cli import main
from api.commands import changeover as changeover_command
from api.commands import plan as plan_command
from api.commands import whatif as whatif_command
from api.status import BAD_INPUT, CLEARED, HELD
from audit.nouns.plan import Branch, Conflict, Lock, Locks, Plan, Planned
from audit.nouns.problem import Place
from audit.nouns.proof import Flaw, LegalSetup, Machine, NearMiss, Proof
from audit.nouns.quantity import Sided, Value
from audit.nouns.rulebook import Rulebook
from audit.planning import proving
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime
from audit.run import audit_setup

DEMO = Path(__file__).parents[2] / "api" / "demo"
CLEAN, FAULTY = (DEMO / "before-corn.ndjson").read_bytes().splitlines()[:2]


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Exit status, output and error output of a command."""
    status = main(argv)
    out, err = capsys.readouterr()
    return status, out, err


@pytest.fixture
def clean(tmp_path: Path) -> str:
    (tmp_path / "clean.json").write_bytes(CLEAN)
    return str(tmp_path / "clean.json")


@pytest.fixture
def faulty(tmp_path: Path) -> str:
    (tmp_path / "faulty.json").write_bytes(FAULTY)
    return str(tmp_path / "faulty.json")


# ----------------------------------------------------------------------------------------------------------------- plan


def test_a_plan_is_printed(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    status, out, err = run(capsys, "plan", faulty)
    assert (status, err) == (CLEARED, "")
    assert out.startswith("unit-02  axial-single, corn, corn-head\nHELD by ")
    for says in ("The work: ", "Move the feeder house drum", "Take the key out", "come before this sheet."):
        assert says in out


def test_nothing_to_do(capsys: pytest.CaptureFixture[str], clean: str) -> None:
    status, out, _ = run(capsys, "plan", clean)
    assert status == CLEARED
    assert "Nothing to do: every rule that is asked of this machine is kept." in out


def test_a_pipe_and_json(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, clean: str, faulty: str
) -> None:
    _, by_file, _ = run(capsys, "plan", faulty, "--json")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(FAULTY)))
    status, by_pipe, _ = run(capsys, "plan", "-", "--json")
    assert status == CLEARED
    assert json.loads(by_pipe) == json.loads(by_file)
    assert json.loads(by_file)["branches"][0]["plan"]["steps"]
    assert json.loads(run(capsys, "plan", clean, "--json")[1])["branches"][0]["plan"]["steps"] == []


def test_no_plan_is_held(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    status, out, _ = run(capsys, "plan", faulty, "--minutes", "0")
    assert status == HELD
    assert "No plan. These can't all hold together:" in out
    assert "asked for: at most 0 minutes" in out


def test_every_lock_reaches_the_planner(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    options = "--leave rotor.range --leave shoe --without LAMP --without drift --people 2 --minutes 500.5 --seconds 5"
    _, out, err = run(capsys, "plan", faulty, *options.split(), "--hold-at", "serious", "--json")
    assert err == ""
    assert json.loads(out)["locks"] == {
        "leave": ["rotor.range", "shoe"],
        "lacking": ["lamp", "drift"],
        "people": 2,
        "minutes": 500.5,
    }


def test_hold_at_counts_what_holds(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    counts = []
    for level in ("high", "low"):
        _, out, _ = run(capsys, "plan", faulty, "--hold-at", level, "--json")
        counts.append(sum(finding["holds_start"] for finding in json.loads(out)["found"]["findings"]))
    assert counts[0] < counts[1]


def test_every_bad_lock_is_told_at_once(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    options = ("--leave", "feeder.dru", "--leave", "rotor.tip_speed", "--without", "lifting strp", "--people", "0")
    status, out, err = run(capsys, "plan", faulty, *options, "--minutes", "nan")
    assert (status, out) == (BAD_INPUT, "")
    assert err.splitlines() == [
        "--leave: 'rotor.tip_speed' is computed or stated by the card; no work moves it. Leave it out.",
        "--leave: machine card axial-single has no setting, reading, part or station 'feeder.dru', and no procedure "
        "is called so. Did you mean 'feeder.drum'?",
        "--minutes: 'minutes' is nan; it must be a number, at least 0.",
        "--people: 'people' is 0; it must be a whole number, at least 1.",
        "--without: no procedure takes a part or tool called 'lifting strp'. Did you mean 'lifting strap'?",
    ]


@pytest.mark.parametrize("command", [["plan"], ["changeover", "--to", "corn"], ["whatif"]])
def test_files_that_are_no_setup(capsys: pytest.CaptureFixture[str], tmp_path: Path, command: list[str]) -> None:
    many, empty = tmp_path / "fleet.ndjson", tmp_path / "empty.json"
    many.write_bytes(CLEAN + b"\n" + FAULTY + b"\n")
    empty.write_bytes(b" \n")
    (tmp_path / "bad.json").write_bytes(b'{"unit": 1}')
    for name, says in (
        (str(many), f"{many}: holds 2 setups; one is planned at a time. Take one out of it, for example: sed -n 2p"),
        (str(empty), f"{empty}: holds no setup; one is planned at a time."),
        (str(tmp_path / "none.json"), "none.json: can't be read: No such file or directory."),
        (str(tmp_path / "bad.json"), "'unit' must be a mapping"),
    ):
        status, out, err = run(capsys, *command, name)
        assert (status, out) == (BAD_INPUT, "")
        assert says in err


@pytest.mark.parametrize("seconds", ["0", "-1", "nan", "inf", "soon"])
def test_seconds_are_a_time(capsys: pytest.CaptureFixture[str], faulty: str, seconds: str) -> None:
    with pytest.raises(SystemExit) as left:
        main(["plan", faulty, "--seconds", seconds])
    assert left.value.code == BAD_INPUT
    assert "--seconds" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("command", "module"),
    [
        (["plan"], plan_command),
        (["changeover", "--to", "soybean"], changeover_command),
        (["whatif", "--set", "feeder.drum=raised"], whatif_command),
    ],
)
def test_time_that_ran_out_is_no_answer(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, faulty: str, command: list[str], module: Any
) -> None:
    def never(*_: object) -> None:
        raise OutOfTime

    monkeypatch.setattr(module, "planner", never)
    status, out, err = run(capsys, *command, faulty)
    assert (status, out) == (BAD_INPUT, "")
    assert err == "time ran out before any plan was found; give it more with --seconds.\n"


@pytest.mark.parametrize(
    "command", [["plan"], ["changeover", "--to", "corn"], ["whatif"], ["rulebook", "prove", "--site"]]
)
def test_a_bad_rulebook_is_bad_input(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, faulty: str, command: list[str]
) -> None:
    (tmp_path / "site" / "crops").mkdir(parents=True)
    (tmp_path / "site" / "crops" / "bad.yaml").write_text("crop: bad\n")
    site = [str(tmp_path / "site")] if command[-1] == "--site" else [faulty, "--site", str(tmp_path / "site")]
    status, out, err = run(capsys, *command, *site)
    assert (status, out) == (BAD_INPUT, "")
    assert "bad.yaml" in err


# ----------------------------------------------------------------------------------------------------------- changeover


def test_a_changeover_of_a_machine(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    status, out, err = run(capsys, "changeover", faulty, "--to", "soya", "--header", "draper")
    assert (status, err) == (CLEARED, "")
    assert out.startswith(
        "Changeover from corn, corn-head, to soybean, draper. What was wrong before is part of the work.\n"
    )
    assert "unit-02  axial-single, soybean, corn-head" in out
    status, out, _ = run(capsys, "changeover", faulty, "--to", "soybean", "--minutes", "0", "--json")
    assert status == HELD
    assert json.loads(out)["from_crop"] == "corn"


def test_a_changeover_of_any_machine(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["changeover", "--card", "axial-single", "--from", "corn", "--to", "soybean", "--header", "draper"]
    status, out, err = run(capsys, *asked, "--fitted", "shoe.stroke=long", "--fitted", "shoe.stroke=long")
    assert (status, err) == (CLEARED, "")
    assert out.startswith("Changeover from corn, corn-head, to soybean, draper: axial-single\n")
    assert "[ ] " in out
    status, out, _ = run(capsys, *asked, "--json")
    assert status == CLEARED
    assert (json.loads(out)["from_crop"], json.loads(out)["crop"]) == ("corn", "soybean")


CARD = ("--card", "axial-single", "--from", "corn", "--to", "soybean")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("FILE", "--to", "soy been"), "--to: no crop card is called 'soy been'. Did you mean 'soya bean'?"),
        (("FILE", "--to", "soybean", "--header", "drapr"), "--header: no header kind is called 'drapr'; it must be "),
        (("FILE", "--to", "soybean", "--leave", "zzz"), "--leave: machine card axial-single has no setting"),
        (("FILE", *CARD), "setup-audit changeover: --card goes without a file. The file says it already."),
        (("FILE", *CARD), "setup-audit changeover: --from goes without a file."),
        (("FILE", "--to", "corn", "--fitted", "a=b"), "setup-audit changeover: --fitted goes without a file."),
        (("--to", "corn"), "setup-audit changeover: lacks a file, or else --card."),
        (("--to", "corn", "--card", "axial-single"), "setup-audit changeover: lacks a file, or else --from."),
        ((*CARD, "--leave", "shoe"), "setup-audit changeover: --leave goes with a setup. Give its file."),
        ((*CARD, "--without", "lamp"), "setup-audit changeover: --without goes with a setup."),
        ((*CARD, "--people", "1"), "setup-audit changeover: --people goes with a setup."),
        ((*CARD, "--minutes", "0"), "setup-audit changeover: --minutes goes with a setup."),
        (("--card", "axial-singel", "--from", "corn", "--to", "corn"), "--card: no machine card is called 'axial-singel'."),
        (("--card", "axial-single", "--from", "korn", "--to", "corn"), "--from: no crop card is called 'korn'."),
        ((*CARD, "--header", "x"), "--header: no header kind is called 'x'"),
        ((*CARD, "--fitted", "shoe.stroke"), "--fitted shoe.stroke: must be BUILD=CHOICE."),
        ((*CARD, "--fitted", "shoe.stroke=longer"), "--fitted shoe.stroke=longer: is 'longer'; it must be one of: "),
        ((*CARD, "--fitted", "shoe.strok=long"), "no build 'shoe.strok'. Did you mean 'shoe.stroke'?"),
        ((*CARD, "--fitted", "shoe.stroke=long", "--fitted", "shoe.stroke=short"),
         "--fitted shoe.stroke=short: 'shoe.stroke' is already long. Give it once."),
    ],
)  # fmt: skip
def test_what_a_changeover_can_not_be(
    capsys: pytest.CaptureFixture[str], faulty: str, options: tuple[str, ...], says: str
) -> None:
    status, out, err = run(capsys, "changeover", *(faulty if option == "FILE" else option for option in options))
    assert (status, out) == (BAD_INPUT, "")
    assert says in err


# --------------------------------------------------------------------------------------------------------------- whatif


def changes(capsys: pytest.CaptureFixture[str], file: str, *options: str) -> dict[str, list[Any]]:
    """Every changed quantity with its values afterwards."""
    _, out, err = run(capsys, "whatif", file, "--json", *options)
    assert err == ""
    return {one["quantity"]: [side["value"] for side in one["after"]] for one in json.loads(out)["changes"]}


@pytest.mark.parametrize(
    ("options", "after"),
    [
        (["--set", "rotor.speed=320"], {"rotor.speed": [320.0]}),
        (["--set", "rotor.speed = 320 r/min"], {"rotor.speed": [320.0]}),
        (["--set", "feeder.drum.right=raised"], {"feeder.drum": ["raised", "raised"]}),
        (["--set", "feeder.drum=lowered"], {"feeder.drum": ["lowered", "lowered"]}),
        (["--set", "feeder.drum.left=lowered", "--set", "feeder.drum.right=raised"], {"feeder.drum": ["lowered", "raised"]}),
        (["--unset", "feeder.drum"], {"feeder.drum": [None, None]}),
        (["--unset", "feeder.drum.left"], {"feeder.drum": [None, "lowered"]}),
        (["--set", "header.safety_stop=no"], {"header.safety_stop": [False]}),
        (["--set", "header.safety_stop=False"], {"header.safety_stop": [False]}),
        (["--set", "header.pins_home.left=no"], {"header.pins_home": [False, True]}),
        (["--unset", "header.safety_stop"], {"header.safety_stop": [None]}),
        (["--set", "job.ground_speed=3.6 km/h"], {"job.ground_speed": [1.0]}),
        (["--set", "job.header_kind=draper"], {"job.header_kind": ["draper"]}),
        (["--unset", "job.header_kind"], {"job.header_kind": [None]}),
        (["--set", "job.crop=maize"], {}),
        (["--set", "feeder.drum_moved=1970-01-02T00:00:00Z"], {"feeder.drum_moved": [86400.0]}),
        (["--fitted", "shoe.stroke=long"], {"build.shoe.stroke": ["long"]}),
        (["--set", "rotor.speed=320", "--set", "rotor.speed=320"], {"rotor.speed": [320.0]}),
        ([], {}),
    ],
)  # fmt: skip
def test_changes(capsys: pytest.CaptureFixture[str], faulty: str, options: list[str], after: dict[str, Any]) -> None:
    found = changes(capsys, faulty, *options)
    assert found.keys() == after.keys()
    for name, values in after.items():
        assert found[name] == [pytest.approx(value) if isinstance(value, float) else value for value in values]


def test_a_family_of_parts_is_changed_together(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    found = changes(capsys, faulty, "--set", "belt.condition=cracked")
    assert len(found) > 5
    assert all(name.endswith(".condition") for name in found)


def test_a_what_if_tells_what_would_be(capsys: pytest.CaptureFixture[str], faulty: str, clean: str) -> None:
    status, out, _ = run(capsys, "whatif", faulty, "--set", "header.safety_stop=no", "--leave", "shoe")
    assert status == HELD
    for says in (
        "What if, on unit-02",
        "[header.safety_stop]: yes -> no",
        "Findings that would be new: 1",
        "shoe left",
    ):
        assert says in out
    status, out, _ = run(capsys, "whatif", clean)
    assert status == CLEARED
    assert "Nothing would differ from what was found." in out
    assert run(capsys, "whatif", faulty, "--set", "feeder.drum=raised", "--json", "--minutes", "0")[0] in (
        CLEARED,
        HELD,
    )


def test_status_is_that_of_the_changed_machine(capsys: pytest.CaptureFixture[str], clean: str) -> None:
    assert run(capsys, "whatif", clean, "--set", "feeder.drum.left=lowered")[0] == HELD
    assert run(capsys, "whatif", clean, "--set", "feeder.drum=raised")[0] == CLEARED


def test_nothing_is_stored(capsys: pytest.CaptureFixture[str], clean: str) -> None:
    run(capsys, "whatif", clean, "--set", "feeder.drum=lowered")
    assert Path(clean).read_bytes() == CLEAN


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--set", "feeder.dru=raised"], "--set feeder.dru=raised: machine card axial-single has nothing called "
         "'feeder.dru'. Did you mean 'feeder.drum'?"),
        (["--unset", "zzz"], "--unset zzz: machine card axial-single has nothing called 'zzz'. 'setup-audit card show "
         "axial-single' lists them."),
        (["--set", "feeder.drum"], "--set feeder.drum: must be NAME=VALUE. To say not known, use --unset NAME."),
        (["--set", "feeder.drum="], "--set feeder.drum=: must be NAME=VALUE."),
        (["--set", "feeder.drum=raisd"], "--set feeder.drum=raisd: is 'raisd'; it must be one of: raised, lowered. Did "
         "you mean 'raised'?"),
        (["--set", "feeder.drum.left=raisd"], "--set feeder.drum.left=raisd: is 'raisd'; it must be one of"),
        (["--set", "rotor.speed=320 mm"], "--set rotor.speed=320 mm: 'mm' is a unit of length, a rotation is wanted"),
        (["--set", "rotor.speed=90000"], "--set rotor.speed=90000: '90000' is impossible here"),
        (["--set", "header.safety_stop=perhaps"], "is 'perhaps'; it must be true or false."),
        (["--set", "job.ground_speed=fast"], "--set job.ground_speed=fast: 'fast' is not a number"),
        (["--set", "job.header_kind=drapr"], "--set job.header_kind=drapr: is 'drapr'; it must be one of"),
        (["--set", "job.crop=korn"], "--set job.crop=korn: no crop card is called 'korn'. Did you mean 'corn'?"),
        (["--set", "job.crop=soya"], "--set job.crop=soya: is soybean; a what-if keeps the crop."),
        (["--unset", "job.crop"], "--unset job.crop: 'crop' must be text, not null."),
        (["--set", "rotor.tip_speed=20 m/s"], "'rotor.tip_speed' is stated by the unit or its card, or computed."),
        (["--set", "unit.build_year=2020"], "'unit.build_year' is stated by the unit or its card, or computed."),
        (["--set", "build.shoe.stroke=long"], "Use --fitted shoe.stroke=CHOICE."),
        (["--set", "rotor.speed.left=320"], "'rotor.speed' is not taken left and right. Write rotor.speed."),
        (["--set", "rotor.speed=320", "--set", "rotor.speed=330"], "'rotor.speed' is both set to 320 and set to 330."),
        (["--set", "rotor.speed=320", "--unset", "rotor.speed"], "'rotor.speed' is both set to 320 and unset."),
        (["--set", "feeder.drum=raised", "--set", "feeder.drum.left=lowered"], "'feeder.drum' is both set to raised and "
         "set to lowered. Give it once."),
        (["--unset", "feeder.drum.left", "--set", "feeder.drum=raised"], "'feeder.drum' is both"),
        (["--fitted", "shoe.strok=long"], "--fitted shoe.strok=long: this card has no build 'shoe.strok'."),
        (["--fitted", "shoe.stroke=longer"], "--fitted shoe.stroke=longer: is 'longer'; it must be one of: long, short."),
    ],
)  # fmt: skip
def test_bad_changes(capsys: pytest.CaptureFixture[str], faulty: str, options: list[str], says: str) -> None:
    status, out, err = run(capsys, "whatif", faulty, *options)
    assert (status, out) == (BAD_INPUT, "")
    assert says in err
    assert len(err.splitlines()) == 1


def test_every_bad_change_is_told_at_once(capsys: pytest.CaptureFixture[str], faulty: str) -> None:
    options = [
        "--set",
        "feeder.dru=1",
        "--set",
        "rotor.speed=1 mm",
        "--unset",
        "zzz",
        "--fitted",
        "x",
        "--leave",
        "yyy",
    ]
    assert len(run(capsys, "whatif", faulty, *options)[2].splitlines()) == 5


# ------------------------------------------------------------------------------------------------------- rulebook prove


MISSES: dict[str, Value | Sided] = {
    "header.safety_stop": False,
    "engine.bay_clean": False,
    "deflector.pins_home": (True, False),
}
"""Readings that break one rule each, and no other."""


@pytest.fixture(scope="module")
def proof(rulebook: Rulebook) -> Proof:
    """A proof without flaws: two legal setups, and near misses made from the first by one reading."""
    planner = Planner(rulebook)
    legal = []
    for card, crop, header in (("axial-single", "corn", "corn-head"), ("tangential-walker", "wheat", "draper")):
        setup = planner.legal_setup(card, crop, header, (), lambda: False)
        builds = tuple((f"build.{name}", choice) for name, choice in setup.unit.fitted)
        legal.append(LegalSetup(Machine(card, builds, crop, header), setup.values))
    misses = []
    for name, value in MISSES.items():
        values = {**legal[0].values, name: value}
        setup = planner.legal_setup("axial-single", "corn", "corn-head", (), lambda: False)
        (finding,) = audit_setup(rulebook, dataclasses.replace(setup, values=values)).findings
        misses.append(NearMiss((finding.rule, finding.on), legal[0].machine, values, (name,)))
    return Proof(tuple(legal), tuple(misses), (), ())


@pytest.fixture
def proven(monkeypatch: pytest.MonkeyPatch, proof: Proof) -> Proof:
    monkeypatch.setattr(proving, "prove", lambda *_: proof)
    return proof


@pytest.mark.usefixtures("proven")
def test_a_proof_is_counted_by_card(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "rulebook", "prove")
    assert (status, err) == (CLEARED, "")
    assert [line.split() for line in out.splitlines()[:-1]] == [
        ["axial-hybrid", "0", "legal", "setups", "0", "near", "misses"],
        ["axial-single", "1", "legal", "setups", "3", "near", "misses"],
        ["tangential-walker", "1", "legal", "setups", "0", "near", "misses"],
    ]
    assert out.splitlines()[-1] == "No flaw: 2 legal setups, 3 near misses."
    status, out, _ = run(capsys, "rulebook", "prove", "--card", "axial-single")
    assert (status, len(out.splitlines())) == (CLEARED, 2)


def test_flaws_have_their_places(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, proof: Proof
) -> None:
    flaws = (
        Flaw("Two rules can't both be kept.", "Give one of them a 'given'.", ("a", "b"), (Place("a.yaml", 3), Place("b.yaml", 7, 2))),
        Flaw("No legal setup for rye.", "", (), (Place("rye.yaml"),)),
    )  # fmt: skip
    broken = Proof(proof.legal, proof.near_misses, (("a", ("b", "c")),), flaws)
    monkeypatch.setattr(proving, "prove", lambda *_: broken)
    status, out, _ = run(capsys, "rulebook", "prove")
    assert status == HELD
    assert out.splitlines()[-3:-1] == [
        "a.yaml:3, b.yaml:7: Two rules can't both be kept. Give one of them a 'given'.",
        "rye.yaml: No legal setup for rye.",
    ]
    assert out.splitlines()[-1].startswith("2 flaws: ")
    assert out.endswith("; 1 rule breaks only with others, as declared.\n")
    status, out, _ = run(capsys, "rulebook", "prove", "--json")
    plain = json.loads(out)
    assert status == HELD
    assert plain["flaws"][0]["places"][1] == {"source": "b.yaml", "line": 7, "column": 2}
    assert plain["breaks_with"] == [{"rule": "a", "with": ["b", "c"]}]
    assert sum(card["legal"] for card in plain["cards"]) == len(proof.legal)
    assert sum(card["near_misses"] for card in plain["cards"]) == len(proof.near_misses)


def test_a_legal_setup_checks_clean(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for asked in (("axial-single", "maize"), ("tangential-walker", "wheat", "draper")):
        status, out, _ = run(capsys, "rulebook", "prove", "--legal", *asked)
        assert status == CLEARED
        (tmp_path / "legal.json").write_text(out)
        status, out, _ = run(capsys, "check", str(tmp_path / "legal.json"))
        assert status == CLEARED
        assert "CLEARED: 0 broken, 0 not known" in out


def test_a_near_miss_breaks_its_rule_alone(capsys: pytest.CaptureFixture[str], proven: Proof, tmp_path: Path) -> None:
    assert len(proven.near_misses) == len(MISSES)
    for rule in (miss.question[0] for miss in proven.near_misses):
        status, out, _ = run(capsys, "rulebook", "prove", "--near", rule)
        assert status == CLEARED
        (tmp_path / "near.json").write_text(out)
        _, out, _ = run(capsys, "check", "--json", str(tmp_path / "near.json"))
        assert [finding["rule"] for finding in json.loads(out)["findings"]] == [rule]


def test_what_there_is_not(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, proof: Proof) -> None:
    monkeypatch.setattr(proving, "prove", lambda *_: Proof(proof.legal, (), (("belt-hot", ("bearing-hot",)),), ()))
    status, out, err = run(capsys, "rulebook", "prove", "--near", "belt-hot")
    assert (status, out) == (HELD, "")
    assert err == "belt-hot has no near miss. It breaks together with bearing-hot.\n"
    assert run(capsys, "rulebook", "prove", "--near", "bearing-hot")[2] == "bearing-hot has no near miss.\n"
    status, out, err = run(capsys, "rulebook", "prove", "--legal", "axial-single", "corn", "draper")
    assert (status, out) == (HELD, "")
    assert err == "axial-single has no legal setup for corn with draper.\n"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--card", "axial-singel"], "--card: there is no 'axial-singel'. Did you mean 'axial-single'?"),
        (["--card", "zzz"], "--card: there is no 'zzz'. 'setup-audit card show' lists them."),
        (["--near", "belt-hott"], "--near: there is no 'belt-hott'. Did you mean 'belt-hot'?"),
        (["--near", "zzz"], "--near: there is no 'zzz'. 'setup-audit rulebook show' lists them."),
        (["--legal", "axial-single"], "--legal: takes a card, a crop and, if it matters, a header kind."),
        (["--legal", "axial-single", "corn", "draper", "x"], "--legal: takes a card, a crop"),
        (["--legal", "axial-singel", "corn"], "--legal: there is no 'axial-singel'. Did you mean"),
        (["--legal", "axial-single", "corn", "drapr"], "--legal: no header is called 'drapr'. Did you mean 'draper'?"),
        (["--legal", "axial-single", "korn"], "--legal: no crop card is called 'korn'. Did you mean 'corn'?"),
    ],
)
def test_what_can_not_be_proven(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, options: list[str], says: str
) -> None:
    monkeypatch.setattr(proving, "prove", lambda *_: pytest.fail("nothing needed proving"))
    status, out, err = run(capsys, "rulebook", "prove", *options)
    assert (status, out) == (BAD_INPUT, "")
    assert says in err


def test_a_conflict_in_one_branch_is_held() -> None:
    conflict = Conflict((), (Lock("people", "1"),), (), ())
    plan = Plan((), 0, 0, 0, (), (), 0, 0, True, {})
    for outcomes, status in (((plan,), CLEARED), ((plan, conflict), HELD), ((conflict,), HELD)):
        branches = tuple(Branch((), outcome) for outcome in outcomes)
        assert plan_command.status(Planned(None, Locks(), branches)) == status  # type: ignore[arg-type]
