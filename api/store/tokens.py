"""Tokens on the record. Of a secret only its hash is here."""

from __future__ import annotations

import json
from dataclasses import dataclass

from sqlalchemy import Connection, Row, exists, insert, select, update
from sqlalchemy.exc import IntegrityError

from api.store import events
from api.store.database import Work
from api.store.tables import organisations, tokens


class NoSuchToken(Exception):
    """The organisation has no token of this id."""


class NameTaken(Exception):
    """The organisation has, or had, a token of this name."""


@dataclass(frozen=True, slots=True)
class Token:
    """A token without its secret.

    Attributes:
        units: ids of the units it is for; empty for all.
        created, expires, revoked: s since 1970; ``expires`` None for never.
    """

    organisation: str
    id: str
    name: str
    role: str
    units: tuple[str, ...]
    created: float
    created_by: str
    expires: float | None = None
    revoked: float | None = None

    def live(self, now: float) -> bool:
        """Whether it opens anything at a time, s since 1970."""
        return self.revoked is None and (self.expires is None or now < self.expires)


def add(work: Work, token: Token, hashed: str) -> None:
    """Writes a token and its event. Raises NameTaken.

    A name is never given twice, not even after it was revoked: the record names tokens, and must stay unambiguous.
    """
    folded = token.name.casefold()
    if any(other.name.casefold() == folded for other in every(work)):
        raise NameTaken(token.name)
    try:
        work.connection.execute(
            insert(tokens).values(
                organisation=work.organisation, id=token.id, hash=hashed, name=token.name, role=token.role,
                units=json.dumps(token.units), created=token.created, created_by=token.created_by,
                expires=token.expires, revoked=None,
            )
        )  # fmt: skip
    except IntegrityError as error:  # the same secret or id twice: 256 and 64 random bits, so a broken generator
        raise RuntimeError("the random numbers of this machine repeat; no token was made") from error
    content = {"name": token.name, "role": token.role, "units": list(token.units), "expires": token.expires}
    content["hash"] = hashed  # of a random secret: it opens nothing, and a swapped one is found
    events.append(work, "token.made", f"token/{token.id}", content)


def revoke(work: Work, id: str) -> Token:
    """Ends a token now and writes its event; nothing happens to one that was ended before. Raises NoSuchToken."""
    found = one(work, id)
    if found.revoked is not None:
        return found
    work.connection.execute(
        update(tokens).where(tokens.c.organisation == work.organisation, tokens.c.id == id).values(revoked=work.now)
    )
    events.append(work, "token.revoked", f"token/{id}", {"name": found.name})
    return one(work, id)


def one(work: Work, id: str) -> Token:
    """One token of the organisation. Raises NoSuchToken."""
    row = work.connection.execute(
        select(tokens).where(tokens.c.organisation == work.organisation, tokens.c.id == id)
    ).one_or_none()
    if row is None:
        raise NoSuchToken(id)
    return _token(row)


def every(work: Work) -> tuple[Token, ...]:
    """Every token of the organisation, revoked and expired ones too, oldest first."""
    rows = work.connection.execute(
        select(tokens).where(tokens.c.organisation == work.organisation).order_by(tokens.c.created, tokens.c.id)
    )
    return tuple(_token(row) for row in rows)


def of_hash(connection: Connection, hashed: str) -> tuple[Token, float] | None:
    """The token of a secret's hash, and the latest time on its organisation's record, s since 1970.

    Raises ValueError for a row that can't be read.
    """
    row = connection.execute(
        select(tokens, organisations.c.clock)
        .join(organisations, organisations.c.id == tokens.c.organisation)
        .where(tokens.c.hash == hashed)
    ).one_or_none()
    return None if row is None else (_token(row), float(row.clock))


def any_live(connection: Connection, now: float) -> bool:
    """Whether a token of any organisation opens anything at a time, s since 1970."""
    live = tokens.c.revoked.is_(None) & (tokens.c.expires.is_(None) | (tokens.c.expires > now))
    return bool(connection.scalar(select(exists().where(live))))


def _token(row: Row[*tuple[object, ...]]) -> Token:
    units = json.loads(row.units)
    if not isinstance(units, list) or not all(isinstance(unit, str) for unit in units):
        raise ValueError(f"the units of token {row.id} can't be read")
    return Token(
        row.organisation, row.id, row.name, row.role, tuple(units), row.created, row.created_by, row.expires,
        row.revoked,
    )  # fmt: skip
