"""Webhooks: addresses that are told of events, and the sealed secrets that what they are sent is signed with."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, Row, func, insert, or_, select, update

from api.store import events
from api.store.database import Work
from api.store.event_tables import deliveries, webhook_secrets, webhooks
from api.store.outbox import WAITING


class NoSuchWebhook(Exception):
    """The organisation has no webhook of this id."""


class NameTaken(Exception):
    """The organisation has, or had, a webhook of this name."""


@dataclass(frozen=True, slots=True)
class Webhook:
    """A webhook without its secrets.

    Attributes:
        kinds: kinds of events it is told; empty for all.   units: units it is told of; empty for all.
        edition: counts changes by its owner.
        ended, disabled, failing_since, waits_until: s since 1970.   disabled_why: '' while it is not.
        failures: in a row.
    """

    organisation: str
    id: str
    name: str
    address: str
    kinds: tuple[str, ...]
    units: tuple[str, ...]
    edition: int
    created: float
    created_by: str
    ended: float | None = None
    disabled: float | None = None
    disabled_why: str = ""
    failing_since: float | None = None
    failures: int = 0
    waits_until: float = 0.0


@dataclass(frozen=True, slots=True)
class SealedSecret:
    """What signs, sealed. ``public`` checks the second of its signatures; ``ends``: s since 1970."""

    number: int
    sealed: bytes
    public: str
    created: float
    ends: float | None


def add(work: Work, webhook: Webhook) -> None:
    """Puts a webhook on record. Raises NameTaken: a name is given once, so that a request sent twice makes one."""
    folded = webhook.name.casefold()
    taken = select(webhooks.c.name).where(webhooks.c.organisation == work.organisation)
    if any(name.casefold() == folded for name in work.connection.scalars(taken)):
        raise NameTaken(webhook.name)
    work.connection.execute(
        insert(webhooks).values(
            organisation=work.organisation, id=webhook.id, name=webhook.name, **_split(webhook.address),
            kinds=json.dumps(webhook.kinds), units=json.dumps(webhook.units), edition=webhook.edition,
            created=webhook.created, created_by=webhook.created_by, disabled_why="", failures=0, waits_until=0.0,
            leased_by="",
        )
    )  # fmt: skip
    events.append(work, "webhook.made", f"webhook/{webhook.id}", _content(webhook))


def change(work: Work, id: str, address: str, kinds: Sequence[str], units: Sequence[str], enabled: bool) -> Webhook:
    """Changes what is sent where; one that was disabled starts afresh with all that waits. Raises NoSuchWebhook."""
    before = one(work, id)
    after = replace(
        before, address=address, kinds=tuple(kinds), units=tuple(units), edition=before.edition + 1,
        disabled=None if enabled else before.disabled or work.now,
        disabled_why="" if enabled else before.disabled_why or "its owner disabled it",
    )  # fmt: skip
    values: dict[str, Any] = {
        **_split(address), "kinds": json.dumps(after.kinds), "units": json.dumps(after.units),
        "edition": after.edition, "disabled": after.disabled, "disabled_why": after.disabled_why,
    }  # fmt: skip
    if enabled:
        values |= {"failing_since": None, "failures": 0, "waits_until": 0.0}
        own = (deliveries.c.organisation == work.organisation, deliveries.c.webhook == id)
        work.connection.execute(update(deliveries).where(*own, deliveries.c.state == WAITING).values(due=0.0))
    work.connection.execute(update(webhooks).where(*_key(work, id)).values(**values))
    events.append(work, "webhook.changed", f"webhook/{id}", {**_content(after), "enabled": enabled})
    return one(work, id)


def end(work: Work, id: str) -> Webhook:
    """Sends nothing more, for ever; what was sent stays on record. Raises NoSuchWebhook."""
    one(work, id)
    work.connection.execute(update(webhooks).where(*_key(work, id)).values(ended=work.now))
    events.append(work, "webhook.ended", f"webhook/{id}", {})
    row = work.connection.execute(select(webhooks).where(*_key(work, id))).one()
    return webhook_of(row)


def one(work: Work, id: str) -> Webhook:
    """One webhook that has not ended. Raises NoSuchWebhook."""
    wanted = select(webhooks).where(*_key(work, id), webhooks.c.ended.is_(None))
    row = work.connection.execute(wanted).one_or_none()
    if row is None:
        raise NoSuchWebhook(id)
    return webhook_of(row)


def every(work: Work) -> list[Webhook]:
    """The webhooks that have not ended, oldest first."""
    wanted = select(webhooks).where(webhooks.c.organisation == work.organisation, webhooks.c.ended.is_(None))
    return [webhook_of(row) for row in work.connection.execute(wanted.order_by(webhooks.c.created, webhooks.c.id))]


def waiting(work: Work) -> dict[str, dict[str, int]]:
    """How many deliveries there are, by webhook and state."""
    wanted = (
        select(deliveries.c.webhook, deliveries.c.state, func.count())
        .where(deliveries.c.organisation == work.organisation)
        .group_by(deliveries.c.webhook, deliveries.c.state)
    )
    found: dict[str, dict[str, int]] = {}
    for webhook, state, count in work.connection.execute(wanted):
        found.setdefault(webhook, {})[state] = count
    return found


def add_secret(work: Work, id: str, sealed: bytes, public: str, overlap: float) -> SealedSecret:
    """Lets a new secret sign; those before it end after ``overlap`` s, or when they would have ended anyway."""
    own = (webhook_secrets.c.organisation == work.organisation, webhook_secrets.c.webhook == id)
    last = work.connection.scalar(select(func.max(webhook_secrets.c.number)).where(*own)) or 0
    until = work.now + overlap
    for one in live_secrets(work.connection, work.organisation, id, work.now):
        ends = until if one.ends is None else min(one.ends, until)
        where = (*own, webhook_secrets.c.number == one.number)
        work.connection.execute(update(webhook_secrets).where(*where).values(ends=ends))
    made = SealedSecret(last + 1, sealed, public, work.now, None)
    work.connection.execute(
        insert(webhook_secrets).values(
            organisation=work.organisation, webhook=id, number=made.number, sealed=sealed, public=public,
            created=made.created,
        )
    )  # fmt: skip
    events.append(work, "webhook.secret-made", f"webhook/{id}", {"number": made.number, "public": public})
    return made


def live_secrets(connection: Connection, organisation: str, id: str, now: float) -> list[SealedSecret]:
    """The secrets that sign now, the newest first."""
    wanted = select(webhook_secrets).where(
        webhook_secrets.c.organisation == organisation,
        webhook_secrets.c.webhook == id,
        or_(webhook_secrets.c.ends.is_(None), webhook_secrets.c.ends > now),
    )
    rows = connection.execute(wanted.order_by(webhook_secrets.c.number.desc()))
    return [SealedSecret(row.number, row.sealed, row.public, row.created, row.ends) for row in rows]


def webhook_of(row: Row[Any]) -> Webhook:
    """The webhook of a row of its table."""
    values = {name: getattr(row, name) for name in Webhook.__slots__}
    values["address"] = f"{row.address}?{row.query}" if row.query else row.address
    return Webhook(**{**values, "kinds": tuple(json.loads(row.kinds)), "units": tuple(json.loads(row.units))})


def _key(work: Work, id: str) -> tuple[Any, ...]:
    return webhooks.c.organisation == work.organisation, webhooks.c.id == id


def _split(address: str) -> dict[str, str]:
    address, _, query = address.partition("?")
    return {"address": address, "query": query}


def _content(webhook: Webhook) -> dict[str, Any]:
    """What the record says of a webhook."""
    return {
        "name": webhook.name, "address": _split(webhook.address)["address"], "kinds": list(webhook.kinds),
        "units": list(webhook.units),
    }  # fmt: skip
