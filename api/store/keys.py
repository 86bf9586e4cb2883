"""Signing keys on record. They belong to the server, not to an organisation.

One key signs: the newest that is neither retired nor compromised. A retired key still verifies, and is published until
everything it signed has expired. Nothing that a compromised key signed counts, and it is not published.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from api.certificates.certificate import LONGEST
from api.certificates.keys import PublicKey, SigningKey, jwk_of, make, public_key, seal, unseal
from api.certificates.moment import CLOCKS_DIFFER
from api.certificates.revocations import Revocations, mark
from api.certificates.text import plain_json
from api.store.tables import signing_keys, starts


class NoSuchKey(Exception):
    """There is no signing key of this id."""


@dataclass(frozen=True, slots=True)
class KeyLine:
    """A key as people see it: times in s since 1970; ``signs`` for the one that signs now."""

    id: str
    created: float
    retired: float | None
    compromised: bool
    signs: bool


def signing_key(connection: Connection, secret: bytes, now: float) -> SigningKey:
    """The key that signs, made if there is none. The transaction must be one that writes. Raises WrongSecret."""
    found = current(connection, secret)
    if found is None:
        _alone(connection)
        found = current(connection, secret)  # another process may have made it meanwhile
    return found or _add(connection, secret, now)


def current(connection: Connection, secret: bytes) -> SigningKey | None:
    """The key that signs, None if none was made yet. Raises WrongSecret."""
    row = _that_signs(connection)
    return None if row is None else unseal(row.sealed, row.id, secret)


def current_id(connection: Connection) -> str | None:
    """Id of the key that signs, None if there is none."""
    row = _that_signs(connection)
    return None if row is None else str(row.id)


def rotate(connection: Connection, secret: bytes, now: float) -> SigningKey:
    """Lets a new key sign and retires those before it; needs no old secret."""
    _alone(connection)
    connection.execute(update(signing_keys).where(signing_keys.c.retired.is_(None)).values(retired=now))
    return _add(connection, secret, now)


def mark_compromised(connection: Connection, key_id: str, now: float) -> None:
    """Nothing that the key signed counts from now on, for ever; it signs no more. Raises NoSuchKey.

    Starts that stand on it are another matter: ``api.service.withdrawing`` does both.
    """
    _alone(connection)
    where = signing_keys.c.id == key_id
    row = connection.execute(select(signing_keys.c.retired).where(where)).one_or_none()
    if row is None:
        raise NoSuchKey(key_id)
    retired = now if row.retired is None else row.retired
    connection.execute(update(signing_keys).where(where).values(compromised=True, retired=retired))


def public_keys(connection: Connection) -> dict[str, PublicKey]:
    """Every key there ever was, compromised ones included and marked: what the server itself checks with."""
    rows = connection.execute(select(signing_keys.c.public, signing_keys.c.compromised))
    keys = [public_key(json.loads(row.public), row.compromised) for row in rows]
    return {key.id: key for key in keys}


def published(connection: Connection, now: float) -> list[PublicKey]:
    """The keys that a certificate which is still good may have been signed with, oldest first."""
    rows = connection.execute(
        select(signing_keys)
        .where(signing_keys.c.compromised.is_(False))
        .order_by(signing_keys.c.created, signing_keys.c.id)
    )
    return [
        public_key(json.loads(row.public)) for row in rows if row.retired is None or now < _needed_until(row.retired)
    ]


def lines(connection: Connection) -> list[KeyLine]:
    """Every key, newest first."""
    rows = connection.execute(select(signing_keys).order_by(signing_keys.c.created.desc(), signing_keys.c.id)).all()
    signs = next((row.id for row in rows if row.retired is None and not row.compromised), "")
    return [KeyLine(row.id, row.created, row.retired, row.compromised, row.id == signs) for row in rows]


def revocations(connection: Connection, issuer: str, now: float) -> Revocations:
    """What a terminal must no longer rely on; starts whose certificates have expired anyway are left out."""
    revoked = connection.execute(
        select(starts.c.organisation, starts.c.id, starts.c.revoked).where(
            starts.c.revoked.is_not(None), starts.c.expires > now
        )
    )
    # for ever, as whoever has such a key can sign with any date
    compromised = connection.scalars(
        select(signing_keys.c.id).where(signing_keys.c.compromised.is_(True)).order_by(signing_keys.c.id)
    )
    return Revocations(
        issuer,
        int(now),
        {mark(row.organisation, row.id): int(row.revoked) for row in revoked},
        tuple(compromised),
    )


def _that_signs(connection: Connection) -> Row[Any] | None:
    return connection.execute(
        select(signing_keys)
        .where(signing_keys.c.retired.is_(None), signing_keys.c.compromised.is_(False))
        .order_by(signing_keys.c.created.desc(), signing_keys.c.id)
        .limit(1)
    ).one_or_none()


def _needed_until(retired: float) -> float:
    """When everything has expired that a key signed before it was retired, s since 1970."""
    return retired + LONGEST + CLOCKS_DIFFER


def _add(connection: Connection, secret: bytes, now: float) -> SigningKey:
    key = make()
    public = plain_json(jwk_of(key.private.public_key())).decode()
    connection.execute(
        insert(signing_keys).values(
            id=key.id, public=public, sealed=seal(key, secret), created=now, retired=None, compromised=False
        )
    )
    return key


def _alone(connection: Connection) -> None:
    """Keeps other processes from changing keys until this transaction ends. SQLite has one writer at a time anyway."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE signing_keys IN SHARE ROW EXCLUSIVE MODE")
