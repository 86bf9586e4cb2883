"""Answers are kept, taken again, given back one at a time, and never lost."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from api.card_interview.talk import BadAnswers, keep_answers, read_answers
from api.card_interview.writing import card_text
from api.commands.card import new
from audit.nouns.rulebook import Rulebook
from tests.api.card_interview.answering import Manual, answer_all, talk_about

ROOT = Path(__file__).parents[3]


@pytest.fixture
def manual(rulebook: Rulebook) -> Manual:
    return Manual(rulebook.machines["axial-single"])


def lines(rulebook: Rulebook, manual: Manual) -> list[str]:
    """Every answer of a whole interview, as somebody would type them."""
    given: list[str] = []
    talk = talk_about(rulebook)
    while talk.question is not None:
        given.append(manual(talk.question))
        talk.answer(given[-1])
    return given


def test_back_asks_again_and_what_came_after_is_used_again(rulebook: Rulebook, manual: Manual) -> None:
    talk = talk_about(rulebook)
    while talk.question is not None and talk.question.key != "separator_drive.centre":
        talk.answer(manual(talk.question))
    for key in ("separator_drive.driven_diameter", "separator_drive.driver_diameter"):
        assert talk.back()
        assert talk.question is not None
        assert talk.question.key == key
    assert talk.former["separator_drive.driver_diameter"] == "280 mm"
    talk.answer("300 mm")
    talk.answer("400 mm")
    assert talk.question is not None
    assert talk.question.key == "separator_drive.centre"
    assert talk.shown == []
    while talk.question is not None and talk.question.key != "rotor_input.driven_from":
        talk.answer("don't know" if talk.question.key == "separator_drive.belt_length" else manual(talk.question))
    assert talk.shown == ["separator turns 1040 r/min."]  # 1400 × 300 / 400 × 0.99


def test_back_at_the_beginning_changes_nothing(rulebook: Rulebook) -> None:
    talk = talk_about(rulebook)
    assert not talk.back()
    assert talk.question is not None
    assert talk.question.key == "title"


@pytest.mark.parametrize("after", [0, 1, 7, 60, 150])
def test_an_interview_goes_on_from_what_was_kept(
    after: int, rulebook: Rulebook, manual: Manual, tmp_path: Path
) -> None:
    whole = talk_about(rulebook)
    card = card_text(answer_all(whole, manual), rulebook)
    talk, file = talk_about(rulebook), tmp_path / "our.answers"
    for _ in range(after):
        assert talk.question is not None
        talk.answer(manual(talk.question))
    keep_answers(file, "our", talk.all_answers())
    again = talk_about(rulebook, read_answers(file))
    assert again.question is not None
    assert talk.question is not None
    assert again.question.key == talk.question.key
    assert card_text(answer_all(again, manual), rulebook) == card
    assert again.all_answers() == whole.answers


def test_a_kept_answer_that_fits_no_more_is_asked_again_and_not_lost(rulebook: Rulebook, manual: Manual) -> None:
    whole = talk_about(rulebook)
    answer_all(whole, manual)
    talk = talk_about(rulebook, {**whole.answers, "separator_drive.centre": "100 mm"})
    assert talk.question is not None
    assert talk.question.key == "separator_drive.centre"
    assert "fits no more: the sheaves would touch" in talk.shown[-1]
    assert talk.all_answers() == {**whole.answers, "separator_drive.centre": "100 mm"}
    talk.answer("980 mm")
    assert talk.question is None


@pytest.mark.parametrize(
    ("text", "said"),
    [("title\n", "is no 'key = answer'"), ("title = a\ntitle = b\n", "stands twice"), ("\xff", "can't be read")],
)
def test_a_bad_file_of_answers_is_named_with_its_line(text: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "our.answers"
    file.write_bytes(text.encode("latin-1"))
    with pytest.raises(BadAnswers, match=said):
        read_answers(file)


def typed(monkeypatch: pytest.MonkeyPatch, given: list[str]) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in given)))


def test_at_the_command_line_in_three_sittings(
    rulebook: Rulebook,
    manual: Manual,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Stopped by a word, by the end of a pipe, then finished; a refusal, a question mark and a step back on the way."""
    given, kept = lines(rulebook, manual), tmp_path / "our-machine.answers"
    typed(monkeypatch, [*given[:5], "?", "stop"])
    assert new("our-machine", False, kept, ()) == 1
    assert "Stopped after 5 answers" in capsys.readouterr().err
    typed(monkeypatch, ["none of that", *given[5:40], "back", given[39]])
    assert new("our-machine", False, kept, ()) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "5 answers were kept" in said.err
    assert "Not taken: " in said.err
    assert f"It was: {given[39]}" in said.err
    typed(monkeypatch, given[40:])
    assert new("our-machine", False, kept, ()) == 0
    said = capsys.readouterr()
    assert said.out == card_text(answer_all(talk_about(rulebook), manual), rulebook)
    assert "Left to find out: " in said.err
    typed(monkeypatch, [])
    assert new("our-machine", False, kept, ()) == 0  # all is kept, so there is nothing to ask
    assert capsys.readouterr().out == said.out


def test_enter_takes_what_was_taken_back_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, ["A title", "A manual", "back", "back", "Another title", "", "stop"])
    assert new("ours", False, tmp_path / "a", ()) == 1
    assert "It was: A title; Enter takes it again" in capsys.readouterr().err
    assert read_answers(tmp_path / "a") == {"title": "Another title", "manual": "A manual"}


def test_the_cautions_come_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, [])
    assert new("ours", False, tmp_path / "a", ()) == 1
    first = capsys.readouterr().err.partition("What do you call")[0]
    for words in ("Stop the engine", "key out", "safety stop", "guard"):
        assert words in first


def test_the_small_card_is_printed_without_a_question(capsys: pytest.CaptureFixture[str]) -> None:
    assert new("ours", True, None, ()) == 0
    said = capsys.readouterr()
    assert "\ncard: ours\n" in said.out
    assert said.err == ""


@pytest.mark.parametrize("blank", [True, False])
def test_a_name_that_no_card_can_have_is_refused(blank: bool, capsys: pytest.CaptureFixture[str]) -> None:
    assert new("Our Machine", blank, None, ()) == 2
    assert "can't be a card's name" in capsys.readouterr().err


def test_answers_that_cannot_be_kept_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, ["a title"])
    assert new("ours", False, tmp_path / "nowhere" / "a", ()) == 2
    assert "can't be kept" in capsys.readouterr().err


def test_a_pipe_ends_in_a_card_that_card_check_takes(rulebook: Rulebook, manual: Manual, tmp_path: Path) -> None:
    """As a process of its own, with answers from a pipe and the card to a file."""
    around = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = [sys.executable, "-m", "api.cli", "card"]
    done = subprocess.run(
        [*run, "new", "our-machine"], input="\n".join(lines(rulebook, manual)), cwd=tmp_path, env=around,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    (tmp_path / "our-machine.yaml").write_text(done.stdout, encoding="utf-8")
    assert (tmp_path / "our-machine.answers").is_file()
    checked = subprocess.run(
        [*run, "check", "our-machine.yaml"], cwd=tmp_path, env=around, capture_output=True, text=True, check=False
    )
    assert checked.returncode == 0, checked.stderr
    assert "reads well: 23 shafts, 22 drives" in checked.stdout
