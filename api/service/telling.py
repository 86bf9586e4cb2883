"""Telling other systems: sends what is due to webhooks, and decides what comes of an attempt.

Source of the answers' meaning and of the waits between attempts: Standard Webhooks 1.0.0, spec/standard-webhooks.md,
"Webhook delivery": 2xx is a success, any redirect a failure, 410 ends it, 429 and 503 may say how long to wait.
"""

from __future__ import annotations

import json
import random
import secrets
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC
from email.utils import parsedate_to_datetime
from threading import Event
from typing import Any

from sqlalchemy import Select, exists, literal, select

from api.certificates.keys import WrongSecret
from api.exchange.addresses import Network, NotReached, Resolve, Unsafe, ask, looked_at
from api.exchange.out.cloud_events import MEDIA, cloud_event
from api.exchange.out.signing import headers, unseal
from api.service.accepting import content_of
from api.service.desk import Desk
from api.store import acceptances as accepted
from api.store import deliveries, organisations, outbox
from api.store.database import Store
from api.store.deliveries import Leased, Outcome
from api.store.event_tables import events_out
from api.store.tables import acceptances

WAITS = (5.0, 300.0, 1800.0, 7200.0, 18000.0, 36000.0, 50400.0, 72000.0, 86400.0)
"""s between the attempts to send one event, each with jitter; after the attempt that follows the last it is dead."""
REST = 300.0
"""Longest that a webhook rests after a failure before its next event is tried, s; what fails at once waits 5 s."""
JITTER = 0.2
"""Share by which a wait is lengthened or shortened by chance, so that many do not come back at once."""
PATIENCE = 15.0
"""s for one attempt."""
MOST_ANSWERED = 64 * 1024
"""Most bytes of an answer; nothing of it is used."""
LONGEST_WISH = 86400.0
"""Longest wait that an answer may ask for, s."""
FAILING = 5 * 86400.0
"""s of nothing but failures after which a webhook is disabled."""
AT_ONCE = 4
"""Webhooks that are sent to at once, so that a slow one does not keep the others waiting."""
CLOCK = "clock"
"""Who writes what happens because of the time alone."""


