"""Plots of many things side by side: amounts by level of risk, and values against the window they belong in.

Levels are told apart by hatching and a key as well as by colour, so that a grey copy says the same. Every word comes
from the caller, in the reader's language.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from api.drawings.look import FAINT, INK, LEVELS, PAPER, SOFT, TINT
from api.drawings.svg import Markup, box, circle, drawing, group, label, line, shape, text_width, wrapped
from audit.nouns.risk import Level

_WIDTH, _EDGE = 680.0, 6.0
_NAME = 190.0
_ROW, _BAR, _TRACK = 26.0, 15.0, 31.0
_CLEAR = 0.03
_STEPS = (1, 2, 5)
_MOST_NAMES = 2
_HATCH = {Level.HIGH: 0.0, Level.SERIOUS: 5.0, Level.MEDIUM: 10.0, Level.LOW: 0.0}
"""Distance of the lines drawn across a level's bars; 0 for none: high is dark and low is white without."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One row: a name, amounts by level, and their sum as text."""

    name: str
    amounts: Mapping[Level, float]
    text: str


def bars(title: str, axis: str, rows: Sequence[Bar], words: Mapping[Level, str]) -> str:
    """Amounts by level, a row a name, from zero on one scale.

    Args:
        axis: what the amounts are, with their unit.   words: of the levels, for the key.
    Returns: SVG text, 680 wide; the same for the same arguments.
    """
    most = max((sum(row.amounts.values()) for row in rows), default=0.0)
    step = _step(most)
    room = max((text_width(row.text, 12) for row in rows), default=0.0) + 10
    scale = (_WIDTH - 2 * _EDGE - _NAME - room) / max(most, step)
    parts, down = list(_heading(title)), 46.0
    left = _EDGE + _NAME
    high = _ROW * len(rows)
    for n in range(int(max(most, step) / step + 1e-9) + 1):
        x = left + n * step * scale
        parts.append(line([(x, down), (x, down + high)], 0.8, FAINT))
        parts.append(label(x, down + high + 15, f"{n * step:g}", 12, fill=SOFT, anchor="middle"))
    for row in rows:
        parts += _named(row.name, down, _ROW)
        x = left
        for level in Level:
            wide = row.amounts.get(level, 0.0) * scale
            if wide > 0:
                parts.append(_hatched(x, down + (_ROW - _BAR) / 2, wide, level))
                x += wide
        parts.append(box(x + 3, down + 5, text_width(row.text, 12) + 5, _ROW - 10, PAPER, 0, PAPER, 0))
        parts.append(label(x + 6, down + _ROW / 2 + 4.3, row.text, 12))
        down += _ROW
    parts.append(line([(left, 46), (left, down)], 1.4, INK))
    parts.append(label(left, down + 32, axis, 12, fill=SOFT))
    parts += _key(words, down + 54)
    told = " ".join(f"{row.name}: {row.text}." for row in rows)
    return drawing(_WIDTH, down + 64, "bars", title, f"{axis}. {told}", parts)


def _step(most: float) -> float:
    """The least round step that needs at most six lines."""
    power = 0.01
    while True:
        for each in _STEPS:
            if most <= 6 * each * power:
                return each * power
        power *= 10


def _heading(title: str) -> Iterator[Markup]:
    for n, text in enumerate(wrapped(title, _WIDTH - 2 * _EDGE, 14, True, 2)):
        yield label(_EDGE, 18 + 17 * n, text, 14, True)


def _named(name: str, down: float, high: float) -> Iterator[Markup]:
    lines = wrapped(name, _NAME - 12, 12, most=_MOST_NAMES)
    first = down + high / 2 + 4.3 - 6.5 * (len(lines) - 1)
    for n, text in enumerate(lines):
        yield label(_EDGE + _NAME - 8, first + 13 * n, text, 12, anchor="end")


def _hatched(x: float, y: float, wide: float, level: Level) -> Markup:
    """A bar in a level's fill, with lines across it that a grey copy keeps."""
    look = LEVELS[level]
    parts = [box(x, y, wide, _BAR, look.fill, 0, INK, 0)]
    gap = _HATCH[level]
    if gap:
        start = x - _BAR + gap
        while start < x + wide:
            # from the bar's lower edge up to the right, cut at its two ends
            low = max(0.0, x - start)
            end = min(_BAR, x + wide - start)
            if end > low:
                parts.append(line([(start + low, y + _BAR - low), (start + end, y + _BAR - end)], 0.8, INK))
            start += gap
    parts.append(box(x, y, wide, _BAR, "none", 1.1, INK, 0))
    return group(*parts, class_=look.word)


