"""Every answer that can't be is refused at once, with why, and the question stands."""

from __future__ import annotations

import pytest

from api.card_interview.draft import Draft
from api.card_interview.question import Question, Refused
from api.card_interview.talk import Talk
from audit.nouns.rulebook import Rulebook
from tests.api.card_interview.answering import Manual, answer_all, talk_about


def until(talk: Talk[Draft], key: str, manual: Manual, said: dict[str, str] | None = None) -> Question:
    """Answers from the manual up to a question."""
    while talk.question is not None and talk.question.key != key:
        talk.answer((said or {}).get(talk.question.key) or manual(talk.question))
    assert talk.question is not None, f"{key} was never asked"
    return talk.question


SAID = {
    "separator_drive.driver_diameter": "280 mm", "separator_drive.driven_diameter": "400 mm", "separator_drive.take_up": "25 mm",
}  # fmt: skip
REFUSALS = [
    ("threshing", "sideways", "none of"),
    ("engine.governed_speed", "21000 r/min", "from 800 r/min to 3500 r/min"),
    ("engine.governed_speed", "2100", "no unit"),
    ("engine.governed_speed", "2100 mm", "rotation is wanted"),
    ("engine.governed_speed", "fast", "not a number"),
    ("engine.governed_speed", "don't know", "can't be written without it"),
    ("title", "", "write a line of text"),
    ("title", "x" * 121, "1 to 120"),
    ("shafts", "separator, rotro", "Did you mean 'rotor'?"),
    ("shafts", "none", "one of them at least"),
    ("shafts.more", "Upper Shaft", "no name in small letters"),
    ("shafts.more", "rotor: Another", "there already"),
    ("build.1", "Stroke", "no part and word"),
    ("build.1", "feeder.chain_tensioner", "told already"),
    ("build.shoe.stroke.choices", "long: long", "two builds"),
    ("build.shoe.stroke.long", "since KX-1", "none of: serial from"),
    ("build.shoe.stroke.long", "year from 201", "no year"),
    ("separator.driven_from", "separator", "none of"),
    ("separator.drive", "rope", "none of"),
    ("main_gearbox_drive.driver_teeth", "30.5", "no whole number"),
    ("main_gearbox_drive.driver_teeth", "3", "from 5 to 400"),
    ("separator_drive.driven_diameter", "4000 mm", "from 40 mm to 1500 mm"),
    ("separator_drive.centre", "300 mm", "sheaves would touch"),
    ("separator_drive.slip", "40 %", "from 0 % to 10 %"),
    ("separator_drive.belt_length", "3200 mm", "too long"),
    ("separator_drive.belt_length", "2900 mm", "too short"),
    ("shoe_drive.driven_diameter", "1500 mm", "shoe would turn"),
    ("shoe_drive.driven_diameter", "long: 480 mm, large: 440 mm", "just the positions long, large"),
    ("rotor_input_drive.driven_fast", "900 mm", "no faster than its slowest"),
    ("rotor_input_drive.belt_length", "2600 mm", "too long"),
    ("rotor_drive.ratio", "low: 90, high: 2.38", "rotor would turn"),
    ("beater_drive.belt_length", "2500 mm", "too long"),
    ("chopper_drive.belt_length", "3000 mm", "too short"),
    ("feeder_drive.pitch", "2 mm", "from 6 mm to 110 mm"),
    ("feeder_drive.tips", "112 mm", "sprocket and chain do not match"),
    ("feeder_drive.centre", "120 mm", "sprockets would touch"),
    ("feeder_drive.links", "90", "sprockets and chain do not match"),
    ("fan_drive.groove_angle", "5 deg", "from 20 deg to 60 deg"),
    ("feeder_drive.duty", "rough", "none of"),
    ("rotor.speed.range", "200 to 9000 r/min", "outside what any machine has"),
    ("rotor.speed.range", "900 to 200 r/min", "ends below where it begins"),
    ("rotor.speed.range", "900 r/min", "no range"),
    ("rotor.concave_type.words", "none", "one of them at least"),
    ("crops", "korn", "Did you mean 'corn'?"),
    ("targets.corn.shoe.fan_speed", "12 mm to 14 mm", "rotation is wanted"),
    ("targets.corn.thresher.concave_type", "wooden", "none of"),
]


