"""Events for other systems. Each is written in the transaction of what it tells, with a delivery for whoever wants it.

So there is an event if and only if the thing happened, however the server ends meanwhile.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import rfc8785
from sqlalchemy import Row, Select, func, insert, select

from api.store.event_kinds import KINDS
from api.store.event_tables import deliveries, events_out, webhooks

if TYPE_CHECKING:
    from api.store.database import Work

WAITING, DELIVERED, DEAD = "waiting", "delivered", "dead"
_OF_SUBJECT = {
    "setup": "setup", "start": "start", "acceptance": "acceptance", "unit": "unit", "fleet-audit": "fleet_audit",
    "work-request": "work_request", "visit": "visit",
}  # fmt: skip
"""Subjects of the record that an event tells as a field."""


@dataclass(frozen=True, slots=True)
class Told:
    """One event for other systems.

    Attributes:
        kind: name of its kind.   subject: ``unit/unit-07`` and the like.   unit: '' for what is of no unit.
        at: s since 1970.   content: the fields of its kind.
        record: number of the event of the record that it tells of, None where the record has none.
    """

    organisation: str
    number: int
    id: str
    kind: str
    subject: str
    unit: str
    at: float
    content: Mapping[str, Any]
    record: int | None


@dataclass(frozen=True, slots=True)
class Telling:
    """What an event for other systems is to say, before it has its number."""

    kind: str
    subject: str
    content: Mapping[str, Any]
    record: int | None = None


def put(work: Work, some: Sequence[Telling]) -> None:
    """Writes events for whoever wants them; nothing happens for a kind that nobody is told of."""
    some = [one for one in some if one.kind in KINDS]
    if not some:
        return
    rows = [_row(work, number, one) for number, one in enumerate(some, 1 + _last(work))]
    work.connection.execute(insert(events_out), rows)
    for hook in work.connection.execute(
        select(webhooks.c.id, webhooks.c.kinds, webhooks.c.units)
        .where(webhooks.c.organisation == work.organisation, webhooks.c.ended.is_(None))
        .order_by(webhooks.c.id)
    ).all():
        kinds, of = json.loads(hook.kinds), json.loads(hook.units)
        deliver(work, hook.id, [row["number"] for row in rows if wants(kinds, of, row["kind"], row["unit"])])


def _row(work: Work, number: int, one: Telling) -> dict[str, Any]:
    said = dict(one.content)
    word, _, id = one.subject.partition("/")
    if word in _OF_SUBJECT:
        said.setdefault(_OF_SUBJECT[word], id)
    return {
        "organisation": work.organisation, "number": number, "id": f"event-{secrets.token_hex(12)}", "kind": one.kind,
        "subject": one.subject, "unit": str(said.get("unit") or ""), "at": work.now,
        "content": rfc8785.dumps(KINDS[one.kind].told(said)).decode(), "record": one.record,
    }  # fmt: skip


def wants(kinds: Collection[str], units: Collection[str], kind: str, unit: str) -> bool:
    """Whether somebody with this filter is told; what is of no unit goes to those who did not name units."""
    return (not kinds or kind in kinds) and (not units or unit in units)


def deliver(work: Work, webhook: str, numbers: Sequence[int]) -> None:
    """Puts events in the line of a webhook, to be sent at once."""
    if not numbers:
        return
    of = (deliveries.c.organisation == work.organisation, deliveries.c.webhook == webhook)
    last = work.connection.scalar(select(func.max(deliveries.c.sequence)).where(*of)) or 0
    rows = [
        {
            "organisation": work.organisation, "webhook": webhook, "sequence": sequence, "event": event,
            "state": WAITING, "attempts": 0, "due": 0.0, "why": "",
        }
        for sequence, event in enumerate(numbers, last + 1)
    ]  # fmt: skip
    work.connection.execute(insert(deliveries), rows)


def find(work: Work, id: str) -> Told | None:
    """An event by its id, None if there is none."""
    row = work.connection.execute(_all(work).where(events_out.c.id == id)).one_or_none()
    return None if row is None else told(row)


def page(
    work: Work, after: int, most: int, kinds: Collection[str] = (), units: Collection[str] = (), since: float = 0.0
) -> list[Told]:
    """Events in order, from the one after ``after``; of these kinds and units only, if any are given."""
    wanted = _all(work).where(events_out.c.number > after)
    if kinds:
        wanted = wanted.where(events_out.c.kind.in_(kinds))
    if units:
        wanted = wanted.where(events_out.c.unit.in_(units))
    if since:
        wanted = wanted.where(events_out.c.at >= since)
    return [told(row) for row in work.connection.execute(wanted.order_by(events_out.c.number).limit(most))]


def newest_of_each_unit(work: Work, kind: str) -> Iterator[Told]:
    """The newest event of a kind of every unit, in order of the units."""
    newest = (
        select(func.max(events_out.c.number))
        .where(events_out.c.organisation == work.organisation, events_out.c.kind == kind)
        .group_by(events_out.c.unit)
    )
    for row in work.connection.execute(_all(work).where(events_out.c.number.in_(newest)).order_by(events_out.c.unit)):
        yield told(row)


def told(row: Row[Any]) -> Told:
    """The event of a row of its table."""
    return Told(
        row.organisation, row.number, row.id, row.kind, row.subject, row.unit, row.at, json.loads(row.content),
        row.record,
    )  # fmt: skip


def _last(work: Work) -> int:
    wanted = select(func.max(events_out.c.number)).where(events_out.c.organisation == work.organisation)
    return work.connection.scalar(wanted) or 0


def _all(work: Work) -> Select[Any]:
    return select(events_out).where(events_out.c.organisation == work.organisation)
