"""The three ways to thresh and separate, in the units of the machine's picture: each is drawn by one function."""

from __future__ import annotations

import math
from collections.abc import Iterator

from api.drawings.look import INK, PAPER
from api.drawings.strokes import around, spokes
from api.drawings.svg import Markup, Point, circle, element, line, shape

CYLINDER: Point = (400, 290)
"""Middle of a cylinder across the machine."""


def rotor(thin: float) -> Iterator[Markup]:
    """One rotor along the machine, its cone in front, concave and separating grate under it."""
    start, end = (352.0, 304.0), (728.0, 250.0)
    yield from _grate(start, end, 43, 0.1, 0.96, thin)
    yield from _drum_along(start, end, 36, thin, cone=True)
    yield circle((766, 254), 22, PAPER, thin)
    yield from spokes((766, 254), 5, 22, 4, thin, 45)


def hybrid(thin: float) -> Iterator[Markup]:
    yield from _cylinder(thin)
    start, end = (496.0, 284.0), (752.0, 246.0)
    yield from _grate(start, end, 36, 0.06, 0.96, thin)
    yield from _drum_along(start, end, 29, thin, cone=False)


def walkers(thin: float) -> Iterator[Markup]:
    """Straw walkers: a saw-toothed rack that rises to the rear, on two cranks."""
    yield from _cylinder(thin)
    top: list[Point] = [(492, 300)]
    for n in range(5):
        x, y = 492.0 + 66 * n, 282.0 - 9 * n
        top += [(x, y), (x + 66, y - 22)]
    top += [(822, 246), (822, 256)]
    yield shape(top, PAPER, thin)
    for at in ((560, 304), (748, 280)):
        yield circle(at, 15, PAPER, thin)
        yield line([at, around(at, 10, -60)], 1.6 * thin)
        yield circle(at, 3, INK, thin)


def _cylinder(thin: float) -> Iterator[Markup]:
    """A cylinder across the machine seen from its end, rasp bars on its rim, concave under it, beater behind it."""
    at = CYLINDER
    first, last = around(at, 56, 165), around(at, 56, 25)
    yield element(
        "path", d=f"M{first[0]:.1f} {first[1]:.1f}A56 56 0 0 0 {last[0]:.1f} {last[1]:.1f}", fill="none", stroke=INK,
        stroke_width=2.2 * thin, stroke_linecap="round",
    )  # fmt: skip
    for degrees in range(35, 161, 14):
        yield line([around(at, 56, degrees), around(at, 63, degrees)], thin)
    yield circle(at, 42, PAPER, 1.4 * thin)
    for n in range(8):
        yield circle(around(at, 42, n * 45), 6, INK, thin)
    yield from spokes(at, 8, 36, 4, thin)
    yield circle(at, 8, PAPER, thin)
    yield circle((474, 262), 20, PAPER, thin)
    yield from spokes((474, 262), 5, 20, 4, thin, 30)


def _frame(start: Point, end: Point) -> tuple[float, Point, Point]:
    """Length of an axis, its direction and the direction to its lower side."""
    length = math.dist(start, end)
    along = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    return length, along, (-along[1], along[0])


def _drum_along(start: Point, end: Point, radius: float, thin: float, cone: bool) -> Iterator[Markup]:
    """A rotor seen from its side, with its bars wound around it."""
    length, along, down = _frame(start, end)

    def at(share: float, off: float) -> Point:
        return (
            start[0] + along[0] * length * share + down[0] * off,
            start[1] + along[1] * length * share + down[1] * off,
        )

    nose = 0.12 if cone else 0.0
    small = radius * (0.62 if cone else 1.0)
    outline = [at(0, -small), at(nose, -radius), at(1, -radius), at(1, radius), at(nose, radius), at(0, small)]
    yield shape(outline, PAPER, 1.4 * thin)
    count = round(length / 34)
    for n in range(count):
        share = nose + (1 - nose) * (n + 0.15) / count
        yield line([at(share, radius * 0.92), at(share + 0.7 * (1 - nose) / count, -radius * 0.92)], 1.3 * thin)
    yield line([at(-0.05, 0), at(0, 0)], 2.5 * thin)
    yield line([at(1, 0), at(1.03, 0)], 2.5 * thin)


def _grate(start: Point, end: Point, off: float, first: float, last: float, thin: float) -> Iterator[Markup]:
    """Concave (front half, strong) and separating grate (rear half) under a rotor."""
    length, along, down = _frame(start, end)

    def at(share: float, below: float) -> Point:
        return (
            start[0] + along[0] * length * share + down[0] * below,
            start[1] + along[1] * length * share + down[1] * below,
        )

    middle = (first + last) / 2
    yield line([at(first, off), at(middle, off)], 2.2 * thin)
    yield line([at(middle + 0.01, off), at(last, off)], thin)
    count = round(length * (last - first) / 16)
    for n in range(count + 1):
        share = first + (last - first) * n / count
        yield line([at(share, off), at(share, off + 7)], thin)
