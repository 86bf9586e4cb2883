"""What an import could not decide and a person must."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, func, select

from api.store.database import Work
from api.store.events import canonical
from api.store.rows import add_rows, change_rows
from api.store.tables import import_questions


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Attributes:
        origin: the import that asks.
        about: what is asked about; while one is open, no second is asked.
        content: the row that waits, and what may be answered.
        asked, answered: s since 1970.
    """

    id: str
    number: int
    origin: str
    kind: str
    about: str
    content: Mapping[str, Any]
    asked: float
    answered: float | None = None
    answered_by: str | None = None
    answer: Mapping[str, Any] | None = None


def add(work: Work, some: Sequence[Question]) -> None:
    """Asks them."""
    add_rows(work, import_questions, [_columns(one) for one in some])


def change(work: Work, some: Sequence[Question]) -> None:
    """Puts on record what became of questions: a newer row waits, or they were answered."""
    change_rows(work, import_questions, [_columns(one) for one in some])


def _columns(one: Question) -> dict[str, Any]:
    found = {name: getattr(one, name) for name in Question.__slots__}
    found["content"] = canonical(dict(one.content)).decode()
    found["answer"] = None if one.answer is None else canonical(dict(one.answer)).decode()
    return found


def find(work: Work, id: str) -> Question | None:
    """A question by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(import_questions.c.id == id)).one_or_none()
    return None if row is None else _question(row)


def open_about(work: Work, about: str) -> Question | None:
    """The open question about something."""
    wanted = _all(work).where(import_questions.c.about == about, import_questions.c.answered.is_(None))
    row = work.connection.execute(wanted.limit(1)).one_or_none()
    return None if row is None else _question(row)


def page(work: Work, after: int, most: int, every: bool = False, kind: str = "", origin: str = "") -> list[Question]:
    """Questions in the order of asking, from the one after number ``after``; open ones unless ``every``."""
    wanted = _all(work).where(import_questions.c.number > after)
    if not every:
        wanted = wanted.where(import_questions.c.answered.is_(None))
    if kind:
        wanted = wanted.where(import_questions.c.kind == kind)
    if origin:
        wanted = wanted.where(import_questions.c.origin == origin)
    return [_question(row) for row in work.connection.execute(wanted.order_by(import_questions.c.number).limit(most))]


def next_number(work: Work) -> int:
    """Number of the next question."""
    wanted = select(func.max(import_questions.c.number)).where(import_questions.c.organisation == work.organisation)
    return (work.connection.scalar(wanted) or 0) + 1


def _all(work: Work) -> Select[Any]:
    return select(import_questions).where(import_questions.c.organisation == work.organisation)


def _question(row: Row[Any]) -> Question:
    return Question(
        row.id, row.number, row.origin, row.kind, row.about, json.loads(row.content), row.asked, row.answered,
        row.answered_by, None if row.answer is None else json.loads(row.answer),
    )  # fmt: skip
