"""A machine from its left side with the findings of a report where they are, and a key to them under it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from api.drawings.look import FAINT, INK, LEVELS, SOFT
from api.drawings.machine_shapes import HIGH, PLACES, Threshing, machine, place_of, spot, threshing_of
from api.drawings.marks import HEIGHT, Box, Mark, Told, drawn, folded, legend, spread, told, unknown
from api.drawings.svg import Markup, Point, circle, drawing, element, label, line, paragraph, text_width, wrapped
from audit.nouns.finding import Report
from audit.nouns.machine import MachineCard
from audit.nouns.rule import Rule

Block = tuple[list[Markup], float]
"""Something drawn from its own top left corner, and its height."""

_SLOTS = {
    "cab": (290, False), "elevators": (570, False), "engine": (810, False), "residue": (1040, False),
    "header": (110, True), "feeder": (305, True), "threshing": (500, True), "cleaning": (690, True),
    "drives": (880, True), "field": (1090, True),
}  # fmt: skip
"""Where the name of each place stands in the wide form: its middle across, and whether it is under the machine."""
_SLOT = 176.0


@dataclass(frozen=True, slots=True)
class Form:
    """A layout. Text is never smaller than 12 units.

    Attributes:
        width: of the drawing.   scale, left, top: how the machine's own units lie in it.
        columns: of the key.   most: marks on the machine in all.   names: places are named on the machine.
    """

    width: float
    scale: float
    left: float
    top: float
    columns: int
    most: int
    names: bool

    def at(self, place: Point) -> Point:
        """A point of the machine in the drawing."""
        return self.left + place[0] * self.scale, self.top + place[1] * self.scale

    @property
    def below(self) -> float:
        """Where the machine and the names of its places end."""
        return self.top + HIGH * self.scale + (78 if self.names else 14)


NARROW = Form(360, 0.348, 6, 6, 1, 22, False)
"""For a phone held upright."""
WIDE_FORM = Form(1200, 1.1, 50, 66, 3, 48, True)
"""For a desk screen or a sheet of paper."""


def side_view(
    card: MachineCard, report: Report | None = None, rules: Mapping[str, Rule] | None = None, narrow: bool = False,
    keyed: bool = True,
) -> str:  # fmt: skip
    """The machine from its left side.

    Args:
        card: whose stations and threshing element are drawn.
        report: findings to place; None for the bare machine.
        rules: by id, for their titles.
        narrow: 360 units wide, to be shown on a phone; else 1200 wide.
        keyed: with what each mark means; left out where the findings stand beside the picture.
    Returns: SVG text; the same for the same arguments.
    """
    form = NARROW if narrow else WIDE_FORM
    found = told(report, card, rules or {})
    threshing = threshing_of(card)
    at = {station.id: place_of(station.id, card) for station in card.stations}
    parts = [
        element(
            "g", machine(threshing, report.header_kind if report else "", (1.6 if form.names else 1.0) / form.scale),
            transform=f"translate({form.left} {form.top}) scale({form.scale})", class_="machine",
        )
    ]  # fmt: skip
    titles: dict[str, list[str]] = {}
    for station in card.stations:
        titles.setdefault(at[station.id], []).append(station.title)
    names: list[Box] = []
    if form.names:
        for place in PLACES:
            if place in titles:
                parts.extend(_name(place, " / ".join(titles[place]), form.at(spot(place, threshing)), form, names))
    parts.extend(_marks(found, at, threshing, form, names))
    sign, high = legend(12, form.below + 8, form.width - 24)
    parts.append(sign)
    down = form.below + high + 22
    if keyed:
        blocks, height = _key(card, found, at, form, report is not None)
        parts.append(element("g", *blocks, class_="key", transform=f"translate(0 {down:.1f})"))
        down += height + 12
    return drawing(
        form.width, down, "side-view", f"{card.title}, from the left",
        _in_words(card, found, threshing.value, report), parts,
    )  # fmt: skip


def _name(place: str, title: str, at: Point, form: Form, names: list[Box]) -> Iterator[Markup]:
    """A place's name in its slot, with a line to the place."""
    across, under = _SLOTS[place]
    lines = wrapped(title, _SLOT, 14, most=2)
    wide = max(text_width(text, 14) for text in lines)
    top = form.below - 42 if under else 34 - 18.0 * (len(lines) - 1)
    yield line([(across, top - 16 if under else top + 18 * len(lines) - 12), at], 1, SOFT)
    yield circle(at, 3.5, INK, 0)
    yield paragraph(across, top, lines, 14, 18 / 14, fill=INK, anchor="middle")
    names.append((across - wide / 2, top - 14, wide, 18.0 * len(lines)))