@dataclass(frozen=True, slots=True)
class Teller:
    """All that sending needs.

    Attributes:
        secret: opens the secrets of webhooks.   address: where people reach this server.
        networks: networks of one's own that may be asked.   clock: s since 1970.
        resolve: as ``socket.getaddrinfo``.   jitter: a number from -1 to 1.
    """

    store: Store
    secret: bytes
    address: str
    networks: tuple[Network, ...]
    clock: Callable[[], float]
    resolve: Resolve | None = None
    jitter: Callable[[], float] = lambda: random.uniform(-1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Sent:
    """What came of one pass."""

    delivered: int = 0
    failed: int = 0
    dead: int = 0
    disabled: int = 0

    def __add__(self, other: Sent) -> Sent:
        return Sent(
            self.delivered + other.delivered, self.failed + other.failed, self.dead + other.dead,
            self.disabled + other.disabled,
        )  # fmt: skip


def teller_of(desk: Desk) -> Teller:
    """What sends for a server."""
    return Teller(desk.store, desk.secret, desk.address, desk.networks, desk.clock)


def send_due(teller: Teller, stop: Event | None = None) -> Sent:
    """Sends all that is due until nothing is, or until told to stop. Raises StoreUnavailable.

    Any number of processes may do so at once.
    """
    stopped = stop or Event()

    def work() -> Sent:
        total = Sent()
        while not stopped.is_set():
            leased = deliveries.lease(teller.store, secrets.token_hex(8), teller.clock())
            if leased is None:
                break
            total += _send(teller, leased)
        return total

    with ThreadPoolExecutor(AT_ONCE, "sender") as pool:
        return sum((one.result() for one in [pool.submit(work) for _ in range(AT_ONCE)]), Sent())


def note_expired(teller: Teller) -> int:
    """Writes the events of acceptances whose time is over; how many. Raises StoreUnavailable."""
    now, count = teller.clock(), 0
    with teller.store.connection() as connection:
        ids = organisations.ids(connection)
        lapsed = {id: connection.execute(_lapsed(id, now)).all() for id in ids}
    for id in [id for id in ids if lapsed[id]]:
        with teller.store.writing(id, CLOCK, now) as work:
            for row in work.connection.execute(_lapsed(id, now)).all():  # another process may have been quicker
                one = accepted.find(work, row.unit, row.id)
                if one is not None:
                    content = {**content_of(one, row.unit), "setup": row.setup}
                    outbox.put(work, [outbox.Telling("acceptance.expired", f"acceptance/{one.id}", content)])
                    count += 1
    return count


def outcome_of(teller: Teller, leased: Leased, status: int | None, said: Mapping[str, str], why: str) -> Outcome:
    """What comes of an attempt.

    Args:
        status: of the answer, None for none.   said: its headers.   why: there was no answer, '' where there was.
    """
    if status is not None and 200 <= status < 300:
        return Outcome(status, "")
    now, webhook = teller.clock(), leased.webhook
    if status is not None:
        why = f"it answered {status}"
        if 300 <= status < 400:
            why += ", and no redirect is followed: change the webhook's address"
    wish = _wish(said, now)
    rest = now + max(_jittered(teller, min(WAITS[0] * 2.0**webhook.failures, REST)), wish)
    if status == 410:
        return Outcome(status, why, now, rest, "its receiver answered 410: gone")
    disable = ""
    if webhook.failing_since is not None and now - webhook.failing_since >= FAILING:
        disable = f"it has only failed for {FAILING / 86400:g} days; the last time {why}"
    if leased.attempts >= len(WAITS):
        return Outcome(status, why, None, rest, disable)
    again = now + max(_jittered(teller, WAITS[leased.attempts]), wish)
    return Outcome(status, why, again, rest, disable)


def _send(teller: Teller, leased: Leased) -> Sent:
    """One attempt, and what came of it put on record."""
    status: int | None = None
    said: Mapping[str, str] = {}
    why = ""
    try:
        status, said = _ask(teller, leased)
    except (Unsafe, NotReached, WrongSecret) as error:
        why = str(error)
    outcome = outcome_of(teller, leased, status, said, why)
    ours = deliveries.settle(teller.store, leased, outcome, teller.clock())
    if not outcome.why:
        return Sent(delivered=1)
    if not ours:
        return Sent()
    return Sent(failed=1, dead=int(outcome.again is None), disabled=int(bool(outcome.disable)))


def _ask(teller: Teller, leased: Leased) -> tuple[int, Mapping[str, str]]:
    """Raises Unsafe, NotReached, WrongSecret."""
    told, webhook = leased.told, leased.webhook
    body = json.dumps(cloud_event(told, teller.address, leased.sequence), ensure_ascii=False).encode()
    opened = [unseal(one.sealed, f"{webhook.organisation}/{webhook.id}", teller.secret) for one in leased.secrets]
    signed = headers(told.id, int(teller.clock()), body, opened)
    address = looked_at(webhook.address, teller.networks, teller.resolve)
    sent = {**signed, "Content-Type": MEDIA, "User-Agent": "setup-audit"}
    reply = ask(address, "POST", sent, body, PATIENCE, MOST_ANSWERED)
    return reply.status, reply.headers


def _wish(said: Mapping[str, str], now: float) -> float:
    """How long an answer asks to wait, s: Retry-After of RFC 9110, 10.2.3, in seconds or as a date.

    A date is counted from the answer's own Date, where it has one, as its clock may not be ours.
    """
    text = said.get("retry-after", "").strip()
    if text.isascii() and text.isdecimal():
        return min(float(text), LONGEST_WISH)
    until = _http_date(text)
    if until is None:
        return 0.0
    since = _http_date(said.get("date", ""))
    return min(max(until - (now if since is None else since), 0.0), LONGEST_WISH)


def _http_date(text: str) -> float | None:
    """A date of any of the three forms of RFC 9110, 5.6.7, as s since 1970; None for what is none."""
    try:
        found = parsedate_to_datetime(text)
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp()
    except (ValueError, TypeError, IndexError, OverflowError):
        return None


def _jittered(teller: Teller, seconds: float) -> float:
    return seconds * (1.0 + JITTER * teller.jitter())


def _lapsed(organisation: str, now: float) -> Select[Any]:
    told = exists(
        select(events_out.c.number).where(
            events_out.c.organisation == organisation,
            events_out.c.kind == "acceptance.expired",
            events_out.c.subject == literal("acceptance/") + acceptances.c.id,
        )
    )
    return select(acceptances.c.id, acceptances.c.unit, acceptances.c.setup).where(
        acceptances.c.organisation == organisation,
        acceptances.c.withdrawn.is_(None),
        acceptances.c.until <= now,
        ~told,
    )
