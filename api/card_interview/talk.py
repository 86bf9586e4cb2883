"""A conversation: answers kept by their questions' keys, taken again in any later run, and given back one at a time."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Mapping
from pathlib import Path
from typing import Any, Generic, TypeVar

from api.card_interview.question import Question, Refused, Shown, is_unknown

Result = TypeVar("Result")
Asking = Generator[Question | Shown, Any, Result]
DONT_KNOW = "don't know"


class BadAnswers(Exception):
    """A file of answers that can't be read; says where and what to do."""


class Talk(Generic[Result]):
    """Puts the questions of an interview one after another.

    The interview is a generator: it yields questions, is sent what an answer reads as (None for not known), and returns
    what came of it. It is run again from its beginning whenever an answer is taken back, so it must depend on answers
    alone.

    Attributes:
        question: to be answered now, None once all are.   result: what came of it then.
        shown: what is to be shown before the question.
        answers: every answer that is in use, by key, in the order of the questions.
        former: answers that were taken back, or that fit no more.
    """

    def __init__(self, interview: Callable[[], Asking[Result]], kept: Mapping[str, str]) -> None:
        self.interview, self.former = interview, dict(kept)
        self.begin(dict(kept))

    def begin(self, kept: Mapping[str, str]) -> None:
        """From the first question on, as far as the kept answers go."""
        self.kept = dict(kept)
        self.answers: dict[str, str] = {}
        self.shown: list[str] = []
        self.question: Question | None = None
        self.result: Result | None = None
        self.running = self.interview()
        self.go_on(None)

    def go_on(self, value: Any) -> None:
        """Runs on to the next question that no kept answer answers."""
        while True:
            try:
                item = self.running.send(value)
            except StopIteration as end:
                self.question, self.result = None, end.value
                return
            value = None
            if isinstance(item, Shown):
                self.shown += item.lines
                continue
            self.question = item
            answer = self.kept.pop(item.key, None)
            if answer is None:
                return
            try:
                value = read(item, answer)
            except Refused as error:
                self.former[item.key] = answer
                self.shown.append(f"The kept answer '{answer}' fits no more: {error}")
                return
            self.answers[item.key] = answer
            self.shown.clear()

    def answer(self, line: str) -> None:
        """Takes an answer and goes on. Raises Refused; then the same question stands."""
        question = self.question
        assert question is not None
        given = line.strip() or question.otherwise
        value = read(question, given)
        self.answers[question.key] = DONT_KNOW if value is None else given
        self.former.pop(question.key, None)
        self.shown.clear()
        self.go_on(value)

    def back(self) -> bool:
        """Takes the last answer back; what was answered after it is used again where it still fits. False for none."""
        if not self.answers:
            return False
        answers = {**self.answers, **self.kept}
        last = list(self.answers)[-1]
        self.former[last] = answers.pop(last)
        self.begin(answers)
        return True

    def all_answers(self) -> dict[str, str]:
        """Every answer there is, also those that are not in use now, so that none is lost."""
        return {**self.answers, **{k: v for k, v in {**self.kept, **self.former}.items() if k not in self.answers}}


def read(question: Question, answer: str) -> Any:
    """What an answer reads as, None for not known. Raises Refused."""
    if is_unknown(answer):
        if not question.unknown:
            raise Refused("the card can't be written without it. 'stop' keeps all answers until you have found out.")
        return None
    if not answer:
        raise Refused(f"write {question.write}{', or: ' + DONT_KNOW if question.unknown else ''}.")
    return question.read(answer)


def read_answers(path: Path) -> dict[str, str]:
    """Kept answers by key; none where there is no such file. Raises BadAnswers."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise BadAnswers(f"{path}: can't be read: {error}.") from None
    found: dict[str, str] = {}
    for place, line in enumerate(text.split("\n"), 1):
        if not line.strip() or line.startswith("#"):
            continue
        key, equals, answer = line.partition(" = ")
        if not equals or not key.strip() or key.strip() in found:
            wrong = "stands twice" if key.strip() in found else "is no 'key = answer'"
            raise BadAnswers(
                f"{path}:{place}: '{line[:60]}' {wrong}. Put it right, or remove the line: it is asked again."
            )
        found[key.strip()] = answer.strip()
    return found


def keep_answers(path: Path, name: str, answers: Mapping[str, str]) -> None:
    """Writes the answers whole, or leaves the file as it was. Raises OSError."""
    head = f"# Answers for the machine card {name}. They are taken again by: setup-audit card new {name}\n"
    beside = path.with_name(path.name + ".new")
    beside.write_text(head + "".join(f"{key} = {answer}\n" for key, answer in answers.items()), encoding="utf-8")
    os.replace(beside, path)