def _marks(
    found: Sequence[Told], at: Mapping[str, str], threshing: Threshing, form: Form, names: Sequence[Box]
) -> Iterator[Markup]:
    """Marks on the machine, spread around their places; lines lead back from those that had to move away."""
    by_place: dict[str, list[Told]] = {}
    for one in found:
        if at.get(one.station):
            by_place.setdefault(at[one.station], []).append(one)
    most = next((n for n in range(8, 2, -1) if _count(by_place, n) <= form.most), 2)
    wanted: list[tuple[Point, Mark]] = []
    for place, here in by_place.items():
        wanted.extend((form.at(spot(place, threshing)), mark) for mark in folded(here, most))
    wanted.sort(key=lambda one: one[1].level)
    room = (2.0, 2.0, form.width - 4, form.below - 6)
    boxes = spread(wanted, room, names)
    for ((x, y), _), (left, top, wide, _) in zip(wanted, boxes, strict=True):
        middle = left + wide / 2, top + HEIGHT / 2
        if abs(middle[0] - x) > wide or abs(middle[1] - y) > HEIGHT:
            yield line([(x, y), middle], 1.2, INK)
    for (_, mark), (left, top, _, _) in zip(wanted, boxes, strict=True):
        yield drawn(mark, left, top)


def _count(by_place: Mapping[str, Sequence[Told]], most: int) -> int:
    return sum(len(folded(here, most)) for here in by_place.values())


def _key(
    card: MachineCard, found: Sequence[Told], at: Mapping[str, str], form: Form, audited: bool
) -> tuple[list[Markup], float]:
    """Findings by station in walk-round order, in columns; stations that the picture has no place for come last."""
    width = (form.width - 24 - 28 * (form.columns - 1)) / form.columns
    blocks: list[Block] = []
    if audited and not found:
        blocks.append(_block("No findings", [], width))
    known = {station.id for station in card.stations}
    for station in card.stations:
        here = [one for one in found if one.station == station.id]
        if at[station.id] and here:
            blocks.append(_block(station.title, here, width))
    for station in card.stations:
        if not at[station.id]:
            here = [one for one in found if one.station == station.id]
            blocks.append(_block(f"{station.title} (not on the picture)", here, width))
    elsewhere = [one for one in found if one.station not in known]
    if elsewhere:
        blocks.append(_block("The machine as a whole", elsewhere, width))
    share = sum(high for _, high in blocks) / form.columns
    placed: list[Markup] = []
    column, down, tallest = 0, 0.0, 0.0
    for drawn_parts, high in blocks:
        if down and column < form.columns - 1 and down + high / 2 > share:
            column, down = column + 1, 0.0
        place = f"translate({12 + column * (width + 28):.1f} {down:.1f})"
        placed.append(element("g", *drawn_parts, transform=place))
        down += high
        tallest = max(tallest, down)
    return placed, tallest


def _block(title: str, here: Sequence[Told], width: float) -> Block:
    """A station's name, its broken findings each with its mark, and how many questions are not known."""
    lines = wrapped(title, width, 14, bold=True)
    parts = [paragraph(0, 14, lines, 14, 1.25, bold=True)]
    down = 17.5 * len(lines) + 8
    rows: list[tuple[Mark, str, str]] = [
        (one.mark, LEVELS[one.mark.level].word.upper(), one.title) for one in here if one.known
    ]
    open_ = [one for one in here if not one.known]
    if open_:
        mark = unknown(open_)
        rows.append((mark, "NOT KNOWN", f"{len(open_)} to find out, at worst {LEVELS[mark.level].word}"))
    indent = max(44.0, max((mark.width for mark, _, _ in rows), default=0.0) + 10)
    for mark, word, text in rows:
        told_ = wrapped(text, width - indent, 13)
        parts.append(drawn(mark, 0, down))
        parts.append(label(indent, down + 11, word, 12, bold=True, fill=SOFT))
        parts.append(paragraph(indent, down + 27, told_, 13, 17 / 13))
        down += max(HEIGHT, 14 + 17 * len(told_)) + 9
    parts.insert(0, element("path", d=f"M0 {down + 1:.1f}h{width:.1f}", stroke=FAINT, stroke_width=0.8))
    return parts, down + 12


def _in_words(card: MachineCard, found: Sequence[Told], threshing: str, report: Report | None) -> str:
    """The drawing in words."""
    stations = {station.id: station.title for station in card.stations}
    words = [f"Schematic side view, front to the left, with {threshing}."]
    for one in found:
        if one.known:
            side = {"R": ", right side", "L+R": ", both sides"}.get(one.mark.side, "")
            words.append(f"{one.mark.tip}. At {stations.get(one.station, 'the machine as a whole')}{side}.")
    open_ = sum(not one.known for one in found)
    if open_:
        words.append(f"{open_} questions are not known.")
    if report is not None and not found:
        words.append("No findings.")
    return " ".join(words)
