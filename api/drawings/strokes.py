"""Strokes that several drawings share: points around a centre, spokes, a belt around two pulleys."""

from __future__ import annotations

import math
from collections.abc import Iterator

from api.drawings.look import INK, PAPER
from api.drawings.svg import Markup, Point, element, line


def around(at: Point, radius: float, degrees: float) -> Point:
    return at[0] + radius * math.cos(math.radians(degrees)), at[1] + radius * math.sin(math.radians(degrees))


def spokes(at: Point, inner: float, outer: float, count: int, width: float, turned: float = 0) -> Iterator[Markup]:
    for n in range(count):
        degrees = turned + 360 * n / count
        yield line([around(at, inner, degrees), around(at, outer, degrees)], width)


def belt_around(
    one: Point, radius: float, other: Point, other_radius: float, width: float, stroke: str = INK, fill: str = PAPER
) -> Iterator[Markup]:
    """A belt that runs open around two pulleys, as its outline."""
    length = math.dist(one, other)
    towards = math.degrees(math.atan2(other[1] - one[1], other[0] - one[0]))
    lean = math.degrees(math.acos(max(-1.0, min(1.0, (radius - other_radius) / length))))
    (x1, y1), (x2, y2) = around(one, radius, towards + lean), around(other, other_radius, towards + lean)
    (x3, y3), (x4, y4) = around(other, other_radius, towards - lean), around(one, radius, towards - lean)
    far, near = int(radius < other_radius), int(radius > other_radius)
    yield element(
        "path",
        d=f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}A{other_radius:.1f} {other_radius:.1f} 0 {far} 0 {x3:.1f} {y3:.1f}"
        f"L{x4:.1f} {y4:.1f}A{radius:.1f} {radius:.1f} 0 {near} 0 {x1:.1f} {y1:.1f}Z",
        fill=fill, stroke=stroke, stroke_width=width, stroke_linejoin="round",
    )  # fmt: skip
