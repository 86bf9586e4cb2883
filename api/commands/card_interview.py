"""The interview of ``setup-audit card new``: questions on the error output, the card on the output."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from io import TextIOWrapper
from pathlib import Path

from api.card_gaps import missing_targets
from api.card_interview.asking import interview
from api.card_interview.draft import Draft
from api.card_interview.question import Question, Refused
from api.card_interview.talk import DONT_KNOW, BadAnswers, Talk, keep_answers, read_answers
from api.card_interview.writing import card_text, left_over
from api.environment import page, rulebook, say_problems
from api.status import BAD_INPUT, CLEARED, HELD
from api.text import Page
from audit.intake.machines import read_machine
from audit.intake.tree import Problems
from audit.intake.yaml_text import parse_yaml
from audit.nouns.machine import MachineCard
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook

HOW = (
    f"Each question says what its answer is for and where it usually stands. '{DONT_KNOW}' is an answer: what can't be "
    "judged without it is told. 'back' takes the last answer back, 'stop' keeps all answers for the next time, '?' "
    "says it again."
)


def run(name: str, answers: Path | None, sites: Sequence[Path]) -> int:
    """Asks for a machine's numbers; status 0 with the card, 1 if it was stopped before its end, 2 bad input."""
    kept = answers or Path(f"{name}.answers")
    try:
        found = rulebook(sites)
        before = read_answers(kept)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except BadAnswers as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    try:
        return _from_start(name, kept, before, found)
    except BadInput as error:  # a draft that makes no card, which is a fault of ours; no answer is lost
        say_problems(error.problems)
        print(f"No card follows from {kept}; its answers are kept.", file=sys.stderr)
        return BAD_INPUT


def _from_start(name: str, kept: Path, before: dict[str, str], found: Rulebook) -> int:
    said = page(found)
    if isinstance(sys.stdin, TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")  # what is no UTF-8 is shown as such, and ends nothing
    talk = Talk(lambda: interview(found, name, lambda draft, crops: lacking(draft, crops, found)), before)
    _say([*said.safety(), *said.wrapped(HOW), f"Answers are kept in {kept}."])
    if before and talk.question is not None:
        _say([f"{len(talk.answers)} answers were kept; it goes on from there."])
    try:
        finished = _converse(talk, kept, name, said)
    except OSError as error:
        print(f"{kept}: answers can't be kept: {error.strerror}. Name another file with --answers.", file=sys.stderr)
        return BAD_INPUT
    if not finished or talk.result is None:
        _say([f"Stopped after {len(talk.answers)} answers. Go on with: setup-audit card new {name} --answers {kept}"])
        return HELD
    return _done(talk.result, found, said)


def _converse(talk: Talk[Draft], kept: Path, name: str, said: Page) -> bool:
    """Puts questions until there are none, or somebody stops. Raises OSError where answers can't be kept."""
    asked: Question | None = None
    while talk.question is not None:
        if talk.question is not asked:
            _say(["", *talk.shown, *_put(talk.question, talk.former.get(talk.question.key, ""), said)])
            asked = talk.question
        print("> ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline() if sys.stdin else ""
        word = line.strip().casefold()
        if not line or word == "stop":
            return False
        if word == "?":
            asked = None
        elif word == "back":
            if not talk.back():
                _say(["There is no answer before this one."])
            asked = None
        else:
            try:
                again = "" if talk.question.otherwise else talk.former.get(talk.question.key, "")
                talk.answer(line.strip() or again)
            except Refused as error:
                _say(said.wrapped(f"Not taken: {error}", "", "  "))
                continue
        keep_answers(kept, name, talk.all_answers())
    _say(["", *talk.shown])
    return True


def _put(question: Question, former: str, said: Page) -> Iterator[str]:
    """A question with what it is for, where it stands, and how to write it."""
    first, *more = question.ask.split("\n")
    yield from said.wrapped(said.strong(first))
    for line in more:
        yield from said.wrapped(line, "  ", "    ")
    yield from said.wrapped(f"For:   {question.use}", "", "       ")
    yield from said.wrapped(f"Find:  {question.where}", "", "       ")
    unknown = f"; or: {DONT_KNOW}" if question.unknown else ""
    yield from said.wrapped(f"Write: {question.write}{unknown}", "", "       ")
    if question.unknown:
        yield from said.wrapped(f"Not judged without it: {question.unknown}.", "", "       ")
    if former:
        yield f"       It was: {former}{'' if question.otherwise else '; Enter takes it again'}"


def _done(draft: Draft, found: Rulebook, said: Page) -> int:
    text = card_text(draft, found)
    problems = Problems()
    read_card(text, draft.name, found, problems)
    if problems:
        raise BadInput(problems.found)
    print(text, end="")
    left = left_over(draft)
    _say(
        [
            said.strong(f"Left to find out: {len(left)}"),
            *(line for one in left for line in said.wrapped(one, "  ", "      ")),
        ]
    )
    _say([f"Save the card as {draft.name}.yaml, then: setup-audit card check {draft.name}.yaml"])
    return CLEARED


def read_card(text: str, name: str, found: Rulebook, problems: Problems) -> MachineCard | None:
    """A card as the rulebook's reader sees it; None with problems where it is no YAML."""
    tree = parse_yaml(text, f"{name}.yaml", problems)
    if tree is None:
        return None
    return read_machine(tree, name, found.vocabulary, found.sources, found.crops, found.procedures, "", problems)


def lacking(draft: Draft, crops: list[str], found: Rulebook) -> dict[str, list[str]]:
    """Targets that neither a draft nor the crop cards state, with the crops that lack them. Raises BadInput."""
    problems = Problems()
    card = read_card(card_text(draft, found), draft.name, found, problems)
    if card is None or problems:
        raise BadInput(problems.found)
    return missing_targets(card, found, [found.crops[crop] for crop in crops])


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line, file=sys.stderr)
