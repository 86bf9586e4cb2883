"""Organisations: their names, and their own terms for a start."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, exists, insert, select, update
from sqlalchemy.exc import IntegrityError

from api.store import events
from api.store.database import NoSuchOrganisation, Work
from api.store.tables import organisations
from audit.nouns.clearance import Effect, Terms
from audit.nouns.risk import Level

ID = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?", re.ASCII)
"""What an id looks like: it stands in addresses and in certificates."""
MOST_NAME = 120


class BadName(Exception):
    """An organisation can't be called that, and why."""


class AlreadyThere(Exception):
    """There is an organisation of this id."""


@dataclass(frozen=True, slots=True)
class Organisation:
    """One organisation.

    Attributes:
        effects: by rule, what a broken one does where the organisation changed it.
        rulebook: digest of the rulebook in force, '' for the shipped one.
        created: s since 1970.
    """

    id: str
    name: str
    terms: Terms
    effects: Mapping[str, Effect]
    rulebook: str
    created: float

    @property
    def edition(self) -> str:
        """SHA-256 of what an owner can set; changes whenever that does."""
        return sha256(events.canonical(set_by_owner(self.terms, self.effects))).hexdigest()


def make(connection: Connection, id: str, name: str, who: str, now: float) -> Work:
    """Writes a new organisation with the usual terms, and the first event of its record.

    Returns: its transaction, to write more of it in.
    Raises: AlreadyThere; BadName.
    """
    if ID.fullmatch(id) is None:
        raise BadName("its id must be 1 to 60 small letters, digits and hyphens, with no hyphen first or last")
    if not name.strip() or len(name) > MOST_NAME or not name.isprintable():
        raise BadName(f"its name must have 1 to {MOST_NAME} characters, none of them a control character")
    if is_there(connection, id):
        raise AlreadyThere(id)
    try:
        connection.execute(
            insert(organisations).values(
                id=id, name=name, terms=_text(terms_json(Terms())), effects="{}", rulebook="", events=0,
                head=events.FIRST, clock=now, created=now,
            )
        )  # fmt: skip
    except IntegrityError as error:  # made by someone else since we looked
        raise AlreadyThere(id) from error
    work = Work(connection, id, who, now)
    events.append(work, "organisation.made", f"organisation/{id}", {"name": name, **set_by_owner(Terms(), {})})
    return work


def set_terms(work: Work, terms: Terms, effects: Mapping[str, Effect]) -> Organisation:
    """Changes the terms and writes the event; nothing happens if they are so already. What holds need not be said."""
    before = read(work)
    effects = {rule: effect for rule, effect in effects.items() if effect is not Effect.HOLDS}
    if (before.terms, before.effects) == (terms, effects):
        return before
    content = set_by_owner(terms, effects)
    work.connection.execute(
        update(organisations)
        .where(organisations.c.id == work.organisation)
        .values(terms=_text(content["terms"]), effects=_text(content["effects"]))
    )
    after = read(work)
    subject = f"organisation/{work.organisation}"
    events.append(work, "organisation.changed", subject, content, before.edition, after.edition)
    return after


def read(work: Work) -> Organisation:
    """The organisation of a transaction. Raises NoSuchOrganisation; ValueError for terms that can't be read."""
    row = work.connection.execute(select(organisations).where(organisations.c.id == work.organisation)).one_or_none()
    if row is None:
        raise NoSuchOrganisation(work.organisation)
    effects = {rule: Effect(effect) for rule, effect in json.loads(row.effects).items()}
    return Organisation(row.id, row.name, _terms(json.loads(row.terms)), effects, row.rulebook, row.created)


def is_there(connection: Connection, id: str) -> bool:
    """Whether there is an organisation of this id."""
    return bool(connection.scalar(select(exists().where(organisations.c.id == id))))


def is_any(connection: Connection) -> bool:
    """Whether there is any organisation."""
    return bool(connection.scalar(select(exists().select_from(organisations))))


def ids(connection: Connection) -> tuple[str, ...]:
    """Ids of all organisations, in order."""
    return tuple(connection.scalars(select(organisations.c.id).order_by(organisations.c.id)))


def set_by_owner(terms: Terms, effects: Mapping[str, Effect]) -> dict[str, Any]:
    """Terms and effects as plain values."""
    return {"terms": terms_json(terms), "effects": {rule: effect.value for rule, effect in sorted(effects.items())}}


def terms_json(terms: Terms) -> dict[str, Any]:
    """Terms as plain values."""
    return {
        "hold_at": terms.hold_at.name.lower(),
        "most_hours": terms.most_hours,
        "most_days": terms.most_days,
        "valid_for": terms.valid_for,
    }


def _terms(plain: dict[str, Any]) -> Terms:
    level = Level[plain["hold_at"].upper()]
    return Terms(level, float(plain["most_hours"]), float(plain["most_days"]), float(plain["valid_for"]))


def _text(plain: object) -> str:
    return events.canonical(plain).decode()