@pytest.mark.parametrize(
    ("key", "answer", "why"), REFUSALS, ids=[f"{key} = {answer[:20]}" for key, answer, _ in REFUSALS]
)
def test_an_answer_that_cannot_be_is_refused_and_the_right_one_taken(
    key: str, answer: str, why: str, rulebook: Rulebook
) -> None:
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    question = until(talk, key, manual, SAID)
    before = dict(talk.answers)
    with pytest.raises(Refused, match=why.replace("(", r"\(").replace("?", r"\?")):
        talk.answer(answer)
    assert talk.question is question
    assert talk.answers == before
    talk.answer(SAID.get(key) or manual(question))
    assert talk.question is not question


def test_a_loop_is_refused_with_its_way_round(rulebook: Rulebook) -> None:
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    until(talk, "main_gearbox.driven_from", manual)
    talk.answer("rotor")
    for key, driver in (
        ("main_gearbox.drive", "coupling"),
        ("separator.driven_from", "main_gearbox"),
        ("separator.drive", "coupling"),
    ):
        assert talk.question is not None
        assert talk.question.key == key
        talk.answer(driver)
    until(talk, "rotor_input.driven_from", manual)
    talk.answer("separator")
    talk.answer("coupling")
    until(talk, "rotor.driven_from", manual)
    with pytest.raises(
        Refused, match="closes a loop: rotor from rotor_input from separator from main_gearbox from rotor"
    ):
        talk.answer("rotor_input")
    talk.answer("engine")


def test_a_shaft_further_down_that_would_turn_too_fast_is_named(rulebook: Rulebook) -> None:
    """What hangs on a drive is worked out with it, also where it was asked for before."""
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    said = {
        "shafts": "rotor, shoe", "shafts.more": "upper: Upper countershaft", "rotor.driven_from": "don't know",
        "shoe.driven_from": "upper",
    }  # fmt: skip
    until(talk, "shoe.drive", manual, said)
    talk.answer("coupling")  # nothing is known of the upper shaft yet
    until(talk, "upper.driven_from", manual, said)
    talk.answer("engine")
    with pytest.raises(Refused, match="then shoe would turn 2100 r/min"):
        talk.answer("coupling")
    talk.answer("gearbox")
    with pytest.raises(Refused, match="then shoe would turn 1050 r/min"):
        talk.answer("2")
    talk.answer("7")
    assert "shoe turns 300 r/min." in talk.shown


def test_a_sprocket_as_it_is_sold_fits_its_chain(rulebook: Rulebook) -> None:
    """A 17-tooth sprocket for 1 in chain (ANSI 80) measures 5.95 in over its tips in makers' tables, from memory."""
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    until(talk, "feeder_drive.tips", manual)
    talk.answer("5.95 in")
    assert talk.question is not None
    assert talk.question.key == "feeder_drive.centre"


def test_a_stepped_drive_whose_steps_need_two_belts_is_refused(rulebook: Rulebook) -> None:
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    until(talk, "beater_drive.centre", manual, {"beater_drive.driven_diameter": "small: 200 mm, large: 392 mm"})
    with pytest.raises(Refused, match="no one belt fits both ends"):
        talk.answer("700 mm")


def test_speeds_are_shown_after_each_drive(rulebook: Rulebook) -> None:
    """Those of the shipped card: ``card check`` shows 1400, 970 and 797 to 2386 r/min."""
    manual, talk = Manual(rulebook.machines["axial-single"]), talk_about(rulebook)
    until(talk, "separator.driven_from", manual)
    assert talk.shown == ["main_gearbox turns 1400 r/min."]
    until(talk, "rotor_input.driven_from", manual)
    assert talk.shown == ["separator turns 970 r/min."]
    until(talk, "rotor.driven_from", manual)
    assert talk.shown == ["rotor_input turns 797 r/min to 2386 r/min."]


def test_the_card_of_a_machine_with_every_refusal_on_its_way_is_the_same(rulebook: Rulebook) -> None:
    manual, talk = Manual(rulebook.machines["tangential-walker"]), talk_about(rulebook)

    def stubborn(question: Question) -> str:
        with pytest.raises(Refused):
            talk.answer("\u0007 what?")
        return manual(question)

    plain = answer_all(talk_about(rulebook), manual)
    assert answer_all(talk, stubborn) == plain
