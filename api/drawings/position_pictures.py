"""What each setting looks like in each of its positions: one function a thing, in units of 160 by 110, without words.

A picture gets the values of its attributes (None for not known) and the width of its thinner lines. Where a part can
stand elsewhere, that place is dotted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from api.drawings.look import FAINT, INK, PAPER, SOFT, TINT
from api.drawings.strokes import around, belt_around, spokes
from api.drawings.svg import Markup, Point, box, circle, element, line, shape
from audit.nouns.quantity import Value

WIDE, HIGH = 160.0, 110.0

Draw = Callable[[Mapping[str, Value], float], Iterator[Markup]]


@dataclass(frozen=True, slots=True)
class Picture:
    """Attributes:
    parts: attributes that the picture shows together, of one part or drive.
    words: positions that it can draw; empty for a number.
    """

    draw: Draw
    parts: tuple[str, ...]
    words: frozenset[str] = frozenset()


def _steps(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """Driving sheave left, driven right, each with a small and a large step, and the belt on one of each."""
    radii = {"driving": {"small": 15.0, "large": 27.0}, "driven": {"small": 18.0, "large": 32.0}}
    ends = (("driving", (36.0, 56.0)), ("driven", (116.0, 56.0)))
    on = [radii[end].get(str(values.get(end)), 0.0) for end, _ in ends]
    for end, at in ends:
        yield circle(at, radii[end]["large"], TINT, thin)
        yield circle(at, radii[end]["small"], PAPER, thin)
        yield circle(at, 4, INK, thin)
    if all(on):
        yield from belt_around(ends[0][1], on[0], ends[1][1], on[1], 3.4 * thin, fill="none")
    yield from _turning((36, 56), 10, thin)


def _turning(at: Point, radius: float, thin: float) -> Iterator[Markup]:
    """An arrow around the shaft that drives."""
    first, last = around(at, radius, 200), around(at, radius, 340)
    yield element(
        "path", d=f"M{first[0]:.1f} {first[1]:.1f}A{radius} {radius} 0 0 1 {last[0]:.1f} {last[1]:.1f}", fill="none",
        stroke=INK, stroke_width=thin, stroke_linecap="round",
    )  # fmt: skip
    yield line([(last[0] - 5, last[1] - 2.5), last, (last[0] + 1, last[1] - 6)], thin)


def _drum(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The intake end of the feeder house: its drum in the upper or the lower place above the crop."""
    yield line([(8, 16), (152, 6)], 2 * thin)
    yield line([(8, 102), (152, 92)], 2 * thin)
    at = {"raised": 42.0, "lowered": 62.0}
    here = at.get(str(values.get("drum")))
    if here is not None:
        mat = here + 25
        yield shape([(4, mat), (48, mat), (152, mat - 8), (152, 91), (4, 101)], TINT, thin * 0.8, FAINT)
    for middle in at.values():
        if middle != here:
            yield circle((46, middle), 22, "none", thin, SOFT, stroke_dasharray=_dots(thin))
    if here is not None:
        yield line([(46, here - 22), (152, 18)], thin)
        yield line([(46, here + 22), (152, 62)], thin)
        yield circle((46, here), 22, PAPER, 1.6 * thin)
        yield circle((46, here), 5, INK, thin)


def _dots(thin: float) -> str:
    return f"{2.4 * thin:.1f} {2.6 * thin:.1f}"


