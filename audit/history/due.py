"""What is due to be taken again after work: as rules of the procedures say, counted in engine hours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from audit.history.timeline import Timeline
from audit.history.works import full_name
from audit.measures import show
from audit.nouns.history import Doing, DueItem, DueState
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import Recheck
from audit.nouns.rulebook import Rulebook

_DAY, _HOUR = 86400.0, 3600.0


@dataclass(frozen=True, slots=True)
class Present:
    """Now. ``engine_hours``: as the caller knows them, None for not known."""

    at: float
    engine_hours: float | None


def due_items(
    rulebook: Rulebook, card: MachineCard, names: Mapping[str, Quantity], timeline: Timeline,
    doings: Sequence[Doing], now: Present,
) -> tuple[DueItem, ...]:  # fmt: skip
    """The re-checks that the newest doing of each procedure on each component calls for, overdue first."""
    newest = {(doing.procedure, doing.on): doing for doing in doings if doing.procedure}
    found: list[DueItem] = []
    for (key, on), doing in newest.items():
        for recheck in rulebook.procedures[key].rechecks:
            full = [full_name(name, on, card, names) for name in (*recheck.take, *recheck.instead)]
            take = tuple(name for name in full[: len(recheck.take)] if name)
            instead = tuple(name for name in full[len(recheck.take) :] if name)
            if take or instead:
                found.append(_Judge(recheck, take, instead, doing, names, timeline, now).item())
    order = list(DueState)
    return tuple(sorted(found, key=lambda item: (order.index(item.state), item.procedure, item.on, item.take)))


class _Judge:
    def __init__(
        self, recheck: Recheck, take: tuple[str, ...], instead: tuple[str, ...], doing: Doing,
        names: Mapping[str, Quantity], timeline: Timeline, now: Present,
    ) -> None:  # fmt: skip
        self.recheck, self.take, self.instead, self.doing = recheck, take, instead, doing
        self.names, self.timeline, self.now = names, timeline, now

    def item(self) -> DueItem:
        start, recheck = self.doing.hours_low, self.recheck
        due_at, overdue_at = (None, None) if start is None else (start + recheck.after, start + recheck.by)
        due_by = self.due_by()
        closed = next(self.closing(), None)
        if closed is not None:
            state, why = DueState.CLOSED, "taken again since"
        else:
            state, why = self.state(due_at, overdue_at, due_by)
        return DueItem(
            self.doing.procedure, self.doing.on, self.doing, self.take, self.instead, recheck.because, recheck.basis,
            due_at, overdue_at, due_by, state, why, closed,
        )  # fmt: skip

    def due_by(self) -> float | None:
        """The date by which it is due: from the work, or from the last setup before it where its time is not known."""
        if self.recheck.days is None:
            return None
        start = self.doing.at
        if start is None:
            start = self.timeline.at[self.doing.after] if self.doing.after >= 0 else None
        return None if start is None else start + self.recheck.days * _DAY

    def closing(self) -> Iterator[int]:
        """Places of the setups that show it done: taken once the machine had run for long enough after the work."""
        latest = self.doing.hours_high
        for place in range(self.doing.before, len(self.timeline)):
            values, hours = self.timeline.values[place], self.timeline.hours[place]
            ran = hours is not None and latest is not None and hours >= latest + self.recheck.after
            taken = ran and bool(self.take) and all(_taken(values.get(name)) for name in self.take)
            if taken or any(self.shows(name, values.get(name), ran) for name in self.instead):
                yield place

    def shows(self, name: str, value: Value | Sided, ran: bool) -> bool:
        """Whether a reading, a statement or an event shows that it was done, though another one was to be taken.

        An event that a rule names here says by itself that something was checked again after running; it need only
        be late enough for the machine to have run.
        """
        if self.names[name].role is Role.EVENT:
            start, before = self.doing.at, self.doing.before
            if start is None:
                start = self.timeline.at[before] if before < len(self.timeline) else None
            return start is not None and isinstance(value, float) and value >= start + self.recheck.after * _HOUR
        if self.names[name].form is Form.YES_NO:
            return ran and value is True
        return ran and _taken(value)

    def state(self, due_at: float | None, overdue_at: float | None, due_by: float | None) -> tuple[DueState, str]:
        """How an open one stands. What is not known never counts as not due."""
        known, _ = self.timeline.last_hours()
        if self.now.engine_hours is not None:
            known = max(self.now.engine_hours, known or 0.0)
        if due_by is not None and self.now.at >= due_by:
            return DueState.OVERDUE, "its date has passed"
        if due_at is None or overdue_at is None:
            return DueState.DUE, "the engine hours at which the work was done are not known"
        if known is None:
            return DueState.DUE, "the engine hours now are not known"
        if known >= overdue_at:
            return DueState.OVERDUE, f"{show(known - due_at + self.recheck.after, 'h')} run since the work"
        if known >= due_at:
            return DueState.DUE, f"{show(known - due_at + self.recheck.after, 'h')} run since the work"
        if self.now.engine_hours is None:
            most = self.most_hours()
            if most is None or most >= due_at:
                return DueState.DUE, "it may have run long enough since its engine hours were last read"
        return DueState.WAITING, f"{show(due_at - known, 'h')} still to run"

    def most_hours(self) -> float | None:
        """The most engine hours it can have now, every hour since they were read counted; None for not known."""
        timeline = self.timeline
        most = [
            hours + max(0.0, self.now.at - at) / _HOUR
            for hours, at in zip(timeline.hours, timeline.at, strict=True)
            if hours is not None and at is not None
        ]
        return min(most, default=None)


def _taken(value: Value | Sided) -> bool:
    return None not in value if isinstance(value, tuple) else value is not None
