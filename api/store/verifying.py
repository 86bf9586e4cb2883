"""Whether a record is as it was written, and whether the rows are what the record says of them.

The chain shows that no event was changed, taken out or put in. It says nothing of the other tables, which are what the
service decides by: so each of their rows is held to the events about it. What no event tells is not checked: engine
hours of a unit that came with its setups, and audits, which are worked out anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import groupby
from typing import Any

from sqlalchemy import Row, Table, and_, exists, func, literal, select

from api.store import events as record
from api.store.database import Work
from api.store.event_tables import calendar_feeds, webhooks
from api.store.events import Event, Fault
from api.store.photo_tables import notes, photos
from api.store.rulebooks import IN_FORCE, chosen
from api.store.tables import (
    acceptances,
    events,
    identities,
    import_questions,
    import_sources,
    imports,
    organisations,
    rulebooks,
    setups,
    starts,
    tokens,
    type_cards,
    units,
)
from api.store.visit_tables import visit_plans, visits


@dataclass(frozen=True, slots=True)
class Traced:
    """A table whose every row has events.

    Attributes:
        kind: what subjects begin with.   key: the column that they end with.
        first: the one event that made the row.   later: others that tell its present state.
        told: columns that the newest of those events must tell, with their names in its content.
        silent: what a column holds that it says nothing of.
        ends: by column that is empty until then, the event that fills it; a later event of the others empties it.
        hashed: the column whose SHA-256 is the row's digest and what the event says is there after it, '' for none.
    """

    table: Table
    kind: str
    key: str
    first: str
    later: tuple[str, ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    silent: tuple[tuple[str, Any], ...] = ()
    ends: tuple[tuple[str, str], ...] = ()
    hashed: str = ""


def _same(*names: str) -> tuple[tuple[str, str], ...]:
    return tuple((name, name) for name in names)


TRACED = (
    Traced(
        units, "unit", "id", "unit.added", ("unit.changed",),
        _same("card", "serial", "build_year", "fitted", "owner"),
        (("serial", ""), ("build_year", None), ("fitted", {})),
        (("retired", "unit.retired"),),
    ),
    Traced(
        setups, "setup", "id", "setup.recorded", (),
        _same("unit", "number", "crop", "header_kind", "state", "taken", "taken_by"), hashed="text",
    ),
    Traced(photos, "photo", "id", "photo.added", (), _same("unit", "setup", "quantity", "media"), hashed="body"),
    Traced(notes, "note", "id", "note.added", (), _same("unit", "setup", "quantity", "text")),
    Traced(
        acceptances, "acceptance", "id", "acceptance.given", (),
        (("part", "on"), *_same("unit", "setup", "rule", "crop", "header_kind", "found", "by", "reason", "until")),
        ends=(("withdrawn", "acceptance.withdrawn"),),
    ),
    Traced(
        starts, "start", "id", "start.cleared", (),
        _same("unit", "number", "setup", "rulebook", "crop", "header_kind", "expires"),
        ends=(("revoked", "start.revoked"),),
    ),
    Traced(
        tokens, "token", "id", "token.made", (),
        _same("name", "role", "units", "expires", "hash"), ends=(("revoked", "token.revoked"),),
    ),
    Traced(rulebooks, "rulebook", "digest", "rulebook.added", (), _same("number", "note")),
    Traced(
        imports, "import", "id", "import.applied", (), _same("number", "format", "name", "source", "digest"),
        ends=(("undone", "import.undone"),),
    ),
    Traced(
        identities, "identity", "id", "identity.added", (), _same("unit", "scheme", "issuer", "value"),
        ends=(("ended", "identity.ended"),),
    ),
    Traced(
        type_cards, "type-card", "id", "type_card.added", (),
        _same("maker", "type", "serial_from", "serial_to", "card"), ends=(("ended", "type_card.ended"),),
    ),
    Traced(
        import_questions, "question", "id", "question.asked", (), _same("number", "kind", "about"),
        ends=(("answered", "question.answered"),),
    ),
    Traced(
        import_sources, "import-source", "id", "import_source.added", (), _same("format", "address", "period", "token"),
        ends=(("ended", "import_source.ended"),),
    ),
    Traced(
        webhooks, "webhook", "id", "webhook.made", ("webhook.changed",), _same("name", "address", "kinds", "units"),
        ends=(("ended", "webhook.ended"),),
    ),
    Traced(
        calendar_feeds, "calendar-feed", "id", "calendar-feed.made", (), _same("name", "units", "technician", "hash"),
        (("technician", ""),), (("revoked", "calendar-feed.revoked"),),
    ),
    Traced(
        visits, "visit", "id", "visit.planned", ("visit.changed",),
        _same("technician", "farm", "arrives", "begins", "leaves", "work", "plan"),
        ends=(("cancelled", "visit.cancelled"),),
    ),
    Traced(
        visit_plans, "visit-plan", "id", "visit-plan.made", (), _same("number", "fleet_audit", "rulebook"),
        hashed="text",
    ),
    Traced(
        organisations, "organisation", "id", "organisation.made", ("organisation.changed",), _same("terms", "effects"),
    ),
)  # fmt: skip
JSON = frozenset({"fitted", "found", "units", "kinds", "terms", "effects", "work"})
"""Columns of JSON text."""
OF_KEY = "rulebook/key"
"""Subject of the events about the key that signs rulebooks."""


def faults(work: Work, head: tuple[int, str] | None = None) -> Iterator[Fault]:
    """Where an organisation's record or its rows are not as they were written.

    Args:
        head: number and hash of an event, as known from elsewhere; the record must hold it.
    """
    own = work.connection.execute(
        select(organisations.c.events, organisations.c.head, organisations.c.clock).where(
            organisations.c.id == work.organisation
        )
    ).one()
    yield from chain_faults(record.read(work), (own.events, own.head), head)
    last = work.connection.execute(
        select(events.c.at).where(events.c.organisation == work.organisation).order_by(events.c.number.desc()).limit(1)
    ).scalar()
    if last is not None and last != own.clock:
        yield Fault(own.events, "the organisation's latest time is not that of its last event")
    for traced in TRACED:
        yield from row_faults(work, traced)
        yield from lost_rows(work, traced)
    yield from in_force_faults(work)


def chain_faults(
    some: Iterable[Event], end: tuple[int, str] | None = None, head: tuple[int, str] | None = None
) -> Iterator[Fault]:
    """Where a whole record is not as it was written; an event that can't be read at all ends the search.

    Args:
        end: number and hash that the last event must have.
        head: number and hash of an event that must be among them.
    """
    last, met = 0, head is None or head == (0, record.FIRST)

    def walked() -> Iterator[Event]:
        nonlocal last, met
        for one in some:
            last = one.number
            met = met or (one.number, one.hash) == head
            yield one

    try:
        yield from record.faults_in(walked(), end)
    except ValueError:
        yield Fault(last + 1, f"the event after number {last} can't be read")
        return
    if not met and head is not None:
        yield Fault(head[0], f"the record holds no event {head[0]} with hash {head[1]}")


def row_faults(work: Work, traced: Traced) -> Iterator[Fault]:
    """Rows that the record does not speak of, or speaks of otherwise."""
    table, key = traced.table, traced.table.c[traced.key]
    about = and_(
        events.c.organisation == work.organisation,
        events.c.subject == literal(f"{traced.kind}/") + key,
        events.c.what.in_([traced.first, *traced.later, *(what for _, what in traced.ends)]),
    )
    told = [events.c[name].label(f"event_{name}") for name in ("number", "what", "after", "content")]
    wanted = select(table, *told).select_from(table.outerjoin(events, about)).where(_own(work, table))
    found = work.connection.execute(
        wanted.order_by(key, events.c.number), execution_options={"yield_per": 100, "stream_results": True}
    )
    for id, rows in groupby(found, lambda row: str(getattr(row, traced.key))):
        yield from _held_to_events(traced, id, list(rows))


def _held_to_events(traced: Traced, id: str, rows: Sequence[Row[Any]]) -> Iterator[Fault]:
    """One row, given once for each event about it."""
    row, subject = rows[0], f"{traced.kind}/{id}"
    made = [one for one in rows if one.event_what == traced.first]
    if len(made) != 1:
        yield Fault(row.event_number or 0, f"{subject} has {len(made) or 'no'} events {traced.first}, not one")
        return
    state = [one for one in rows if one.event_what in (traced.first, *traced.later)][-1]
    try:
        content = json.loads(state.event_content)
        content = {**dict(traced.silent), **content}
        wrong = [name for name, word in traced.told if word not in content or content[word] != _value(row, name)]
    except (ValueError, TypeError, AttributeError):
        yield Fault(state.event_number, f"{subject} or event {state.event_number} can't be read")
        return
    for name in wrong:
        yield Fault(state.event_number, f"{name} of {subject} is not what event {state.event_number} says")
    if traced.hashed and not row.digest == _digest(getattr(row, traced.hashed)) == state.event_after:
        said = f"the {traced.hashed} of {subject} has not the hash that event {state.event_number} says"
        yield Fault(state.event_number, said)
    for column, what in traced.ends:
        if (getattr(row, column) is not None) != (rows[-1].event_what == what):
            said = "is set, but no event" if getattr(row, column) is not None else "is not set, but an event"
            yield Fault(state.event_number, f"{column} of {subject} {said} {what} is on record")


def _digest(text: object) -> str:
    """SHA-256 of bytes, '' for what is none: SQLite keeps any kind of value in any column."""
    return sha256(text).hexdigest() if isinstance(text, bytes) else ""


def _value(row: Row[Any], name: str) -> Any:
    value = getattr(row, name)
    return json.loads(value) if name in JSON else value


def in_force_faults(work: Work) -> Iterator[Fault]:
    """Whether the rulebook that judges is the one that the record says. '' stands for the one of the program."""
    told = select(events.c.number, events.c.after, events.c.content).where(
        events.c.organisation == work.organisation, events.c.subject.in_([IN_FORCE, OF_KEY])
    )
    number, said = 0, ""
    for row in work.connection.execute(told.order_by(events.c.number)):
        try:
            content = json.loads(row.content)
            if "keeps_to" in content:  # the key was set or removed; what was in force may have been held fast by it
                number, said = row.number, content["keeps_to"] or said
            else:
                number, said = row.number, "" if content.get("follows") else row.after
        except (ValueError, AttributeError):
            yield Fault(row.number, f"event {row.number} can't be read")
            return
    if chosen(work) != said:
        yield Fault(number, "the rulebook in force is not the one that the record says")


def lost_rows(work: Work, traced: Traced) -> Iterator[Fault]:
    """Events that made a row which is not there."""
    table = traced.table
    there = exists().where(
        _own(work, table), table.c[traced.key] == func.substr(events.c.subject, len(traced.kind) + 2)
    )
    lost = select(events.c.number, events.c.subject).where(
        events.c.organisation == work.organisation, events.c.what == traced.first, ~there
    )
    for row in work.connection.execute(lost.order_by(events.c.number)):
        yield Fault(row.number, f"event {row.number} made {row.subject}, which is not there")


def _own(work: Work, table: Table) -> Any:
    return (table.c.id if table is organisations else table.c.organisation) == work.organisation