def _deflector(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """A plate ahead of the chopper: up, cobs fall in front of it; down, the straw is led into it."""
    yield line([(6, 20), (52, 20)], 2 * thin)
    yield from _chopper_rotor((118, 66), thin)
    hinge = (54.0, 22.0)
    ends = {"raised": (104.0, 14.0), "lowered": (86.0, 70.0)}
    here = str(values.get("position"))
    for word, end in ends.items():
        if word != here:
            yield line([hinge, end], thin, SOFT, stroke_dasharray=_dots(thin))
    if here in ends:
        yield line([hinge, ends[here]], 3.4 * thin)
        run: list[Point] = (
            [(22, 36), (44, 62), (48, 96)] if here == "raised" else [(20, 34), (58, 46), (80, 82), (96, 84)]
        )
        yield from _arrow(run, thin)
    yield circle(hinge, 4, PAPER, thin)


def _chopper_rotor(at: Point, thin: float) -> Iterator[Markup]:
    yield from spokes(at, 8, 26, 6, 2 * thin, 15)
    yield circle(at, 9, PAPER, thin)


def _arrow(run: list[Point], thin: float) -> Iterator[Markup]:
    yield line(run, 1.2 * thin, SOFT)
    (x1, y1), (x2, y2) = run[-2:]
    back = math.degrees(math.atan2(y1 - y2, x1 - x2))
    yield line([around((x2, y2), 8, back - 28), (x2, y2), around((x2, y2), 8, back + 28)], 1.2 * thin, SOFT)


def _chopper_lift(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The chopper between its two rails: down where it works, up where its belt can be reached."""
    yield line([(44, 6), (44, 104)], thin, SOFT)
    yield line([(116, 6), (116, 104)], thin, SOFT)
    at = {"raised": 36.0, "lowered": 74.0}
    here = str(values.get("height"))
    for word, y in at.items():
        if word != here:
            yield circle((80, y), 27, "none", thin, SOFT, stroke_dasharray=_dots(thin))
    if here in at:
        y = at[here]
        yield box(34, y - 7, 92, 14, PAPER, 1.6 * thin, INK, 4)
        yield from _chopper_rotor((80, y), thin)


def _stationary_knives(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The bank of stationary knives from 0 %, clear of the rotor, to 100 %, all the way between its knives."""
    at = (58.0, 55.0)
    yield circle(at, 42, "none", thin, SOFT, stroke_dasharray=_dots(thin))
    yield from spokes(at, 10, 40, 6, 2.2 * thin, 0)
    yield circle(at, 11, PAPER, thin)
    share = values.get("stationary_knives")
    if isinstance(share, float):
        tip = 104 - 30 * max(0.0, min(100.0, share)) / 100
        for y in (37, 55, 73):
            yield shape([(138, y - 3), (tip + 6, y - 3), (tip, y + 3), (138, y + 3)], PAPER, thin)
    yield box(136, 24, 10, 62, TINT, 1.4 * thin, INK, 2)


def _wheel_pair(small: float, large: float, thin: float, dash: str | None) -> Iterator[Markup]:
    left = 79 - small - large
    driver, driven = (left + small, 55.0), (left + 2 * small + 2 + large, 55.0)
    for at, radius in ((driver, small), (driven, large)):
        yield circle(at, radius - 3, PAPER, 6, INK, stroke_dasharray=dash)
        yield circle(at, radius - 5, PAPER, thin)
        yield circle(at, 4, INK, thin)
    yield from _turning(driver, 9, thin)


def _range(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """Two gears: a small one drives a large one in the slow range, near alike in the fast range."""
    sizes = {"low": (18.0, 42.0), "high": (30.0, 30.0)}.get(str(values.get("range")))
    if sizes:
        yield from _wheel_pair(*sizes, thin, "4 3.2")


def _sprocket(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The chain's driving sprocket, left, small or large; the other one is dotted."""
    radii = {"small": 18.0, "large": 30.0}
    driver, driven = (40.0, 55.0), (122.0, 55.0)
    here = str(values.get("drive_sprocket"))
    for word, radius in radii.items():
        if word != here:
            yield circle(driver, radius, "none", thin, SOFT, stroke_dasharray=_dots(thin))
    for at, radius in ((driver, radii.get(here, 0.0)), (driven, 20.0)):
        if radius:
            yield circle(at, radius - 3, PAPER, 4, INK, stroke_dasharray="3.4 2.8")
            yield circle(at, radius - 5, PAPER, thin)
            yield circle(at, 4, INK, thin)
    if here in radii:
        yield from _chain_around(driver, radii[here], driven, 20, thin)
        yield from _turning(driver, 9, thin)


def _chain_around(one: Point, radius: float, other: Point, other_radius: float, thin: float) -> Iterator[Markup]:
    for up in (-1, 1):
        yield line([(one[0], one[1] + up * radius), (other[0], other[1] + up * other_radius)], thin)
        yield line(
            [(one[0], one[1] + up * radius), (other[0], other[1] + up * other_radius)], 3.2 * thin,
            stroke_dasharray=f"0.1 {5 * thin:.1f}",
        )  # fmt: skip


def _tensioner(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The tensioner's plate with its two holes, and the arm whose bolt is in one of them."""
    yield box(92, 10, 46, 90, TINT, 1.4 * thin, INK, 8)
    holes = {"upper": (115.0, 32.0), "lower": (115.0, 78.0)}
    here = str(values.get("tensioner_bolt"))
    if here in holes:
        yield line([(28, 55), holes[here]], 8 * thin, INK)
        yield line([(28, 55), holes[here]], 5.4 * thin, PAPER)
    for at in holes.values():
        yield circle(at, 9, PAPER, 1.4 * thin)
    if here in holes:
        yield circle(holes[here], 9, INK, thin)
        yield circle(holes[here], 3.5, PAPER, thin)
    yield circle((28, 55), 15, PAPER, 1.6 * thin)
    yield circle((28, 55), 4, INK, thin)


def _slack(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """Belt slack taken up by the sheave that is pushed back, or by the idler pressed far into the belt."""
    here = str(values.get("slack_taken_by"))
    if here not in ("variable-drive", "idler"):
        return
    pressed = here == "idler"
    one, other, dip = (34.0, 68.0), (126.0, 68.0), 60.0 if pressed else 46.0
    run = [(one[0], one[1] - 24), (80, dip), (other[0], other[1] - 24)]
    yield line(run, 3 * thin)
    yield line([(one[0], one[1] + 24), (other[0], other[1] + 24)], 3 * thin)
    for at in (one, other):
        yield circle(at, 24, TINT, 1.2 * thin)
        yield circle(at, 4, INK, thin)
    yield circle((80, dip - 13), 11, PAPER, 1.6 * thin)
    yield circle((80, dip - 13), 3, INK, thin)
    if pressed:
        yield from _arrow([(80, 6), (80, 26)], thin)
    else:
        yield from _arrow([(112, 68), (150, 68)], thin)


def _arc(
    at: Point, radius: float, first: float, last: float, width: float, ink: str, dash: str | None = None
) -> Markup:
    """The lower part of a circle, from one angle to a smaller one, in degrees."""
    (x1, y1), (x2, y2) = around(at, radius, first), around(at, radius, last)
    return element(
        "path", d=f"M{x1:.1f} {y1:.1f}A{radius:.1f} {radius:.1f} 0 0 0 {x2:.1f} {y2:.1f}", fill="none",
        stroke=ink, stroke_width=width, stroke_dasharray=dash, stroke_linecap="round",
    )  # fmt: skip


def _concave(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """Bars of the concave under the threshing element, as far apart and as shaped as in the one fitted."""
    at, radius = (80.0, -8.0), 84.0
    yield _arc(at, radius - 14, 160, 20, thin, SOFT, _dots(thin))
    kind = str(values.get("concave_type"))
    apart = {"large-wire": 12.0, "small-wire": 5.0, "round-bar": 11.0, "bar": 11.0}.get(kind)
    if apart is None:
        return
    count = round(110 / apart)
    if kind.endswith("wire"):
        for n in range(count + 1):
            degrees = 35 + 110 * n / count
            yield line([around(at, radius - 5, degrees), around(at, radius + 12, degrees)], 1.5 * thin)
        yield _arc(at, radius, 145, 35, 2 * thin, INK)
        return
    for n in range(count + 1):
        degrees = 35 + 110 * n / count
        middle = around(at, radius + 3, degrees)
        if kind == "round-bar":
            yield circle(middle, 5.5, PAPER, 1.5 * thin)
        else:
            corners = [around(middle, 8, degrees + turn) for turn in (25, 155, 205, 335)]
            yield shape(corners, INK, thin)


def _fillers(values: Mapping[str, Value], thin: float) -> Iterator[Markup]:
    """The concave's openings, free or closed by plates."""
    here = values.get("filler_plates")
    if here is None:
        return
    for n in range(4):
        x = 14 + 33 * n
        yield box(x, 26, 33, 58, PAPER, 1.5 * thin, INK, 0)
        if here == "in" and n < 3:
            yield box(x + 4, 30, 25, 50, INK, thin, INK, 1)
        else:
            yield line([(x + 11, 28), (x + 11, 82)], thin, FAINT)
            yield line([(x + 22, 28), (x + 22, 82)], thin, FAINT)


PICTURES: Mapping[str, Picture] = {
    ".driving": Picture(_steps, ("driving", "driven"), frozenset({"small", "large"})),
    ".driven": Picture(_steps, ("driving", "driven"), frozenset({"small", "large"})),
    ".range": Picture(_range, ("range",), frozenset({"low", "high"})),
    ".concave_type": Picture(_concave, ("concave_type",), frozenset({"large-wire", "small-wire", "round-bar", "bar"})),
    ".filler_plates": Picture(_fillers, ("filler_plates",), frozenset({"out", "in"})),
    "feeder.drum": Picture(_drum, ("drum",), frozenset({"raised", "lowered"})),
    "feeder.drive_sprocket": Picture(_sprocket, ("drive_sprocket",), frozenset({"small", "large"})),
    "feeder.tensioner_bolt": Picture(_tensioner, ("tensioner_bolt",), frozenset({"lower", "upper"})),
    "feeder.slack_taken_by": Picture(_slack, ("slack_taken_by",), frozenset({"variable-drive", "idler"})),
    "deflector.position": Picture(_deflector, ("position",), frozenset({"raised", "lowered"})),
    "chopper.height": Picture(_chopper_lift, ("height",), frozenset({"raised", "lowered"})),
    "chopper.stationary_knives": Picture(_stationary_knives, ("stationary_knives",)),
}
"""By full name, or by ``.attribute`` for every component that has it."""
