"""The shipped rulebook proves; what it finds is judged by the plain audit; bad rulebooks are told what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

import rules
from audit.intake.rulebook import read_rulebook
from audit.nouns.proof import Proof
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Taken, Unit
from audit.planning.planner import Planner
from audit.planning.proving import prove
from audit.run import audit_on_sheet


@pytest.fixture(scope="module")
def proof(shipped: Rulebook) -> Proof:
    return prove(shipped)


@pytest.fixture(scope="module")
def shipped() -> Rulebook:
    return read_rulebook(rules.root())


@pytest.fixture(scope="module")
def planner(shipped: Rulebook) -> Planner:
    return Planner(shipped)


def setup_of(card: str, crop: str, values: dict[str, object]) -> Setup:
    return Setup(Unit("proved", card), crop, str(values.get("job.header_kind", "")), Taken(), values, {})  # type: ignore[arg-type]


def test_the_shipped_rulebook_has_no_flaw(proof: Proof) -> None:
    assert [f"{flaw.places}: {flaw.says}" for flaw in proof.flaws] == []


def test_every_machine_has_a_legal_setup_that_the_plain_audit_finds_clean(proof: Proof, planner: Planner) -> None:
    proved = {legal.machine for legal in proof.legal}
    for card in planner.rulebook.machines.values():
        builds = 1
        for build in card.builds:
            builds *= len(build.choices)
        for crop in planner.rulebook.crops:
            assert len({m.builds for m in proved if (m.card, m.crop) == (card.id, crop)}) == builds
    for legal in proof.legal[::7]:
        machine = legal.machine
        sheet = planner.worksheet(machine.card, machine.crop).sheet
        report = audit_on_sheet(sheet, setup_of(machine.card, machine.crop, dict(legal.values)))
        assert [(finding.rule, finding.on) for finding in report.findings] == [], machine


def test_every_near_miss_breaks_its_question_and_nothing_else(proof: Proof, planner: Planner) -> None:
    for near in proof.near_misses:
        machine = near.machine
        sheet = planner.worksheet(machine.card, machine.crop).sheet
        report = audit_on_sheet(sheet, setup_of(machine.card, machine.crop, dict(near.values)))
        found = [(finding.rule, finding.on, finding.verdict.value) for finding in report.findings]
        assert found == [(*near.question, "broken")], (near.question, machine, near.changed)


def test_every_rule_has_a_near_miss_or_says_with_which_it_breaks(proof: Proof, shipped: Rulebook) -> None:
    alone = {near.question[0] for near in proof.near_misses}
    declared = dict(proof.breaks_with)
    assert alone | declared.keys() == shipped.rules.keys()
    assert not alone & declared.keys()
    assert all(others == shipped.rules[rule].breaks_with for rule, others in declared.items())


RULE = """\
title: {title}
why: For the proof.
harm: {{to: feeder house, how: bent slats, severity: marginal, probability: occasional, downtime: 2 h}}
basis: {{ground: common practice}}
{given}hold: {hold}
cure: [move-feeder-drum]
cases:
  - {{name: right, at: {right}, gives: kept}}
  - {{name: wrong, at: {wrong}, gives: broken}}
  - {{name: nobody looked, at: {{{unknown}}}, gives: unknown}}
{more}"""


def on_one_card(tmp_path: Path, **files: str) -> Proof:
    """The proof of the shipped rulebook with more rules, on one card."""
    pack = tmp_path / "site" / "packs" / "feeder"
    pack.mkdir(parents=True)
    for name, text in files.items():
        (pack / f"{name.replace('_', '-')}.yaml").write_text(text, encoding="utf-8")
    return prove(read_rulebook(rules.root(), (tmp_path / "site",)), ("axial-single",))


def drum(title: str, side: str, given: str = "") -> str:
    other = {"raised": "lowered", "lowered": "raised"}[side]
    at = "feeder.drum: {{left: {0}, right: {0}}}"
    job = "" if not given else "job.condition: lodged, "
    return RULE.format(
        title=title, given=given, hold=f"{{feeder.drum: {{is: {side}}}}}", right="{" + job + at.format(side) + "}",
        wrong="{" + job + at.format(other) + "}", unknown=job.rstrip(", "),
        more="  - {name: standing, at: {job.condition: normal}, gives: not asked}\n" if given else "",
    )  # fmt: skip


def test_contradictory_rules_are_both_named_with_their_files(tmp_path: Path) -> None:
    proof = on_one_card(tmp_path, drum_always_down=drum("Drum down, always", "lowered"))
    told = [flaw for flaw in proof.flaws if "drum-always-down" in flaw.rules]
    assert any(set(flaw.rules) == {"drum-always-down", "drum-set-for-another-crop"} for flaw in told)
    assert any("can't hold together" in flaw.says for flaw in told)
    assert any(place.source.endswith("drum-always-down.yaml") and place.line for place in told[0].places)


def test_a_contradiction_that_only_shows_in_one_state_of_the_crop_is_found(tmp_path: Path) -> None:
    lodged = "given: {job.condition: {is: lodged}}\n"
    proof = on_one_card(tmp_path, drum_down_if_lodged=drum("Drum down in lodged crop", "lowered", lodged))
    told = [flaw for flaw in proof.flaws if "drum-down-if-lodged" in flaw.rules]
    assert any("drum-set-for-another-crop" in flaw.rules and "for corn" in flaw.says for flaw in told)


def test_a_rule_that_says_nothing_new_is_told_so(tmp_path: Path) -> None:
    text = RULE.format(
        title="Sieve much too open", given="", hold="{shoe.sieve: {at_most: 30 mm}}", right="{shoe.sieve: 30 mm}",
        wrong="{shoe.sieve: 31 mm}", unknown="", more="",
    ).replace("move-feeder-drum", "set-sieve")  # fmt: skip
    proof = on_one_card(tmp_path, sieve_much_too_open=text)
    told = [flaw for flaw in proof.flaws if "sieve-much-too-open" in flaw.rules]
    assert told
    assert "sieve-too-open" in told[0].says or "can't be broken" in told[0].says
