"""What is on record as entries of a calendar: visits, holds, what is due to be looked at again, and what runs out."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from uuid import NAMESPACE_URL, uuid5

from api.exchange.out.calendar_text import Entry
from api.service import histories
from api.service.desk import Desk
from api.service.exporting import units_on_record
from api.store import acceptances, calendar_feeds, starts, visits
from api.store.calendar_feeds import Feed
from api.store.database import Work
from api.store.units import UnitRow
from audit.nouns.finding import Clearance
from audit.nouns.history import DueItem, DueState, History
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook

MOST_FEEDS = 200
MOST_LINES = 20
"""Most reasons that an entry lists."""
LOOKS_BACK = timedelta(days=14)
"""How long what has run out stays in the calendar."""
LOOKS_AHEAD = timedelta(days=366)
CAUTION = (
    "Before any work on a machine: engine off, key out, everything stopped, header and feeder house on their safety "
    "stops. The machine's manual, local codes and a qualified technician come first."
)
_SECRET_BYTES = 32


class NotMade(Exception):
    """An address of a calendar can't be made, and why."""


def make_feed(work: Work, name: str, units: Sequence[str], technician: str = "") -> tuple[Feed, str]:
    """A new address with its secret, which is shown only now.

    Args:
        units: the only ones it shows, none for all.   technician: as ``Feed`` has it.

    Raises: NotMade, also where one of this name is live: so a request that is sent twice makes one.
    """
    live = [one for one in calendar_feeds.every(work) if one.revoked is None]
    if len(live) >= MOST_FEEDS:
        raise NotMade(f"there are {MOST_FEEDS} addresses already; revoke one that nobody needs")
    if any(one.name.casefold() == name.casefold() for one in live):
        raise NotMade(f"there is an address for '{name}' already; revoke it, or give another name")
    secret = secrets.token_urlsafe(_SECRET_BYTES)
    feed = Feed(
        work.organisation, f"calendar-{secrets.token_hex(8)}", name, tuple(dict.fromkeys(units)), work.now, work.who,
        technician=technician,
    )  # fmt: skip
    calendar_feeds.add(work, feed, hash_of(secret))
    return feed, secret


def hash_of(secret: str) -> str:
    """What is stored of a secret: 256 random bits can't be guessed, so SHA-256 is enough."""
    return sha256(secret.encode()).hexdigest()


def entries(desk: Desk, work: Work, feed: Feed) -> Iterator[Entry]:
    """What a calendar shows: visits, and what is known of all units that are not retired, or of some."""
    now = datetime.fromtimestamp(work.now, UTC)
    yield from _visits(desk, work, feed, now)
    if not feed.technician:
        for entry in _of_units(desk, work, feed.units):
            # ids of units are those of many organisations, and one calendar may show what several tell
            place = f"{desk.address}/{work.organisation}/{entry.uid}"
            yield replace(entry, uid=str(uuid5(NAMESPACE_URL, place)))


def _of_units(desk: Desk, work: Work, only: Sequence[str]) -> Iterator[Entry]:
    rulebook = desk.in_force.rulebook(work)
    now = datetime.fromtimestamp(work.now, UTC)
    for unit in units_on_record(work, only):
        if unit.retired is None:
            yield from _hold(desk, work, unit, now)
            yield from _due(desk, work, unit, rulebook, now)
            yield from _acceptances(desk, work, unit, rulebook, now)
    for start in starts.good(work):
        if not only or start.unit in only:
            what = f"{start.crop}, {start.header_kind}"
            yield Entry(
                start.id, datetime.fromtimestamp(start.expires, UTC),
                f"{start.unit}: cleared start ends ({what})",
                "From then on the unit needs a new start; ask for one while its setup still holds.",
                f"{desk.address}/harvest-starts/{start.id}", "start ends",
            )  # fmt: skip


def _hold(desk: Desk, work: Work, unit: UnitRow, now: datetime) -> Iterator[Entry]:
    seen = desk.gate.see(work, unit)
    if seen.decision.clearance is Clearance.CLEARED:
        return
    reasons = seen.decision.reasons
    since = unit.created if seen.setup is None else seen.setup.taken
    more = f" and {len(reasons) - 1} more" if len(reasons) > 1 else ""
    lines = [f"- {reason.text}" for reason in reasons[:MOST_LINES]]
    if len(reasons) > MOST_LINES:
        lines.append(f"- and {len(reasons) - MOST_LINES} more")
    yield Entry(
        f"hold-{unit.id}-{seen.setup.id if seen.setup else 'no-setup'}", datetime.fromtimestamp(since, UTC).date(),
        f"{unit.id} is held: {reasons[0].text if reasons else 'not cleared'}{more}", "\n".join(lines),
        f"{desk.address}/units/{unit.id}/clearance", "held", now.date(),
    )  # fmt: skip


