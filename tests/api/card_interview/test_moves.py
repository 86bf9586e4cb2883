"""What corrections take: as the card that was read from says, or what is usual where nobody knows better."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.card_interview.moves import usual
from api.card_interview.question import Question, Refused
from api.card_interview.writing import card_text
from api.environment import rulebook as read_rulebook
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.planning.tasks import tasks_of
from tests.api.card_interview.answering import THRESHING, Manual, answer_all, talk_about


def read_card(rulebook: Rulebook, folder: Path, answer: object) -> tuple[Rulebook, str]:
    draft = answer_all(talk_about(rulebook), answer)  # type: ignore[arg-type]
    file = folder / "our-machine.yaml"
    file.write_text(card_text(draft, rulebook), encoding="utf-8")
    return read_rulebook((), (file,)), file.read_text(encoding="utf-8")


@pytest.mark.parametrize("id", THRESHING)
def test_what_was_told_stands_on_the_card(id: str, rulebook: Rulebook, tmp_path: Path) -> None:
    found, _ = read_card(rulebook, tmp_path, Manual(rulebook.machines[id]))
    told = [one.move for one in rulebook.machines[id].carried if one.move is not None]
    written = [one.move for one in found.machines["our-machine"].carried if one.move is not None]
    assert set(written) <= set(told)
    assert {one.procedure for one in written} == {one.procedure for one in told}


def test_one_answer_leaves_all_as_usual(rulebook: Rulebook, tmp_path: Path) -> None:
    manual, seen = Manual(rulebook.machines["axial-single"]), []

    def answer(question: Question) -> str:
        if question.key == "moves":
            seen.append(question)
            return ""
        assert not question.key.startswith("move.")
        return manual(question)

    _, text = read_card(rulebook, tmp_path, answer)
    assert "move:" not in text
    (asked,) = seen
    usually = rulebook.procedures["set-concave"]
    assert f"set-concave: {usually.title}: {usual(usually)}" in asked.ask, "what is usual is named as such"
    assert "what is usual" in asked.use


def test_the_work_of_a_machine_is_what_was_told(rulebook: Rulebook, tmp_path: Path) -> None:
    """A drum that is wrong on one side takes 90 minutes and 3 people on this machine."""
    manual = Manual(rulebook.machines["axial-single"])

    def answer(question: Question) -> str:
        if question.key == "moves":
            return "move-feeder-drum"
        if question.key == "move.move-feeder-drum":
            return "1,5 h; 3 people; 19 mm spanner, drift: long; parts: shims"
        return manual(question)

    found, text = read_card(rulebook, tmp_path, answer)
    (carried,) = [one for one in found.machines["our-machine"].carried if one.name == "feeder.drum"]
    assert carried.move is not None
    assert (carried.move.minutes, carried.move.people, carried.move.parts) == (90.0, 3, ("shims",))
    assert carried.move.tools == ("19 mm spanner", "drift: long")
    assert text.count("move:") == 1
    card = found.machines["our-machine"]
    tasks = tasks_of(card, on_card(card, found.vocabulary), found, {})
    by_key = {task.key[0]: task for task in tasks.all}
    assert (by_key["move-feeder-drum"].minutes, by_key["move-feeder-drum"].people) == (90.0, 3)
    usually = found.procedures["set-sieve"]
    assert (by_key["set-sieve"].minutes, by_key["set-sieve"].people) == (usually.minutes, usually.people)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("soon", "is no time"), ("0 min; 1", "more than nothing"), ("200 h; 1", "at most a week"), ("5 min", "how many people"),
        ("5 min; 0", "how many people"), ("5 min; 1; drift; shims", "write parts:"), ("5 min; 1; " + "x" * 99, "no name"),
        ("5 kg; 1", "is no time"),
    ],
)  # fmt: skip
def test_answers_that_cant_be(said: str, why: str, rulebook: Rulebook) -> None:
    talk, manual = talk_about(rulebook), Manual(rulebook.machines["axial-single"])
    while talk.question is not None and not talk.question.key.startswith("move."):
        talk.answer(manual(talk.question))
    assert talk.question is not None
    with pytest.raises(Refused, match=why):
        talk.question.read(said)
