"""Deliveries: each event once for each webhook that wants it, from waiting to delivered or dead.

Whoever sends takes a lease on the webhook first, so that two never send for it at once. A lease that its holder did not
give back runs out, and the event is sent again: at least once, never lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, and_, exists, func, or_, select, update

from api.store import outbox
from api.store.database import Store, Work
from api.store.event_tables import deliveries, events_out, webhooks
from api.store.outbox import DEAD, DELIVERED, WAITING, Told
from api.store.webhooks import SealedSecret, Webhook, live_secrets, webhook_of

LEASE = 90.0
"""s for which a sender has a webhook to itself: longer than an attempt takes."""
MOST_REPLAYED = 10_000
"""Most events that are sent again at one request."""
_AT_ONCE = 32


class NoSuchDelivery(Exception):
    """The webhook has no such delivery."""


class TooMany(Exception):
    """More events would be sent again than at one request."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One event for one webhook.

    Attributes:
        sequence: 1 for the first of the webhook.   event: the event's id.
        attempts: since it was last asked for.   due: not sent before, tried: sent last, s since 1970.
        status: of the last answer.   why: the last attempt failed, '' if it did not.
    """

    sequence: int
    event: str
    kind: str
    unit: str
    at: float
    state: str
    attempts: int
    due: float
    tried: float | None
    status: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Leased:
    """A delivery that its holder may send now. ``by``: the lease's own name."""

    webhook: Webhook
    sequence: int
    attempts: int
    told: Told
    secrets: list[SealedSecret]
    by: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one attempt.

    Attributes:
        status: of the answer, None for none.   why: it failed, '' for delivered.
        again: when to send it again, s since 1970; None for never.
        waits_until: nothing is sent to the webhook before, s since 1970.
        disable: why nothing is to be sent any more, '' for going on.
    """

    status: int | None
    why: str
    again: float | None = None
    waits_until: float = 0.0
    disable: str = ""


def lease(store: Store, by: str, now: float) -> Leased | None:
    """The first delivery that is due of some webhook that nobody sends to; None where nothing is due."""
    with store.connection() as connection:
        free = connection.execute(
            select(webhooks.c.organisation, webhooks.c.id)
            .where(_free(now), exists(select(deliveries.c.sequence).where(_of_webhook(), *_due(now))))
            .order_by(webhooks.c.waits_until, webhooks.c.organisation, webhooks.c.id)
            .limit(_AT_ONCE)
        ).all()
    for organisation, id in free:
        found = _take(store, organisation, id, by, now)
        if found is not None:
            return found
    return None


def settle(store: Store, leased: Leased, outcome: Outcome, now: float) -> bool:
    """Notes what came of an attempt and gives the lease back; False if the lease had run out meanwhile.

    An event that was delivered counts as delivered all the same; a failure of a lease that ran out is another's.
    """
    webhook, delivered = leased.webhook, not outcome.why
    hook = and_(webhooks.c.organisation == webhook.organisation, webhooks.c.id == webhook.id)
    line = (
        deliveries.c.organisation == webhook.organisation, deliveries.c.webhook == webhook.id,
        deliveries.c.sequence == leased.sequence,
    )  # fmt: skip
    values: dict[str, Any] = {"leased_until": None, "leased_by": "", "waits_until": outcome.waits_until}
    if delivered:
        values |= {"failures": 0, "failing_since": None}
    else:
        values |= {"failures": webhook.failures + 1, "failing_since": func.coalesce(webhooks.c.failing_since, now)}
    if outcome.disable:
        values |= {"disabled": now, "disabled_why": outcome.disable}
    with store.connection(writes=True) as connection:
        ours = connection.execute(update(webhooks).where(hook, webhooks.c.leased_by == leased.by).values(**values))
        if not ours.rowcount and not delivered:
            return False
        state = DELIVERED if delivered else DEAD if outcome.again is None else WAITING
        connection.execute(
            update(deliveries)
            .where(*line)
            .values(
                state=state, attempts=leased.attempts + 1, due=outcome.again or 0.0, tried=now, status=outcome.status,
                why=outcome.why,
            )
        )  # fmt: skip
    return ours.rowcount == 1


def page(work: Work, webhook: str, before: int | None, most: int, state: str = "") -> list[Delivery]:
    """Deliveries of a webhook, the last first, from below ``before``."""
    wanted = _all(work, webhook)
    if before is not None:
        wanted = wanted.where(deliveries.c.sequence < before)
    if state:
        wanted = wanted.where(deliveries.c.state == state)
    return [
        _delivery(row) for row in work.connection.execute(wanted.order_by(deliveries.c.sequence.desc()).limit(most))
    ]


def replay_one(work: Work, webhook: str, sequence: int) -> int:
    """Sends one again. Raises NoSuchDelivery."""
    if not _again(work, webhook, deliveries.c.sequence == sequence):
        raise NoSuchDelivery(str(sequence))
    return 1


def replay_dead(work: Work, webhook: str) -> int:
    """Sends all that are dead again; how many."""
    return _again(work, webhook, deliveries.c.state == DEAD)


def replay_since(work: Work, webhook: Webhook, since: float) -> int:
    """Sends all that happened since a time, also before there was the webhook; how many. Raises TooMany."""
    found = [
        one
        for one in outbox.page(work, 0, MOST_REPLAYED + 1, webhook.kinds, since=since)
        if outbox.wants(webhook.kinds, webhook.units, one.kind, one.unit)
    ]
    if len(found) > MOST_REPLAYED:
        raise TooMany
    sent = set(
        work.connection.scalars(
            select(deliveries.c.event).where(
                deliveries.c.organisation == work.organisation, deliveries.c.webhook == webhook.id
            )
        )
    )
    for one in found:
        if one.number in sent:
            _again(work, webhook.id, deliveries.c.event == one.number)
        else:
            outbox.deliver(work, webhook.id, [one.number])
    return len(found)


def _take(store: Store, organisation: str, id: str, by: str, now: float) -> Leased | None:
    """The lease on a webhook with the first delivery that is due, None where somebody was quicker."""
    hook = (webhooks.c.organisation == organisation, webhooks.c.id == id)
    with store.connection(writes=True) as connection:
        taken = connection.execute(
            update(webhooks).where(*hook, _free(now)).values(leased_until=now + LEASE, leased_by=by)
        )
        if not taken.rowcount:
            return None
        row = connection.execute(select(webhooks).where(*hook)).one()
        first = connection.execute(
            select(deliveries.c.sequence, deliveries.c.attempts, events_out)
            .join(events_out, _of_event())
            .where(deliveries.c.organisation == organisation, deliveries.c.webhook == id, *_due(now))
            .order_by(deliveries.c.sequence)
            .limit(1)
        ).one_or_none()
        if first is None:
            connection.execute(update(webhooks).where(*hook).values(leased_until=None, leased_by=""))
            return None
        secrets = live_secrets(connection, organisation, id, now)
        return Leased(webhook_of(row), first.sequence, first.attempts, outbox.told(first), secrets, by)


def _again(work: Work, webhook: str, *which: Any) -> int:
    own = (deliveries.c.organisation == work.organisation, deliveries.c.webhook == webhook)
    found = work.connection.execute(
        update(deliveries).where(*own, *which).values(state=WAITING, attempts=0, due=0.0, why="")
    )
    return found.rowcount


def _free(now: float) -> Any:
    return and_(
        webhooks.c.ended.is_(None),
        webhooks.c.disabled.is_(None),
        webhooks.c.waits_until <= now,
        or_(webhooks.c.leased_until.is_(None), webhooks.c.leased_until <= now),
    )


def _due(now: float) -> tuple[Any, ...]:
    return deliveries.c.state == WAITING, deliveries.c.due <= now


def _of_webhook() -> Any:
    return and_(deliveries.c.organisation == webhooks.c.organisation, deliveries.c.webhook == webhooks.c.id)


def _of_event() -> Any:
    return and_(events_out.c.organisation == deliveries.c.organisation, events_out.c.number == deliveries.c.event)


def _all(work: Work, webhook: str) -> Select[Any]:
    return (
        select(deliveries, events_out.c.id, events_out.c.kind, events_out.c.unit, events_out.c.at)
        .join(events_out, _of_event())
        .where(deliveries.c.organisation == work.organisation, deliveries.c.webhook == webhook)
    )


def _delivery(row: Row[Any]) -> Delivery:
    return Delivery(
        row.sequence, row.id, row.kind, row.unit, row.at, row.state, row.attempts, row.due, row.tried, row.status,
        row.why,
    )  # fmt: skip
