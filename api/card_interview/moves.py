"""What corrections take on this machine: time, people, tools and parts, where somebody knows it better than usual."""

from __future__ import annotations

import re
from collections.abc import Generator, Iterable
from functools import partial
from typing import Any

from api.card_interview.draft import Draft, Left
from api.card_interview.parts import THRESHER
from api.card_interview.question import Question, Refused, Shown, words
from api.card_interview.writing import readings_on, settings_on
from audit.nouns.machine import Move
from audit.nouns.rule import Procedure
from audit.nouns.rulebook import Rulebook

SERVICE = "The service manual's standard times, or whoever does it every year."
USUAL = "usual"
MOST_MINUTES = 7 * 24 * 60
MOST_PEOPLE = 20
_TIME = re.compile(r"(\d{1,5}(?:[.,]\d{1,2})?) ?(min|minutes?|h|hours?)", re.IGNORECASE)
_PEOPLE = re.compile(r"(\d{1,2}) ?(?:people|persons?|man|men)?", re.IGNORECASE)
_MOST_NAME = 60


def ask_moves(draft: Draft, found: Rulebook) -> Generator[Question | Shown, Any, None]:
    """What the corrections of this machine take; those that nobody knows better stay as is usual."""
    offered = {procedure.key: names for procedure, names in _corrections(draft, found)}
    if not offered:
        return
    listed = "\n".join(f"{key}: {found.procedures[key].title}: {usual(found.procedures[key])}" for key in offered)
    chosen = yield Question(
        "moves",
        f"For which of these do you know better what they take on this machine?\n{listed}",
        "Plans of work count with it. Where nothing better is known they count with what is usual, as it stands here.",
        SERVICE,
        "all, none, a list, or: all but … ; Enter takes none",
        lambda answer: words(answer, list(offered)),
        "none",
    )
    for key in chosen:
        procedure = found.procedures[key]
        given = yield Question(
            f"move.{key}",
            f"{procedure.title}: how long does it take on this machine, how many people, which tools and parts?",
            "Plans of work count with it.",
            SERVICE,
            "such as 25 min; 2 people; 19 mm spanner, drift; parts: concave set. "
            f"Enter takes what is usual: {usual(procedure)}",
            partial(_work, key),
            USUAL,
            "how long it takes on this machine; plans count with what is usual",
        )
        if given is None:
            draft.left.append(Left(key, "what it takes on this machine", "how long plans really take"))
        if given is None or given == USUAL:
            continue
        free = [name for name in offered[key] if name not in draft.moves]
        if not free:
            yield Shown((f"{key} can't stand on the card beside the others; plans count with what is usual for it.",))
        moved = [name for name in free if name in settings_on(draft)]
        for name in moved or free[:1]:
            draft.moves[name] = given


def usual(procedure: Procedure) -> str:
    """What a procedure usually takes, as people read it."""
    return "; ".join(filter(None, _usual(procedure)))


def _usual(procedure: Procedure) -> Iterable[str]:
    yield f"{procedure.minutes:g} min"
    yield "1 person" if procedure.people == 1 else f"{procedure.people} people"
    yield ", ".join(procedure.tools)
    yield f"parts: {', '.join(procedure.parts)}" if procedure.parts else ""


def _corrections(draft: Draft, found: Rulebook) -> Iterable[tuple[Procedure, list[str]]]:
    """Procedures that move or bring right something of this card, with its names; what they move first."""
    thresher, _ = THRESHER[draft.threshing]
    settings, readings = settings_on(draft), set(readings_on(draft, found))
    for procedure in found.procedures.values():
        own = [re.sub(r"^thresher\.", f"{thresher}.", name) for name in (*procedure.moves, *procedure.brings)]
        names = [name for name in dict.fromkeys(own) if name in settings or name in readings]
        if names:
            yield procedure, names


def _work(key: str, answer: str) -> Move | str:
    """What was said that a correction takes, or that it is what is usual. Raises Refused."""
    if answer.strip().casefold() == USUAL:
        return USUAL
    time, *rest = (part.strip() for part in answer.split(";"))
    found = _TIME.fullmatch(time)
    if found is None:
        raise Refused(f"'{time[:60]}' is no time; write 25 min or 1.5 h first, then ; and how many people.")
    minutes = float(found[1].replace(",", ".")) * (60 if found[2].casefold().startswith("h") else 1)
    if not 0 < minutes <= MOST_MINUTES:
        raise Refused(f"'{time}' can't be: it must be more than nothing and at most a week.")
    people = _PEOPLE.fullmatch(rest[0]) if rest else None
    if people is None or not 1 <= int(people[1]) <= MOST_PEOPLE:
        raise Refused(f"say after the time how many people it takes, 1 to {MOST_PEOPLE}: 25 min; 2 people.")
    tools: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    for part in rest[1:]:
        head, _, listed = part.partition(":")
        if head.strip().casefold() == "parts" and listed:
            parts = _names(listed)
        elif not tools:
            tools = _names(part)
        else:
            raise Refused(f"'{part[:60]}' stands where only parts may: write parts: before them.")
    return Move(key, minutes, int(people[1]), tools, parts)


def _names(text: str) -> tuple[str, ...]:
    names = tuple(" ".join(name.split()) for name in text.split(",") if name.strip())
    for name in names:
        if len(name) > _MOST_NAME or not name.isprintable():
            raise Refused(f"'{name[:60]}' is no name of a tool or part; write at most {_MOST_NAME} characters.")
    return names
