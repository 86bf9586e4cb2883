"""The picture of a combine from its left side: plain shapes of our own, in units of 1000 by 490, front to the left.

What lies on the far side (elevators) is dashed. Shapes that differ by machine: the threshing element, and the header.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum

from api.drawings.look import FAINT, INK, PAPER, SOFT, TINT
from api.drawings.strokes import around, belt_around, spokes
from api.drawings.svg import Markup, Point, box, circle, element, line, shape
from api.drawings.threshing_shapes import CYLINDER, hybrid, rotor, walkers
from audit.nouns.machine import MachineCard

WIDE, HIGH = 1000.0, 490.0


class Threshing(Enum):
    """What threshes and separates; the value says it in words."""

    ROTOR = "one axial rotor along the machine"
    HYBRID = "a cylinder across the machine, then axial rotors"
    WALKERS = "a cylinder across the machine, then straw walkers"


PLACES: dict[str, Point] = {
    "header": (72, 420), "feeder": (236, 358), "threshing": (440, 290), "drives": (650, 334), "cleaning": (600, 378),
    "elevators": (532, 150), "engine": (722, 160), "cab": (238, 160), "residue": (868, 322), "field": (965, 462),
}  # fmt: skip
"""Middle of each part of the machine that a station may be about."""

_PLACE_OF_PART = {
    "corn_head": "header", "coupler": "header", "concave": "threshing", "rotor": "threshing", "cylinder": "threshing",
    "beater": "threshing", "separator": "drives", "walkers": "residue", "chopper": "residue", "deflector": "residue",
    "spreader": "residue", "shoe": "cleaning", "fan": "cleaning", "unloading": "elevators", "tank_auger": "elevators",
    "fire": "cab", "people": "cab", "settings": "cab", "loss": "field", "losses": "field",
}  # fmt: skip
_PLACE_OF_KIND = {"thresher": "threshing", "elevator": "elevators", "feeder_conveyor": "feeder"}


def threshing_of(card: MachineCard) -> Threshing:
    """By the concave and the walkers that the card carries: crossbars go with a cylinder, walkers are read by name."""
    threshers = [shaft for shaft in card.shafts if shaft.kind == "thresher"]
    concaves = {f"{shaft.id}.concave_type" for shaft in threshers}
    words = {word for carried in card.carried if carried.name in concaves for word in carried.words}
    across = "bar" in words or (not words and any("cylinder" in shaft.title.lower() for shaft in threshers))
    if not across:
        return Threshing.ROTOR
    walkers = any(carried.name == "separator.walkers" for carried in card.carried)
    return Threshing.WALKERS if walkers else Threshing.HYBRID


def place_of(station: str, card: MachineCard) -> str:
    """Which part of the picture a station is about: by its id, else by what is set, read or reached there; '' if none.

    Most named places win, the first on the walk round among equals.
    """
    if station in PLACES:
        return station
    votes: dict[str, int] = {}
    parts = next((found.parts for found in card.stations if found.id == station), ())
    named = [part if part in PLACES else _PLACE_OF_PART.get(part, "") for part in parts]
    named += [_PLACE_OF_KIND.get(one.kind, "") for one in card.components() if one.station == station]
    for place in named:
        if place:
            votes[place] = votes.get(place, 0) + 1
    return max(votes, key=lambda place: (votes[place], -list(PLACES).index(place)), default="")


def spot(place: str, threshing: Threshing) -> Point:
    """Middle of a place on a machine that threshes in this way."""
    return CYLINDER if place == "threshing" and threshing is not Threshing.ROTOR else PLACES[place]


def machine(threshing: Threshing, header_kind: str, thin: float) -> Markup:
    """The whole machine; ``thin`` is the width of its thinner lines."""
    return Markup("".join(_machine(threshing, header_kind, thin)))


def _machine(threshing: Threshing, header_kind: str, thin: float) -> Iterator[Markup]:
    thick = 1.6 * thin
    yield line([(8, 479), (992, 479)], thin, FAINT)
    yield from _wheel((300, 396), 82, thin)
    yield from _wheel((800, 430), 48, thin)
    yield element(
        "path",
        d="M300 205H842Q900 208 918 268L938 352Q900 384 800 392L752 402 505 452Q400 450 384 396L330 330 290 296Z",
        fill=TINT, stroke=INK, stroke_width=thick, stroke_linejoin="round",
    )  # fmt: skip
    yield from _upper(thin, thick)
    yield from _elevators(thin)
    yield from _cleaning(thin)
    yield from {Threshing.ROTOR: rotor, Threshing.HYBRID: hybrid, Threshing.WALKERS: walkers}[threshing](thin)
    yield from _residue(thin)
    yield from _drives(thin, thick)
    yield from _feeder(thin, thick)
    yield from _header(header_kind, thin, thick)


def _wheel(at: Point, radius: float, thin: float) -> Iterator[Markup]:
    yield circle(at, radius, PAPER, 1.6 * thin)
    yield circle(at, radius * 0.62, TINT, thin, FAINT)
    yield circle(at, radius * 0.2, PAPER, thin, FAINT)
    for n in range(18):
        yield line([around(at, radius * 0.84, n * 20), around(at, radius * 0.98, n * 20 + 7)], thin, FAINT)


def _upper(thin: float, thick: float) -> Iterator[Markup]:
    """Cab, grain tank, engine deck and the unloading auger folded back."""
    yield shape([(334, 205), (318, 98), (598, 98), (590, 205)], PAPER, thick)
    yield line([(346, 196), (440, 118), (500, 110), (584, 150)], thin, FAINT)
    yield element(
        "path", d="M606 205V124Q606 112 618 112H802Q816 112 820 126L836 205Z", fill=PAPER, stroke=INK,
        stroke_width=thick, stroke_linejoin="round",
    )  # fmt: skip
    yield circle((660, 160), 34, TINT, thin)
    yield from spokes((660, 160), 10, 34, 10, thin * 0.7)
    yield circle((660, 160), 9, PAPER, thin)
    yield box(716, 142, 84, 48, PAPER, thin, round_=6)
    yield line([(730, 142), (730, 190)], thin, FAINT)
    yield line([(758, 142), (758, 190)], thin, FAINT)
    yield line([(786, 142), (786, 190)], thin, FAINT)
    yield line([(806, 112), (812, 72)], thin)
    yield shape([(340, 98), (340, 64), (372, 62), (372, 98)], PAPER, thin)
    yield shape([(352, 90), (346, 64), (884, 42), (888, 68)], PAPER, thin)
    yield shape([(884, 42), (916, 50), (918, 84), (896, 84), (888, 70)], PAPER, thin)
    yield element(
        "path", d="M164 292L182 100Q184 88 196 88H290Q300 88 300 98V292Z", fill=PAPER, stroke=INK, stroke_width=thick,
        stroke_linejoin="round",
    )  # fmt: skip
    yield shape([(190, 232), (201, 110), (284, 110), (284, 232)], TINT, thin)
    yield box(172, 72, 138, 17, PAPER, thick, round_=8)


def _elevators(thin: float) -> Iterator[Markup]:
    """Clean grain and tailings elevators, on the far side, and their cross augers under the shoe."""
    dash = f"{4 * thin:.1f} {3 * thin:.1f}"
    yield shape([(512, 438), (534, 438), (552, 112), (530, 112)], "none", thin, SOFT, stroke_dasharray=dash)
    yield shape([(616, 424), (634, 424), (650, 236), (632, 236)], "none", thin, SOFT, stroke_dasharray=dash)
    for at in ((522, 440), (626, 424)):
        yield circle(at, 13, PAPER, thin)
        yield from spokes(at, 0, 13, 3, thin)


def _cleaning(thin: float) -> Iterator[Markup]:
    """Fan, chaffer and sieve with their louvres."""
    yield element(
        "path",
        d="M486 404L430 382A38 38 0 1 0 470 438Z",
        fill=PAPER,
        stroke=INK,
        stroke_width=thin,
        stroke_linejoin="round",
    )
    yield from spokes((440, 420), 6, 26, 6, thin)
    yield circle((440, 420), 6, PAPER, thin)
    for (x1, y1), (x2, y2), count in (((486, 382), (780, 354), 19), ((512, 414), (742, 390), 15)):
        yield line([(x1, y1), (x2, y2)], 1.5 * thin)
        for n in range(count):
            x, y = x1 + (x2 - x1) * (n + 0.5) / count, y1 + (y2 - y1) * (n + 0.5) / count
            yield line([(x, y), (x + 9, y - 8)], thin)


def _residue(thin: float) -> Iterator[Markup]:
    """Deflector, chopper with its knives, spreader under the hood's end."""
    yield line([(816, 250), (824, 300)], 2.4 * thin)
    yield circle((816, 250), 4, PAPER, thin)
    yield circle((868, 322), 13, PAPER, thin)
    yield from spokes((868, 322), 13, 34, 6, 2 * thin, 15)
    yield circle((868, 322), 38, "none", thin, SOFT, stroke_dasharray=f"{2 * thin:.1f} {3 * thin:.1f}")
    for n in range(4):
        yield line([(826 + 9 * n, 366 + 2 * n), (834 + 9 * n, 352 + 4 * n)], thin)
    yield box(884, 396, 62, 11, PAPER, thin, round_=5)
    yield line([(915, 372), (915, 396)], 2 * thin)
    for n in range(3):
        y = 412 + 5 * n
        yield element(
            "path", d=f"M{950 - 10 * n} {y}q{26 - 2 * n} {8 + 4 * n} {34 - 4 * n} {34 - 4 * n}",
            fill="none", stroke=SOFT, stroke_width=thin, stroke_dasharray=f"{2 * thin:.1f} {3 * thin:.1f}",
            stroke_linecap="round",
        )  # fmt: skip


