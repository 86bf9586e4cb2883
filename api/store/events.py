"""The record: events of an organisation, each bound to the one before by its hash; only ever added to.

The hash is SHA-256 over the event's RFC 8785 JSON, the hash of the event before included, so that no event can be
changed, taken out, put in or moved without every later hash being wrong.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

import rfc8785
from sqlalchemy import Row, insert, select, update

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
class Saying:
    """What an event is to say, before it has its place in the record.

    Attributes:
        told: what other systems are told beside the content, or instead of a part of it.
    """

    what: str
    subject: str
    content: Mapping[str, Any]
    before: str = ""
    after: str = ""
    told: Mapping[str, Any] | None = None


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
    return append_all(work, [Saying(what, subject, content, before, after, told)])[0]


def append_all(work: Work, some: Sequence[Saying]) -> list[Event]:
    """Adds events in order, as ``append`` each, in as many statements as for one."""
    if not some:
        return []
    before, last = head(work)
    found: list[Event] = []
    for number, one in enumerate(some, before + 1):
        bare = Event(
            work.organisation, number, work.now, work.who, one.what, one.subject, one.before, one.after, one.content,
            last, "",
        )  # fmt: skip
        last = hash_of(bare)
        found.append(replace(bare, hash=last))
    rows = [{name: getattr(one, name) for name in Event.__slots__} for one in found]
    rows = [{**row, "content": canonical(row["content"]).decode()} for row in rows]
    work.connection.execute(insert(events), rows)
    work.connection.execute(
        update(organisations)
        .where(organisations.c.id == work.organisation)
        .values(events=before + len(some), head=last, clock=work.now)
    )
    outbox.put(
        work,
        [
            outbox.Telling(one.what, one.subject, {**one.content, **(one.told or {})}, event.number)
            for one, event in zip(some, found, strict=True)
        ],
    )
    return found


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
    yield from map(_event, work.connection.execute(wanted, execution_options={"yield_per": 500}))


def newest(work: Work, subject: str) -> Event | None:
    """The last event about a subject, None where there is none."""
    wanted = select(events).where(events.c.organisation == work.organisation, events.c.subject == subject)
    row = work.connection.execute(wanted.order_by(events.c.number.desc()).limit(1)).one_or_none()
    return None if row is None else _event(row)


def _event(row: Row[Any]) -> Event:
    return Event(
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
