"""The record: events of an organisation, each bound to the one before by its hash; only ever added to.

The hash is SHA-256 over the event's RFC 8785 JSON, the hash of the event before included, so that no event can be
changed, taken out, put in or moved without every later hash being wrong.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import rfc8785
from sqlalchemy import insert, select, update

from api.store import outbox
from api.store.database import Work
from api.store.tables import events, organisations

FIRST = ""
"""What the first event has as the hash before it."""


@dataclass(frozen=True, slots=True)
class Event:
    """One event of the record.

    Attributes:
        at: s since 1970.
        what: past participle, ``setup.recorded``.   subject: ``unit/unit-07`` and the like.
        before, after: SHA-256 of the subject before and after, '' for none.
    """

    organisation: str
    number: int
    at: float
    who: str
    what: str
    subject: str
    before: str
    after: str
    content: Mapping[str, Any]
    previous: str
    hash: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Where a record is not as it was written."""

    number: int
    text: str


def canonical(content: object) -> bytes:
    """RFC 8785 JSON. Raises ValueError for what it has no form for (NaN, integers past 2^53)."""
    try:
        return rfc8785.dumps(content)  # type: ignore[arg-type]
    except rfc8785.CanonicalizationError as error:
        raise ValueError(str(error)) from error


def append(
    work: Work,
    what: str,
    subject: str,
    content: Mapping[str, Any],
    before: str = "",
    after: str = "",
    told: Mapping[str, Any] | None = None,
) -> Event:
    """Adds an event in the transaction of the change that it is about; other systems are told of it, if it is for them.

    Args:
        told: what other systems are told beside the content, or instead of a part of it.
    """
    row = work.connection.execute(
        select(organisations.c.events, organisations.c.head).where(organisations.c.id == work.organisation)
    ).one()
    bare = Event(
        work.organisation, row.events + 1, work.now, work.who, what, subject, before, after, content, row.head, ""
    )
    found = hash_of(bare)
    work.connection.execute(
        insert(events).values(
            organisation=bare.organisation, number=bare.number, at=bare.at, who=bare.who, what=what, subject=subject,
            before=before, after=after, content=canonical(content).decode(), previous=bare.previous, hash=found,
        )
    )  # fmt: skip
    work.connection.execute(
        update(organisations)
        .where(organisations.c.id == work.organisation)
        .values(events=bare.number, head=found, clock=work.now)
    )
    outbox.put(work, what, subject, {**content, **(told or {})}, bare.number)
    return Event(
        bare.organisation, bare.number, bare.at, bare.who, what, subject, before, after, content, bare.previous, found
    )


def hash_of(one: Event) -> str:
    """The hash that binds an event to the one before."""
    return sha256(
        canonical(
            {
                "organisation": one.organisation, "number": one.number, "at": one.at, "who": one.who,
                "what": one.what, "subject": one.subject, "before": one.before, "after": one.after,
                "content": one.content, "previous": one.previous,
            }
        )
    ).hexdigest()  # fmt: skip


def head(work: Work) -> tuple[int, str]:
    """Number and hash of the last event."""
    row = work.connection.execute(
        select(organisations.c.events, organisations.c.head).where(organisations.c.id == work.organisation)
    ).one()
    return row.events, row.head


def read(work: Work, after: int = 0, most: int | None = None, subject: str = "", what: str = "") -> Iterator[Event]:
    """Events in order, from the one after ``after``."""
    wanted = select(events).where(events.c.organisation == work.organisation, events.c.number > after)
    if subject:
        wanted = wanted.where(events.c.subject == subject)
    if what:
        wanted = wanted.where(events.c.what == what)
    wanted = wanted.order_by(events.c.number)
    if most is not None:
        wanted = wanted.limit(most)
    for row in work.connection.execute(wanted, execution_options={"yield_per": 500}):
        yield Event(
            row.organisation, row.number, row.at, row.who, row.what, row.subject, row.before, row.after,
            json.loads(row.content), row.previous, row.hash,
        )  # fmt: skip


def faults_in(some: Iterable[Event], head: tuple[int, str] | None = None) -> Iterator[Fault]:
    """Where a whole record, from its first event on, is not as it was written.

    Args:
        head: number and hash that the last event must have, as known from elsewhere.
    """
    number, before = 0, FIRST
    for one in some:
        if one.number != number + 1:
            missing = f"event {number + 1} is missing" if one.number > number + 1 else f"event {one.number} comes twice"
            yield Fault(one.number, missing)
        if one.previous != before:
            yield Fault(one.number, f"event {one.number} does not follow the one before it")
        try:
            found = hash_of(one)
        except ValueError as error:
            found = f"no hash: {error}"
        if found != one.hash:
            yield Fault(one.number, f"event {one.number} was changed after it was written")
        number, before = one.number, one.hash
    if head is not None and (number, before) != head:
        yield Fault(number, f"the record ends at event {number}, but {head[0]} were written or the last one differs")