def _key(words: Mapping[Level, str], y: float) -> Iterator[Markup]:
    x = _EDGE
    for level in Level:
        yield _hatched(x, y - 12, 26, level)
        yield label(x + 33, y + 0.5, words[level], 12)
        x += 33 + text_width(words[level], 12) + 22


# --- values against windows


@dataclass(frozen=True, slots=True)
class Window:
    """One row: values that belong between two ends.

    Attributes:
        values: in one unit, at least one.   low, high: ends of the window in it, None for an open end.
        text: values and window as text.
    """

    name: str
    values: tuple[float, ...]
    low: float | None
    high: float | None
    text: str

    @property
    def outside(self) -> int:
        """How many values lie outside."""
        return sum(not self.holds(value) for value in self.values)

    def holds(self, value: float) -> bool:
        """Whether a value lies in the window; its ends belong to it."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


def windows(title: str, ends: tuple[str, str, str], rows: Sequence[Window]) -> str:
    """Values against the window of each, every row on a scale of its own in which all windows lie under each other.

    Args:
        ends: words for below, within and above the window.
    Returns: SVG text, 680 wide; a value in its window is a ring, one outside a filled triangle.
    """
    wide = 220.0
    left, text_at = _EDGE + _NAME, _EDGE + _NAME + wide + 12
    parts, down = list(_heading(title)), 44.0
    below, within, above = ends
    parts.append(label(left, down, below, 12, fill=SOFT))
    parts.append(label(left + wide, down, above, 12, fill=SOFT, anchor="end"))
    parts.append(label(left + wide / 2, down + 16, within, 12, fill=SOFT, anchor="middle"))
    down += 24
    top = down
    for row in rows:
        lines = wrapped(row.text, _WIDTH - _EDGE - text_at, 12, row.outside > 0, 2)
        parts += _named(row.name, down, _TRACK)
        parts += _track(row, left, down, wide)
        first = down + _TRACK / 2 + 4.3 - 7 * (len(lines) - 1)
        parts += [label(text_at, first + 14 * n, text, 12, row.outside > 0) for n, text in enumerate(lines)]
        down += _TRACK
        parts.append(line([(_EDGE, down - 1), (_WIDTH - _EDGE, down - 1)], 0.5, FAINT))
    for share in (0.3, 0.7):
        parts.append(
            line([(left + share * wide, top), (left + share * wide, down)], 0.8, FAINT, stroke_dasharray="3 3")
        )
    told = " ".join(f"{row.name}: {row.text}." for row in rows)
    return drawing(_WIDTH, down + 6, "windows", title, told, parts)


def _track(row: Window, x: float, y: float, wide: float) -> Iterator[Markup]:
    middle = y + _TRACK / 2
    start = x + (0.0 if row.low is None else 0.3) * wide
    end = x + (1.0 if row.high is None else 0.7) * wide
    yield line([(x, middle), (x + wide, middle)], 1, FAINT)
    yield box(start, middle - 8, end - start, 16, TINT, 1, SOFT, 0)
    for value in sorted(row.values, key=lambda one: not row.holds(one)):
        at = x + _share(value, row.low, row.high) * wide
        if row.holds(value):
            yield circle((at, middle), 4.5, PAPER, 2)
        else:
            yield shape([(at, middle - 6), (at + 6.5, middle + 6), (at - 6.5, middle + 6)], INK, 1)


def _share(value: float, low: float | None, high: float | None) -> float:
    """Where a value lies on a track whose window is its middle two fifths; far outside is at the track's end, and what
    is just outside is drawn clear of the window's edge."""
    ends = [abs(end) for end in (low, high) if end is not None]
    span = max(high - low if low is not None and high is not None else 0.5 * max(ends, default=0.0), 1e-9)
    if low is not None and value < low:
        share = 0.3 - _CLEAR - 0.4 * (low - value) / span
    elif high is not None and value > high:
        share = 0.7 + _CLEAR + 0.4 * (value - high) / span
    elif low is not None and high is not None:
        share = 0.3 + 0.4 * (value - low) / span if high > low else 0.5
    elif low is not None:
        share = 0.3 + 0.4 * (value - low) / span
    else:
        share = 0.7 - 0.4 * ((high or 0.0) - value) / span
    return min(0.98, max(0.02, share))
