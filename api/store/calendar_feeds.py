"""Addresses of calendars. Of the secret in an address only its hash is here."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from api.store import events
from api.store.database import Work
from api.store.event_tables import calendar_feeds


class NoSuchFeed(Exception):
    """The organisation has no calendar address of this id."""


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar's address without its secret.

    Attributes:
        units: the units it shows, empty for all.
        technician: the only one whose visits it shows, and nothing else; '' for all there is.
    """

    organisation: str
    id: str
    name: str
    units: tuple[str, ...]
    created: float
    created_by: str
    revoked: float | None = None
    technician: str = ""


def add(work: Work, feed: Feed, hashed: str) -> None:
    """Puts an address on record, with the hash of its secret."""
    work.connection.execute(
        insert(calendar_feeds).values(
            organisation=work.organisation, id=feed.id, hash=hashed, name=feed.name, units=json.dumps(feed.units),
            technician=feed.technician, created=feed.created, created_by=feed.created_by,
        )
    )  # fmt: skip
    content = {"name": feed.name, "units": list(feed.units), "technician": feed.technician, "hash": hashed}
    events.append(work, "calendar-feed.made", f"calendar-feed/{feed.id}", content)


def revoke(work: Work, id: str) -> Feed:
    """Ends an address now; nothing happens to one that was ended before. Raises NoSuchFeed."""
    own = (calendar_feeds.c.organisation == work.organisation, calendar_feeds.c.id == id)
    row = work.connection.execute(select(calendar_feeds).where(*own)).one_or_none()
    if row is None:
        raise NoSuchFeed(id)
    if row.revoked is None:
        work.connection.execute(update(calendar_feeds).where(*own).values(revoked=work.now))
        events.append(work, "calendar-feed.revoked", f"calendar-feed/{id}", {"name": row.name})
    return _feed(work.connection.execute(select(calendar_feeds).where(*own)).one())


def every(work: Work) -> list[Feed]:
    """Every address, revoked ones too, oldest first."""
    wanted = select(calendar_feeds).where(calendar_feeds.c.organisation == work.organisation)
    rows = work.connection.execute(wanted.order_by(calendar_feeds.c.created, calendar_feeds.c.id))
    return [_feed(row) for row in rows]


def live(connection: Connection, hashed: str) -> Feed | None:
    """The address of a secret's hash; None where there is none, or it was revoked."""
    wanted = select(calendar_feeds).where(calendar_feeds.c.hash == hashed, calendar_feeds.c.revoked.is_(None))
    row = connection.execute(wanted).one_or_none()
    return None if row is None else _feed(row)


def _feed(row: Row[Any]) -> Feed:
    return Feed(
        row.organisation,
        row.id,
        row.name,
        tuple(json.loads(row.units)),
        row.created,
        row.created_by,
        row.revoked,
        row.technician,
    )