def _visits(desk: Desk, work: Work, feed: Feed, now: datetime) -> Iterator[Entry]:
    """Visits from some days back on; one that was cancelled says so, and is left out once its day is long over."""
    for one in visits.every(work, first=(now - LOOKS_BACK).date().isoformat(), cancelled=True):
        theirs = [piece for piece in one.work if not feed.units or piece["unit"] in feed.units]
        if theirs and feed.technician in ("", one.technician):
            several = f"{len(theirs)} units" if len(theirs) > 1 else theirs[0]["unit"]
            lines = [f"- {_work(piece)}" for piece in theirs]
            yield Entry(
                one.id, datetime.fromisoformat(one.arrives), f"{one.technician}: {one.farm}, {several}",
                "\n".join([*lines, CAUTION]), f"{desk.address}/fleet/visits/{one.id}", "visit",
                ends=datetime.fromisoformat(one.leaves), place=one.farm, changes=one.edition - 1,
                changed=datetime.fromtimestamp(one.changed, UTC), cancelled=one.cancelled is not None, busy=True,
            )  # fmt: skip


def _work(piece: visits.Piece) -> str:
    said = [f"{piece['unit']}: {piece['minutes']} min"]
    said += [f"part {piece['part']} of its work"] if piece["part"] > 1 else []
    said += ["two technicians"] if piece["technicians"] > 1 else []
    said += [f"{name}: {', '.join(piece[name])}" for name in ("parts", "tools") if piece[name]]
    return "; ".join(said)


def _due(desk: Desk, work: Work, unit: UnitRow, rulebook: Rulebook, now: datetime) -> Iterator[Entry]:
    """One entry for each day on which something of the unit is to be looked at again."""
    try:
        told = histories.tell(histories.setups_of(work, desk.in_force, unit))
    except BadInput as error:
        yield Entry(
            f"history-{unit.id}", now.date(), f"{unit.id}: what is due is not known",
            f"Its setups contradict each other: {error.problems[0]}", f"{desk.address}/units/{unit.id}", "re-check",
        )  # fmt: skip
        return
    days: dict[date, list[DueItem]] = {}
    for item in told.history.due if told else ():
        day = None if item.state is DueState.CLOSED or told is None else _day(item, told.history, now)
        if day is not None:
            days.setdefault(day, []).append(item)
    for day, items in sorted(days.items()):
        lines = [f"- {_line(item, rulebook)}" for item in items[:MOST_LINES]]
        worst = items[0].state.value
        yield Entry(
            f"due-{unit.id}-{day:%Y%m%d}", day, f"{unit.id}: {len(items)} to look at again ({worst})",
            "\n".join(lines), f"{desk.address}/units/{unit.id}/history", "re-check",
        )  # fmt: skip


def _day(item: DueItem, history: History, now: datetime) -> date | None:
    """When it is due: its date, else by the unit's hours a day; today where it is due by now."""
    today = now.date()
    if item.state in (DueState.DUE, DueState.OVERDUE):
        return today
    if item.due_by is not None:
        return datetime.fromtimestamp(item.due_by, UTC).date()
    if item.due_at is None or history.engine_hours is None or not history.hours_per_day:
        return None
    ahead = timedelta(days=min(max(item.due_at - history.engine_hours, 0.0) / history.hours_per_day, 1000.0))
    return today + ahead if ahead <= LOOKS_AHEAD else None


def _line(item: DueItem, rulebook: Rulebook) -> str:
    on = f" on {item.on}" if item.on else ""
    at = f", due at {item.due_at:g} h" if item.due_at is not None else ""
    return f"after '{rulebook.procedures[item.procedure].title}'{on}: {', '.join(item.take)}{at} ({item.state.value})"


def _acceptances(desk: Desk, work: Work, unit: UnitRow, rulebook: Rulebook, now: datetime) -> Iterator[Entry]:
    for one in acceptances.of_unit(work, unit.id):
        until = datetime.fromtimestamp(one.until, UTC)
        if one.withdrawn is None and until > now - LOOKS_BACK:
            rule = rulebook.rules.get(one.rule)
            title = rule.title if rule else one.rule
            yield Entry(
                one.id, until, f"{unit.id}: acceptance ends: {title}{f' on {one.on}' if one.on else ''}",
                f"Accepted by {one.by}: {one.reason}\nFrom then on the finding holds a start again.",
                f"{desk.address}/units/{unit.id}/acceptances", "acceptance ends",
            )  # fmt: skip
