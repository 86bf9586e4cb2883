"""Answers to requests that carried an Idempotency-Key, so that a request sent again is answered and not done again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import delete, insert, select

from api.store.database import Work
from api.store.tables import replies

KEPT = 24 * 3600.0
"""How long an answer is kept, s."""


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer as it was sent; ``fingerprint`` is SHA-256 of method, path, query and body of its request."""

    fingerprint: str
    status: int
    headers: Mapping[str, str]
    body: bytes


def find(work: Work, caller: str, key: str) -> Reply | None:
    """The answer that was given to a key, None if it is new or too old."""
    row = work.connection.execute(
        select(replies).where(
            replies.c.organisation == work.organisation,
            replies.c.caller == caller,
            replies.c.key == key,
            replies.c.at > work.now - KEPT,
        )
    ).one_or_none()
    return None if row is None else Reply(row.fingerprint, row.status, json.loads(row.headers), row.body)


def keep(work: Work, caller: str, key: str, reply: Reply) -> None:
    """Keeps an answer, in the transaction of what it answers; answers that are too old are dropped."""
    own = (replies.c.organisation == work.organisation, replies.c.at <= work.now - KEPT)
    work.connection.execute(delete(replies).where(*own))
    work.connection.execute(
        insert(replies).values(
            organisation=work.organisation, caller=caller, key=key, fingerprint=reply.fingerprint,
            status=reply.status, headers=json.dumps(dict(reply.headers)), body=reply.body, at=work.now,
        )
    )  # fmt: skip
