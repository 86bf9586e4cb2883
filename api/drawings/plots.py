"""How a worn thing went over engine hours, and when it reaches its limit if it wears on as it did."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from api.drawings.look import FAINT, INK, PAPER, SOFT
from api.drawings.svg import Markup, Point, box, circle, drawing, label, line, shape, text_width, wrapped

_WIDTH, _HEIGHT = 680.0, 300.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 20.0, 46.0, 46.0
_STEPS = (1, 2, 5)
_MOST_LINES = 6

Number = Callable[[float], str]
"""Writes a number as its reader does."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Where the limit is reached: engine hours with their 95 % interval (None for an open end), and words for it."""

    hours: float
    low: float | None
    high: float | None
    text: str


@dataclass(frozen=True, slots=True)
class Wear:
    """One quantity of one unit.

    Attributes:
        title, hours_axis, value_axis: in the reader's words, the axes with their units.
        runs: (engine hours, value) in order; a new run begins where something was replaced or adjusted.
        limits: values with their words.
        rate: fitted change of the last run for an engine hour, None where none is.
        reach: None where no limit is reached.
    """

    title: str
    hours_axis: str
    value_axis: str
    runs: tuple[tuple[Point, ...], ...]
    limits: tuple[tuple[float, str], ...]
    rate: float | None
    reach: Reach | None


def wear_trend(wear: Wear, number: Number) -> str:
    """Points of each run, the fitted line of the last, its way to the limit dashed, and when that is reached.

    Returns: SVG text, 680 wide; '' where there is no point.
    """
    points = [point for run in wear.runs for point in run]
    if not points:
        return ""
    frame = _Frame.over(wear, points)
    parts = list(_axes(wear, frame, number))
    for value, text in wear.limits:
        y = frame.y(value)
        parts.append(line([(_LEFT, y), (_WIDTH - _RIGHT, y)], 1.6, INK, stroke_dasharray="8 3"))
        parts.append(label(_LEFT + 6, y - 5, text, 12, True))
    for run in wear.runs:
        if len(run) > 1:
            parts.append(line([frame.at(point) for point in run], 1, FAINT))
    parts += _fitted(wear, frame)
    for n, run in enumerate(wear.runs):
        last = n == len(wear.runs) - 1
        parts += [circle(frame.at(point), 4.5, INK if last else PAPER, 1.8) for point in run]
    if wear.reach is not None:
        parts += _reached(wear.reach, wear, frame)
    told = [f"{number(hours)} h: {number(value)}." for hours, value in points]
    told += [wear.reach.text] if wear.reach else []
    return drawing(_WIDTH, _HEIGHT, "wear", wear.title, " ".join((wear.value_axis, *told)), parts)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Scales of both axes."""

    first: float
    last: float
    low: float
    high: float

    @classmethod
    def over(cls, wear: Wear, points: Sequence[Point]) -> _Frame:
        hours = [hours for hours, _ in points]
        values = [value for _, value in points] + [value for value, _ in wear.limits]
        if wear.reach is not None:
            # an interval that reaches far past the limit would press everything else together
            hours.append(wear.reach.hours)
            hours += [end for end in (wear.reach.low, wear.reach.high) if end is not None and end < _far(hours)]
        return cls(*_padded(hours, 0.03), *_padded(values, 0.12))

    def x(self, hours: float) -> float:
        share = (hours - self.first) / (self.last - self.first)
        return _LEFT + min(1.0, max(0.0, share)) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return _HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM)

    def at(self, point: Point) -> Point:
        return self.x(point[0]), self.y(point[1])


def _far(hours: Sequence[float]) -> float:
    return max(hours) + (max(hours) - min(hours))


def _padded(values: Sequence[float], share: float) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = (high - low) * share or max(abs(high) * 0.05, 1.0)
    return low - room, high + room


def _axes(wear: Wear, frame: _Frame, number: Number) -> Iterator[Markup]:
    for n, text in enumerate(wrapped(wear.title, _WIDTH - 12, 14, True, 1)):
        yield label(6, 18 + 17 * n, text, 14, True)
    yield label(6, 37, wear.value_axis, 12, fill=SOFT)
    base = _HEIGHT - _BOTTOM
    for value in _round(frame.low, frame.high):
        y = frame.y(value)
        yield line([(_LEFT, y), (_WIDTH - _RIGHT, y)], 0.6, FAINT)
        yield label(_LEFT - 6, y + 4.3, number(value), 12, fill=SOFT, anchor="end")
    for hours in _round(frame.first, frame.last):
        x = frame.x(hours)
        yield line([(x, base), (x, base + 5)], 1, SOFT)
        yield label(x, base + 18, number(hours), 12, fill=SOFT, anchor="middle")
    yield line([(_LEFT, _TOP), (_LEFT, base), (_WIDTH - _RIGHT, base)], 1.4, INK)
    yield label(_WIDTH - _RIGHT, base + 36, wear.hours_axis, 12, fill=SOFT, anchor="end")


def _round(low: float, high: float) -> list[float]:
    """Round numbers between two ends, at most so many that their texts have room."""
    power = 10.0**-6
    while True:
        for each in _STEPS:
            step = each * power
            if (high - low) / step <= _MOST_LINES:
                first = int(low // step) + 1
                return [n * step for n in range(first, int(high // step) + 1)]
        power *= 10


def _fitted(wear: Wear, frame: _Frame) -> Iterator[Markup]:
    """The line of the last run, and its way to the limit."""
    run = wear.runs[-1]
    if wear.rate is None or len(run) < 2:
        return
    hours, value = sum(h for h, _ in run) / len(run), sum(v for _, v in run) / len(run)

    def on(at: float) -> Point:
        return frame.at((at, value + wear.rate * (at - hours)))  # type: ignore[operator]

    first, last = run[0][0], run[-1][0]
    yield line([on(first), on(last)], 2.2, INK)
    if wear.reach is not None and wear.reach.hours > last:
        yield line([on(last), on(wear.reach.hours)], 1.6, INK, stroke_dasharray="3 4")


def _reached(reach: Reach, wear: Wear, frame: _Frame) -> Iterator[Markup]:
    """A mark where the limit is reached, a bar for its interval, and when that is."""
    limit = min((value for value, _ in wear.limits), key=lambda value: abs(value - _value_at(reach.hours, wear)))
    x, y = frame.x(reach.hours), frame.y(limit)
    if reach.low is not None:
        start, end = frame.x(reach.low), frame.x(frame.last if reach.high is None else reach.high)
        yield line([(start, y), (end, y)], 5, SOFT, stroke_linecap="butt")
        yield line([(start, y - 6), (start, y + 6)], 2, SOFT)
        if reach.high is not None and reach.high <= frame.last:
            yield line([(end, y - 6), (end, y + 6)], 2, SOFT)
    yield shape([(x, y - 7), (x + 7, y), (x, y + 7), (x - 7, y)], PAPER, 2, INK)
    wide = text_width(reach.text, 12, True)
    under = y < _TOP + (_HEIGHT - _TOP - _BOTTOM) / 2
    at = min(max(x - wide / 2, _LEFT + 4), _WIDTH - _RIGHT - wide)
    base = y + (26 if under else -16)
    yield box(at - 3, base - 12, wide + 6, 16, PAPER, 0, PAPER, 0)
    yield label(at, base, reach.text, 12, True)


def _value_at(hours: float, wear: Wear) -> float:
    run = wear.runs[-1]
    mean = sum(h for h, _ in run) / len(run), sum(v for _, v in run) / len(run)
    return mean[1] + (wear.rate or 0.0) * (hours - mean[0])
