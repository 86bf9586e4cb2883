"""Trends: the run of a quantity as it is now, fitted over engine hours, and when it reaches its limits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from audit.history.line import Line, fit_line
from audit.history.runs import runs_of
from audit.history.subjects import Subject, bounds_of, side_value
from audit.history.timeline import Timeline
from audit.history.works import Works
from audit.nouns.history import Bound, Doing, NoProjection, Point, Projection, Rate, Run, Trend
from audit.nouns.quantity import LEFT, RIGHT, SIDES
from audit.sheet import Sheet

_DAY = 86400.0
_LONGEST = 60000.0  # engine hours that no machine is written down with
_LAST_DATE = 253402300799.0  # the end of year 9999, past which no calendar date can be written


@dataclass(frozen=True, slots=True)
class Anchor:
    """Where the unit stands: its engine hours, and when it had them; None for not known."""

    engine_hours: float | None
    at: float | None


def trends_of(
    subjects: Mapping[str, Subject], sheet: Sheet, timeline: Timeline, doings: Sequence[Doing], works: Works,
    anchor: Anchor,
) -> Iterator[Trend]:  # fmt: skip
    """A trend for every followed quantity and side that has a value, and a limit, in some setup."""
    for name, subject in subjects.items():
        for side in (LEFT, RIGHT) if subject.quantity.sided else (LEFT,):
            given = (v for v in reversed(timeline.values) if side_value(v.get(name), side) is not None)
            bounds = next(filter(None, (bounds_of(subject, side, sheet, values) for values in given)), None)
            if bounds is not None:
                runs, left_out = runs_of(subject, side, timeline, doings, works, bounds)
                yield _trend(subject, side, bounds, runs, left_out, timeline, anchor)


def _trend(
    subject: Subject, side: int, bounds: tuple[Bound, ...], runs: tuple[Run, ...], left_out: tuple[Point, ...],
    timeline: Timeline, anchor: Anchor,
) -> Trend:  # fmt: skip
    run = runs[-1].points if runs else ()
    fitted = [point for point in run if point.engine_hours is not None]
    hours = [point.engine_hours for point in fitted if point.engine_hours is not None]
    per_day = timeline.hours_per_day([point.setup for point in fitted])
    line = None if subject.at_will else fit_line(hours, [point.value for point in fitted])
    interval = None if line is None else line.slope_interval
    rate = None
    if line is not None:
        low, high = interval or (None, None)
        rate = Rate(line.n, line.slope, low, high)
    why_not: NoProjection | None = None
    projections: tuple[Projection, ...] = ()
    if line is None:
        why_not = _unfitted(subject, run, hours)
    else:
        ahead = _ahead(line, interval, bounds, run[-1].value)
        if isinstance(ahead, NoProjection):
            why_not = ahead
        else:
            found = (_projection(line, bound, anchor, hours[-1], per_day) for bound in ahead)
            order = sorted(found, key=lambda projection: (projection.at_hours, projection.bound.rule))
            projections = tuple(projection for projection in order if projection.at_hours <= _LONGEST)
            why_not = None if projections else NoProjection.FAR
    quantity = subject.quantity
    return Trend(
        quantity.name, SIDES[side] if quantity.sided else "", quantity.meaning, quantity.unit, bounds, runs, left_out,
        rate, projections, why_not, per_day,
    )  # fmt: skip


def _unfitted(subject: Subject, run: Sequence[Point], hours: Sequence[float]) -> NoProjection:
    if subject.at_will:
        return NoProjection.AT_WILL
    if not run:
        return NoProjection.NO_POINT
    if len(run) == 1 and hours:
        return NoProjection.ONE_POINT
    return NoProjection.NO_HOURS if len(hours) < 2 else NoProjection.SAME_HOURS


def _ahead(
    line: Line, interval: tuple[float, float] | None, bounds: Sequence[Bound], newest: float
) -> list[Bound] | NoProjection:
    """The limits that the line leads to and that the newest value has not passed; or why there is none."""
    kept = [bound for bound in bounds if (newest <= bound.value if bound.most else newest >= bound.value)]
    toward = [bound for bound in kept if bound.most is (line.slope > 0.0)]
    no_trend = line.slope == 0.0 or (interval is not None and interval[0] <= 0.0 <= interval[1])
    if toward and not no_trend:
        return toward
    if len(kept) < len(bounds):
        return NoProjection.PAST
    return NoProjection.NO_TREND if no_trend else NoProjection.AWAY


def _projection(line: Line, bound: Bound, anchor: Anchor, last: float, per_day: float | None) -> Projection:
    interval = line.reaches_interval(bound.value)
    middle = line.reaches(bound.value)
    low, high = interval or (None, None)
    high = None if high is None or high > _LONGEST else high
    now = last if anchor.engine_hours is None else max(last, anchor.engine_hours)

    def left(hours: float | None) -> float | None:
        return None if hours is None else max(0.0, hours - now)

    def date(hours: float | None) -> float | None:
        ahead = left(hours)
        if ahead is None or per_day is None or anchor.at is None:
            return None
        found = anchor.at + ahead / per_day * _DAY
        return found if found <= _LAST_DATE else None

    return Projection(
        bound, middle, low, high, max(0.0, middle - now), left(low), left(high), date(middle), date(low), date(high)
    )