def _drives(thin: float, thick: float) -> Iterator[Markup]:
    """A belt from the engine's pulley to the countershaft's, in front of everything."""
    small, large = (690.0, 222.0), (650.0, 334.0)
    yield from belt_around(small, 15, large, 28, 2.2 * thin)
    for at, radius in ((small, 15.0), (large, 28.0)):
        yield circle(at, radius - 2 * thin, PAPER, thin)
        yield circle(at, 4, INK, thin)
    yield from spokes(large, 8, 20, 3, thick, 30)


def _feeder(thin: float, thick: float) -> Iterator[Markup]:
    """Feeder house with the drum in front, the head shaft behind, and the conveyor chain around both."""
    yield shape([(124, 404), (146, 460), (348, 336), (318, 268)], PAPER, thick)
    yield from belt_around((162, 420), 22, (314, 304), 17, thin)
    for share in (0.2, 0.4, 0.6, 0.8):
        x, y = 162 + 152 * share, 420 - 116 * share
        yield line([(x - 15, y - 20), (x - 12, y - 15)], 2 * thin)
        yield line([(x + 15, y + 14), (x + 12, y + 9)], 2 * thin)
    yield circle((162, 420), 14, TINT, thin)
    yield circle((314, 304), 10, TINT, thin)


def _header(kind: str, thin: float, thick: float) -> Iterator[Markup]:
    """A row header's snout and chain, a draper's belt, or a platform with auger; a reel where it has one."""
    if kind in ("corn-head", "row-crop-head"):
        yield shape([(10, 464), (30, 448), (120, 396), (136, 404), (142, 466)], PAPER, thick)
        yield from belt_around((54, 448), 7, (118, 416), 10, thin)
        yield line([(40, 466), (128, 450)], 1.6 * thin)
        return
    yield shape([(18, 466), (34, 456), (112, 462), (116, 396), (132, 396), (142, 468)], PAPER, thick)
    if kind == "draper":
        yield from belt_around((46, 452), 6, (104, 446), 6, thin)
    else:
        yield circle((92, 436), 20, PAPER, thin)
        yield from spokes((92, 436), 6, 20, 4, thin, 20)
    if kind not in ("pickup", "stripper-header"):
        yield line([(124, 396), (62, 366)], 2 * thin)
        yield circle((56, 368), 40, "none", thin)
        yield from spokes((56, 368), 4, 47, 6, thin, 10)
