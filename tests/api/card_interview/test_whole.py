"""Whole interviews, one for each kind of threshing: the card that comes of them reads, turns and audits like its source."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from api.card_interview.question import Question, Refused
from api.card_interview.talk import DONT_KNOW
from api.card_interview.writing import card_text, left_over
from api.environment import rulebook as read_rulebook
from api.plan_wire import setup_json
from audit.auditor import Auditor
from audit.nouns.finding import Clearance
from audit.nouns.proof import Machine
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from tests.api.card_interview.answering import THRESHING, Manual, answer_all, talk_about

CARDS = list(THRESHING)


@pytest.fixture(scope="module")
def written(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The card of an interview that was answered from a shipped one."""
    kept: dict[str, Path] = {}

    def found(id: str) -> Path:
        if id not in kept:
            draft = answer_all(talk_about(rulebook), Manual(rulebook.machines[id]))
            kept[id] = tmp_path_factory.mktemp(id) / "our-machine.yaml"
            kept[id].write_text(card_text(draft, rulebook), encoding="utf-8")
        return kept[id]

    return found


def speeds(text: str) -> dict[str, set[str]]:
    """The reaches that ``card check`` shows for each shaft, whatever its drive is called."""
    block = re.sub(r"\n {6}", " ", text.partition("Speeds with")[2].partition("Rules not asked")[0])
    found: dict[str, set[str]] = {}
    for shaft, reach in re.findall(r"^  (\w+): (.*?)(?:, from \w+ by .*)?$", block, re.MULTILINE):
        found.setdefault(shaft, set()).add(reach)
    return found


