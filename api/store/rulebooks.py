"""Rulebooks on record: every version with all of its files, so that whatever it judged can be explained later.

Nothing of a version changes but its signature and when it went in force last.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Row, func, insert, select, update

from api.store.database import Work
from api.store.events import canonical
from api.store.tables import events, organisations, rulebooks
from audit.intake.rulebook import Layer

IN_FORCE = "rulebook/in-force"
"""Subject of the events that say which rulebook judges from then on."""
MOST_UNPACKED = 64 * 1024 * 1024
"""Most bytes that stored files may unpack to."""

_SHORT = [column for column in rulebooks.c if column.name not in ("organisation", "files", "rules")]


class Damaged(Exception):
    """What is stored of a rulebook is not what was stored."""


@dataclass(frozen=True, slots=True)
class RulebookRow:
    """One version, without its files.

    Attributes:
        number: 1 for the first of the organisation.
        note: what is new in it, in its author's words.
        signature: hexadecimal, '' for none.   signed_by: thumbprint of the key.
        added, activated: s since 1970; ``activated`` when it went in force last, None for never.
    """

    digest: str
    number: int
    note: str
    signature: str
    signed_by: str
    added: float
    added_by: str
    activated: float | None


def add(
    work: Work, digest: str, layers: Sequence[Layer], rules: Mapping[str, str], note: str, signature: str, by: str
) -> RulebookRow:
    """Puts a version on record that is not there yet.

    Args:
        rules: by every id that is or was given to a rule, what it stands for.
        by: thumbprint of the key that signed.
    """
    highest = select(func.coalesce(func.max(rulebooks.c.number), 0)).where(_mine(work))
    row = RulebookRow(
        digest, int(work.connection.scalar(highest) or 0) + 1, note, signature, by, work.now, work.who, None
    )
    values = {name: getattr(row, name) for name in RulebookRow.__slots__}
    work.connection.execute(
        insert(rulebooks).values(
            organisation=work.organisation, files=pack(layers), rules=canonical(rules).decode(), **values
        )
    )
    return row


def find(work: Work, digest: str) -> RulebookRow | None:
    """A version, None if there is none of this digest."""
    wanted = select(*_SHORT).where(_mine(work), rulebooks.c.digest == digest)
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _row(row)


def page(work: Work, before: int | None, most: int) -> list[RulebookRow]:
    """Versions, the last one first, from below number ``before``."""
    wanted = select(*_SHORT).where(_mine(work))
    if before is not None:
        wanted = wanted.where(rulebooks.c.number < before)
    return [_row(row) for row in work.connection.execute(wanted.order_by(rulebooks.c.number.desc()).limit(most))]


def layers_of(work: Work, digest: str) -> tuple[Layer, ...] | None:
    """The files of a version as they are stored, None if there is none of this digest. Raises Damaged."""
    packed = work.connection.scalar(select(rulebooks.c.files).where(_mine(work), rulebooks.c.digest == digest))
    return None if packed is None else unpack(packed)


def stood_for(work: Work) -> Iterator[tuple[int, str, Mapping[str, str]]]:
    """Of every version that was ever in force: number, digest, and what its rule ids stand for."""
    wanted = select(rulebooks.c.number, rulebooks.c.digest, rulebooks.c.rules).where(
        _mine(work), rulebooks.c.activated.is_not(None)
    )
    for row in work.connection.execute(wanted.order_by(rulebooks.c.number)):
        yield row.number, row.digest, json.loads(row.rules)


def sign(work: Work, digest: str, signature: str, by: str) -> None:
    """Notes a signature over a version."""
    where = (_mine(work), rulebooks.c.digest == digest)
    work.connection.execute(update(rulebooks).where(*where).values(signature=signature, signed_by=by))


def put_in_force(work: Work, digest: str, follow: bool = False) -> None:
    """Lets a version judge from now on.

    Args:
        follow: the organisation follows the shipped rulebook, which is this one now.
    """
    where = (_mine(work), rulebooks.c.digest == digest)
    work.connection.execute(update(rulebooks).where(*where).values(activated=work.now))
    mine = organisations.c.id == work.organisation
    work.connection.execute(update(organisations).where(mine).values(rulebook="" if follow else digest))


def chosen(work: Work) -> str:
    """Digest of the version that the organisation put in force, '' where it follows the shipped one."""
    return str(work.connection.scalar(select(organisations.c.rulebook).where(organisations.c.id == work.organisation)))


def last_said(work: Work) -> str:
    """Digest of the rulebook that judges by the record, '' if it says nothing yet."""
    wanted = select(events.c.after).where(events.c.organisation == work.organisation, events.c.subject == IN_FORCE)
    return work.connection.scalar(wanted.order_by(events.c.number.desc()).limit(1)) or ""


def key(work: Work) -> Mapping[str, Any] | None:
    """The public JWK that must have signed a rulebook, None if none must have."""
    text = work.connection.scalar(select(organisations.c.rulebook_key).where(organisations.c.id == work.organisation))
    return None if text is None else json.loads(text)


def set_key(work: Work, jwk: Mapping[str, Any] | None) -> None:
    """Sets that key, or takes it away."""
    text = None if jwk is None else canonical(jwk).decode()
    mine = organisations.c.id == work.organisation
    work.connection.execute(update(organisations).where(mine).values(rulebook_key=text))


def pack(layers: Sequence[Layer]) -> bytes:
    """Layers as compressed JSON. Raises UnicodeDecodeError for a file that is no text."""
    plain = [
        {"name": layer.name, "origin": layer.origin, "files": {n: text.decode() for n, text in layer.files.items()}}
        for layer in layers
    ]
    return zlib.compress(canonical(plain), 9)


def unpack(packed: bytes) -> tuple[Layer, ...]:
    """Layers that were packed. Raises Damaged."""
    opened = zlib.decompressobj()
    try:
        text = opened.decompress(packed, MOST_UNPACKED)
        if not opened.eof:
            raise Damaged("the stored files are cut off, or larger than any rulebook")
        return tuple(
            Layer(one["name"], one["origin"], {name: held.encode() for name, held in one["files"].items()})
            for one in json.loads(text)
        )
    except (zlib.error, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise Damaged(f"the stored files can't be unpacked: {type(error).__name__}") from error


def _mine(work: Work) -> ColumnElement[bool]:
    return rulebooks.c.organisation == work.organisation


def _row(row: Row[Any]) -> RulebookRow:
    return RulebookRow(**{name: getattr(row, name) for name in RulebookRow.__slots__})
