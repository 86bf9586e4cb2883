"""What was done to a unit between its setups: by events on record, counted hours and settings that moved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from audit.history.timeline import Timeline
from audit.history.works import Work, Works
from audit.nouns.history import Doing, Shown

SLACK_HOURS = 1.0
"""Counted hours and engine hours are written down to the hour; a part no younger than that is no other part."""


def find_doings(works: Works, timeline: Timeline) -> tuple[Doing, ...]:
    """Everything that is on record as done, in order; what is shown in more than one way is told once.

    An event that several procedures record tells that one of them was done, so its ``procedure`` is ''.
    """
    found = [*_by_event(works, timeline), *_by_counter(works, timeline), *_by_setting(works, timeline)]
    return in_order(found)


def in_order(doings: Iterable[Doing]) -> tuple[Doing, ...]:
    """In order of place, then time; the same work shown in another way, at a place that overlaps, is joined."""
    order = list(Shown)
    kept: list[Doing] = []
    for doing in sorted(doings, key=lambda d: (order.index(d.shown), d.before, d.at or 0.0, d.procedure, d.on, d.by)):
        same = next((other for other in kept if _same(other, doing)), None)
        if same is None:
            kept.append(doing)
        else:
            kept[kept.index(same)] = _joined(same, doing)
    return tuple(sorted(kept, key=lambda d: (d.before, d.after, d.at or 0.0, d.procedure, d.on, d.by)))


def _same(one: Doing, other: Doing) -> bool:
    alike = bool(one.procedure) and (one.procedure, one.on) == (other.procedure, other.on)
    return alike and one.by != other.by and max(one.after, other.after) < min(one.before, other.before)


def _joined(one: Doing, other: Doing) -> Doing:
    """The stronger of two showings, with the narrower of their bounds where the bounds agree."""
    found = replace(one, after=max(one.after, other.after), before=min(one.before, other.before))
    lows = [hours for hours in (one.hours_low, other.hours_low) if hours is not None]
    highs = [hours for hours in (one.hours_high, other.hours_high) if hours is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    if low is not None and high is not None and low > high:
        return found
    return replace(found, hours_low=low, hours_high=high)


def _by_event(works: Works, timeline: Timeline) -> Iterator[Doing]:
    seen: set[tuple[str, float]] = set()
    for place, values in enumerate(timeline.values):
        for event, recorders in works.recorders.items():
            at = values.get(event)
            if not isinstance(at, float) or (event, at) in seen:
                continue
            seen.add((event, at))
            after, before = _around(timeline, at, place)
            low, high = timeline.hours_between(after, before, at)
            sole = recorders[0] if len(recorders) == 1 else None
            key, on = (sole.procedure.key, sole.on) if sole else ("", "")
            yield Doing(key, on, Shown.EVENT, event, at, after, before, low, high)


def _around(timeline: Timeline, at: float, recorded: int) -> tuple[int, int]:
    """Places of the last setup certainly taken before a time, and of the first one certainly taken after it."""
    before = next((place for place, taken in enumerate(timeline.at) if taken is not None and taken >= at), None)
    if before is None:
        before = recorded if timeline.at[recorded] is None else len(timeline)
    elif timeline.at[recorded] is None:
        before = min(before, recorded)
    earlier = [place for place in range(before) if (taken := timeline.at[place]) is not None and taken < at]
    return earlier[-1] if earlier else -1, before


def _by_counter(works: Works, timeline: Timeline) -> Iterator[Doing]:
    """A count of hours that went back, or that is shorter than the engine ran since a setup before it."""
    for work in works.all:
        last: int | None = None  # the last setup that gave the count
        for place, values in enumerate(timeline.values):
            count, hours = values.get(work.since), timeline.hours[place]
            if not isinstance(count, float):
                continue
            before = [
                other
                for other in range(last or 0, place)
                if hours is not None
                and (ran_to := timeline.hours[other]) is not None
                and ran_to + SLACK_HOURS < hours - count
            ]
            had = None if last is None else timeline.values[last][work.since]
            if last is not None and isinstance(had, float) and count < had:
                before.append(last)
            last = place
            if not before:
                continue
            after = max(before)
            low, high = timeline.hours_between(after, place, None)
            if hours is not None:
                low = high = min(max(hours - count, low or 0.0), hours)
            yield Doing(work.procedure.key, work.on, Shown.COUNTER, work.since, None, after, place, low, high)


def _by_setting(works: Works, timeline: Timeline) -> Iterator[Doing]:
    """A setting that one procedure alone moves and that stands elsewhere than in the last setup that gave it."""
    for setting, movers in works.movers.items():
        if len(movers) != 1:
            continue
        work: Work = movers[0]
        last: int | None = None
        for place, values in enumerate(timeline.values):
            value = values.get(setting)
            if value is None or value == (None, None):
                continue
            if last is not None and value != timeline.values[last][setting]:
                low, high = timeline.hours_between(last, place, None)
                yield Doing(work.procedure.key, work.on, Shown.SETTING, setting, None, last, place, low, high)
            last = place