@pytest.mark.parametrize("id", CARDS)
def test_card_check_takes_it_and_every_shaft_turns_as_on_the_card_it_was_read_from(
    id: str, written: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    from api.commands.card import check
    from rules import root

    assert check([root() / "machines" / f"{id}.yaml"], ()) == 0
    wanted = speeds(capsys.readouterr().out)
    assert check([written(id)], ()) == 0
    assert speeds(capsys.readouterr().out) == wanted
    assert len(wanted) >= 20


@pytest.mark.parametrize("id", CARDS)
@pytest.mark.parametrize("crop", ["corn", "wheat"])
def test_it_audits_a_setup(id: str, crop: str, written: Callable[[str], Path]) -> None:
    """A setup that keeps every rule is found for the new card and cleared; with the drum wrong on one side it is held."""
    found = read_rulebook((), (written(id),))
    card = found.machines["our-machine"]
    builds = tuple((f"build.{build.name}", build.choices[0][0]) for build in card.builds)
    legal = Planner(found).legal_setup("our-machine", crop, "", builds, lambda: False)
    plain = setup_json(Machine("our-machine", builds, crop, legal.header_kind), legal.values, found)
    plain["unit"]["id"] = "unit-01"
    auditor = Auditor(found, Level.HIGH)
    assert auditor.report(json.dumps(plain).encode(), "").clearance is Clearance.CLEARED
    right = plain["settings"]["feeder.drum"]
    wrong = {"raised": "lowered", "lowered": "raised"}[right["right"] if isinstance(right, dict) else right]
    plain["settings"]["feeder.drum"] = {"left": right["left"] if isinstance(right, dict) else right, "right": wrong}
    report = auditor.report(json.dumps(plain).encode(), "")
    assert report.clearance is Clearance.HELD
    assert "drum-set-for-another-crop" in {finding.rule for finding in report.findings}


@pytest.mark.parametrize("id", CARDS)
def test_what_nobody_knows_is_left_out_and_told(id: str, rulebook: Rulebook, tmp_path: Path) -> None:
    """Every question that may be left open is: the card still reads, and says what it lacks."""

    def answer(question: Question) -> str:
        if question.unknown:
            return DONT_KNOW
        return Manual(rulebook.machines[id])(question) if not question.otherwise else ""

    draft = answer_all(talk_about(rulebook), answer)
    file = tmp_path / "our-machine.yaml"
    file.write_text(card_text(draft, rulebook), encoding="utf-8")
    card = read_rulebook((), (file,)).machines["our-machine"]
    assert [shaft.id for shaft in card.shafts] == ["engine"]
    left = "\n".join(left_over(draft))
    for shaft in draft.shafts:
        assert f"{shaft}: not on the card: its drive is not known well enough." in left
    assert "feeder.chain_tensioner: not known: its kind" in left


def test_speeds_alone_and_sizes_without_distance_still_give_speeds(rulebook: Rulebook, tmp_path: Path) -> None:
    """2100 r/min by 250 over 500 mm with 1 % slip is 1039.5 r/min; a chain of 20 and 40 teeth halves it: by hand."""
    said = {
        "shafts": "separator, rotor, feeder, shoe, fan", "separator.driven_from": "engine", "separator.drive": "v-belt",
        "separator_drive.driver_diameter": "250 mm", "separator_drive.driven_diameter": "500 mm",
        "rotor.driven_from": "separator", "rotor.drive": "gearbox", "rotor_drive.ratio": "low: 4, high: 2",
        "rotor.diameter": "30 in", "rotor.element": "rasp-bar", "feeder.driven_from": "separator", "feeder.drive": "chain",
        "feeder_drive.driver_teeth": "20", "feeder_drive.driven_teeth": "40", "shoe.driven_from": "separator",
        "shoe.drive": "speeds-only", "shoe_drive.speed": "300 r/min", "fan.driven_from": "rotor", "fan.drive": "speeds-only",
        "settings": "none",
    }  # fmt: skip
    manual = Manual(rulebook.machines["axial-single"])

    def answer(question: Question) -> str:
        if question.key in said:
            return said[question.key]
        return DONT_KNOW if question.unknown else question.otherwise or manual(question)

    draft = answer_all(talk_about(rulebook), answer)
    text = card_text(draft, rulebook)
    file = tmp_path / "our-machine.yaml"
    file.write_text(text, encoding="utf-8")
    card = read_rulebook((), (file,)).machines["our-machine"]
    kinds = {drive.driven: drive.kind for drive in card.drives}
    assert kinds == {"separator": "gear_range", "rotor": "gear_range", "feeder": "gear_pair", "shoe": "gear_range"}
    from api.card_interview.draft import reaches

    found = reaches(draft, rulebook.vocabulary.drive_kinds)
    assert found["separator"] == pytest.approx((1039.5, 1039.5), abs=0.01)
    assert found["feeder"] == pytest.approx((519.75, 519.75), abs=0.01)
    assert found["rotor"] == pytest.approx((259.875, 519.75), abs=0.01)
    assert found["shoe"] == pytest.approx((300.0, 300.0), abs=0.01)
    assert "fan" in draft.dropped  # the rotor has two speeds, so no ratio follows
    assert "centre distance is not known" in text


def test_a_thresher_without_its_diameter_is_a_shaft_with_a_speed(rulebook: Rulebook) -> None:
    manual = Manual(rulebook.machines["axial-single"])
    said = {"rotor.diameter": DONT_KNOW, "rotor_drive.ratio": "2.38"}  # what is no thresher has no range lever
    draft = answer_all(talk_about(rulebook), lambda one: said.get(one.key) or manual(one))
    assert draft.shafts["rotor"].kind == "shaft"
    assert "rotor.speed" not in draft.settings
    assert any(line.startswith("rotor: not known: diameter.") for line in left_over(draft))


def test_numbers_stay_as_they_were_written(rulebook: Rulebook) -> None:
    manual = Manual(rulebook.machines["axial-single"])
    said = {"rotor.diameter": "29 1/2 in", "title": 'Type "7" # of ours: 30 in'}
    draft = answer_all(talk_about(rulebook), lambda one: said.get(one.key, "") or manual(one))
    text = card_text(draft, rulebook)
    assert "diameter: 29 1/2 in," in text
    assert draft.shafts["rotor"].stated["diameter"].value == pytest.approx(749.3)  # type: ignore[union-attr]


POOL = (
    "don't know", "", "all", "none", "1", "2", "7", "12", "21", "33", "40", "250 mm", "400 mm", "17 1/2 in", "900 mm", "2500 mm", "25.4 mm",
    "1 %", "2000 r/min", "300 r/min", "900 r/min", "engine", "separator", "coupling", "gears", "gearbox", "chain", "v-belt",
    "stepped-belt", "variable-belt", "speeds-only", "low: 4, high: 2", "small: 200 mm, large: 280 mm", "small: 17, large: 21",
    "a: 1; b: 2", "a: 200 mm, b: 300 mm", "feeder.tooth", "upper: Upper; lower_one: 'Lower' # one", "serial from 0; year to 1999", "both",
    "10 to 20 mm", "300 to 900 r/min", "at least 3", "at most 5 km/h", "true: yes; no: #", "12:30", "007", "- x", "{a}", "corn, wheat",
)  # fmt: skip


@settings(
    max_examples=15, phases=(Phase.generate,), deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
)
@given(data=st.data())
def test_whatever_is_answered_is_refused_in_words_or_ends_in_a_card_that_reads(
    data: st.DataObject, rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Answers drawn from what fits somewhere, and from what fits nowhere."""
    manual, talk = Manual(rulebook.machines[data.draw(st.sampled_from(CARDS))]), talk_about(rulebook)
    while talk.question is not None:
        question = talk.question
        for wild in data.draw(st.lists(st.sampled_from(POOL) | st.text(max_size=12), max_size=2)):
            try:
                talk.answer(wild)
            except Refused:
                continue
            break
        if talk.question is not question:
            continue
        for answer in (
            manual,
            lambda one: one.otherwise or DONT_KNOW,
            lambda _: "coupling",
            lambda _: "none",
            lambda _: "all",
            lambda _: "a: 1; b: 2",
        ):
            try:
                talk.answer(answer(question))
            except (Refused, KeyError, StopIteration, ValueError):
                continue
            break
        assert talk.question is not question, question.key
    assert talk.result is not None
    file = tmp_path_factory.mktemp("wild") / "our-machine.yaml"
    file.write_text(card_text(talk.result, rulebook), encoding="utf-8")
    assert read_rulebook((), (file,)).machines["our-machine"].title
    again = talk_about(rulebook, talk.answers)
    assert again.question is None
    assert again.result == talk.result
