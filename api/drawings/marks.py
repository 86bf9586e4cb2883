"""Findings as marks on a drawing: level by colour, shape and word; number, side, and how many where several are one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from api.drawings.look import FAINT, INK, LEVELS, PAPER
from api.drawings.svg import Markup, Point, box, circle, element, group, label, shape, text_width
from audit.nouns.finding import Finding, Report
from audit.nouns.machine import MachineCard
from audit.nouns.risk import Level
from audit.nouns.rule import Rule, Verdict

Box = tuple[float, float, float, float]
"""x, y, width, height."""

HEIGHT = 26.0
SIZE = 13.0
_TAG = 12.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark.

    Attributes:
        text: a finding's number; '?7' for seven that are not known; '+7' for seven more.
        level: of the finding, or the worst of several.
        side: 'R' right side, 'L+R' both sides, '' left side or no side.
        tip: the finding in words.
    """

    text: str
    level: Level
    side: str = ""
    tip: str = ""

    @property
    def width(self) -> float:
        wide = text_width(self.text, SIZE, bold=True)
        if self.text[0] in "?+":
            return wide + 28
        inner = max(30.0, 1.8 * wide + 10) if self.level is Level.SERIOUS else max(HEIGHT, wide + 10)
        return inner + (text_width(self.side, _TAG, bold=True) + 7 if self.side else 0)


@dataclass(frozen=True, slots=True)
class Told:
    """A finding with what a drawing says about it.

    Attributes:
        station, on: where; '' for nowhere in particular.
        known: False for a question that can't be answered.
        title: of the rule, with its component.
    """

    mark: Mark
    station: str
    on: str
    known: bool
    title: str


def told(report: Report | None, card: MachineCard, rules: Mapping[str, Rule]) -> list[Told]:
    """Findings of a report as marks, worst first; broken ones are numbered as in every other form of the report."""
    if report is None:
        return []
    titles = {component.id: component.title for component in card.components()}
    stations = {station.id: station.title for station in card.stations}
    found: list[Told] = []
    count = 0
    for finding in report.findings:
        known = finding.verdict is Verdict.BROKEN
        count += known
        on = _component(finding, titles)
        rule = rules.get(finding.rule)
        title = (rule.title if rule else finding.rule) + (f", {titles[finding.on]}" if finding.on in titles else "")
        side = _side(finding, titles.get(finding.on, ""), stations.get(finding.station, ""))
        word = LEVELS[finding.risk.level].word
        tip = f"{count}, {word}: {title}" if known else f"Not known, at worst {word}: {title}"
        mark = Mark(str(count) if known else "?1", finding.risk.level, side, tip)
        found.append(Told(mark, finding.station, on, known, title))
    return found


def _component(finding: Finding, titles: Mapping[str, str]) -> str:
    """The component a finding is about; by the quantity it looks at where the rule is asked once a machine."""
    names = (finding.on, *(found.quantity.partition(".")[0] for found in finding.comparisons))
    return next((name for name in names if name in titles), "")


def _side(finding: Finding, component: str, station: str) -> str:
    """The side by what was found; else by a title that names one, a component's before its station's."""
    sides = {found.side for found in finding.comparisons} - {""}
    if not sides:
        for title in (component, station):
            sides = {"left", "right"} & set(title.lower().replace(",", " ").split())
            if sides:
                break
    if "right" not in sides:
        return ""
    return "L+R" if "left" in sides else "R"


def unknown(found: Sequence[Told]) -> Mark:
    """One mark for several questions that can't be answered."""
    return Mark(f"?{len(found)}", *_worst(found), tip=f"{len(found)} not known, at worst {_word(found)}")


def more(found: Sequence[Told]) -> Mark:
    """One mark for those findings of a place that have no room there."""
    return Mark(f"+{len(found)}", *_worst(found), tip=f"{len(found)} more, at worst {_word(found)}")


def _worst(found: Sequence[Told]) -> tuple[Level, str]:
    return min(one.mark.level for one in found), ""


def _word(found: Sequence[Told]) -> str:
    return LEVELS[min(one.mark.level for one in found)].word


def folded(found: Sequence[Told], most: int) -> list[Mark]:
    """Marks for one place: broken ones up to ``most`` in all, the rest as one, then those not known as one."""
    broken = [one for one in found if one.known]
    open_ = [one for one in found if not one.known]
    kept = broken if len(broken) <= most else broken[: most - 1]
    marks = [one.mark for one in kept]
    if len(kept) < len(broken):
        marks.append(more(broken[len(kept) :]))
    return marks + ([unknown(open_)] if open_ else [])


def glyph(level: Level, at: Point, size: float) -> Markup:
    """The bare shape of a level, centred."""
    look, (x, y), half = LEVELS[level], at, size / 2
    if level is Level.HIGH:
        return box(x - half, y - half, size, size, look.fill, 1.2, look.outline, 1)
    if level is Level.SERIOUS:
        return shape(
            [(x, y - half), (x + half * 1.1, y + half), (x - half * 1.1, y + half)], look.fill, 1.2, look.outline
        )
    return circle(at, half, look.fill, 1.2 if level is Level.MEDIUM else 2, look.outline)


def drawn(mark: Mark, x: float, y: float) -> Markup:
    """A mark with its top left corner at (x, y), ``mark.width`` wide and HEIGHT high."""
    middle = y + HEIGHT / 2
    if mark.text[0] in "?+":
        dashed = "3 3" if mark.text[0] == "?" else None
        return group(
            box(x + 1, y + 1, mark.width - 2, HEIGHT - 2, PAPER, 1.3, INK, 12, stroke_dasharray=dashed),
            glyph(mark.level, (x + 13, middle), 10),
            label(x + 22, middle + 4.7, mark.text, SIZE, bold=True),
            tip=mark.tip,
            class_=f"mark {LEVELS[mark.level].word}",
        )
    look = LEVELS[mark.level]
    tag = text_width(mark.side, _TAG, bold=True) + 7 if mark.side else 0.0
    wide = mark.width - tag
    parts = []
    if mark.side:
        parts.append(box(x + wide - 8, y + 4, tag + 7, HEIGHT - 8, INK, 1, INK, 3))
        parts.append(label(x + wide + tag - 3.5, middle + 4.3, mark.side, _TAG, True, PAPER, "end"))
    if mark.level is Level.HIGH:
        parts.append(box(x + 1, y + 1, wide - 2, HEIGHT - 2, look.fill, 1.5, look.outline, 3))
    elif mark.level is Level.SERIOUS:
        corners = [(x + wide / 2, y + 1), (x + wide - 1, y + HEIGHT - 1), (x + 1, y + HEIGHT - 1)]
        parts.append(shape(corners, look.fill, 1.5, look.outline))
    else:
        line = 1.5 if mark.level is Level.MEDIUM else 2.5
        parts.append(box(x + 1, y + 1, wide - 2, HEIGHT - 2, look.fill, line, look.outline, HEIGHT / 2 - 1))
    low = 3.5 if mark.level is Level.SERIOUS else 0
    parts.append(label(x + wide / 2, middle + 4.7 + low, mark.text, SIZE, True, look.text, "middle"))
    return group(*parts, tip=mark.tip, class_=f"mark {look.word}")


def spread(wanted: Iterable[tuple[Point, Mark]], room: Box, taken: Sequence[Box] = ()) -> list[Box]:
    """A box for each mark, as near to its place as those before it leave room for; no two overlap.

    Args:
        wanted: where the middle of each mark belongs.
        room: boxes stay inside it, as long as it has room.   taken: what they stay off.
    """
    boxes: list[Box] = []
    for (x, y), mark in wanted:
        boxes.append(_nearest(x, y, mark.width, room, [*taken, *boxes]))
    return boxes


def _nearest(x: float, y: float, width: float, room: Box, taken: Sequence[Box]) -> Box:
    left, top, wide, high = room
    lowest, rightmost = top + high - HEIGHT, left + wide - width
    for dx, dy in _STEPS:
        near = (x - width / 2 + dx, y - HEIGHT / 2 + dy, width, HEIGHT)
        if left <= near[0] <= rightmost and top <= near[1] <= lowest and not any(overlap(near, one) for one in taken):
            return near
    below = max((one[1] + one[3] for one in taken), default=top)
    return (min(max(left, x - width / 2), rightmost), below + 2, width, HEIGHT)


_STEPS = sorted(
    ((dx * 7.0, dy * 7.0) for dx in range(-60, 61) for dy in range(-40, 41)),
    key=lambda step: (step[0] ** 2 + (1.3 * step[1]) ** 2, step[1], step[0]),
)
"""Steps away from a place, nearest first; sideways before up or down."""


def overlap(one: Box, other: Box, gap: float = 2.0) -> bool:
    """Whether two boxes are nearer to each other than a gap."""
    return (
        one[0] < other[0] + other[2] + gap
        and other[0] < one[0] + one[2] + gap
        and one[1] < other[1] + other[3] + gap
        and other[1] < one[1] + one[3] + gap
    )


def in_row(marks: Sequence[Mark], width: float) -> tuple[list[Point], float]:
    """Places for marks in rows no wider than ``width``, from (0, 0), and the height of the rows."""
    places: list[Point] = []
    x = y = 0.0
    for mark in marks:
        if places and x + mark.width > width:
            x, y = 0.0, y + HEIGHT + 3
        places.append((x, y))
        x += mark.width + 3
    return places, y + HEIGHT if marks else 0.0


def legend(x: float, y: float, width: float, sides: bool = True) -> tuple[Markup, float]:
    """What the marks mean, in rows no wider than ``width`` from the corner (x, y); and the height of the rows."""
    entries = [(glyph(level, (7, 0), 13), 19.0, look.word) for level, look in LEVELS.items()]
    pill = box(0, -9, 22, 18, PAPER, 1.2, INK, 9, stroke_dasharray="3 3")
    entries.append((Markup(pill + label(11, 4.5, "?", 12, True, INK, "middle")), 28.0, "not known"))
    if sides:
        for tag, wide, words in (("R", 18.0, "right side"), ("L+R", 34.0, "both sides")):
            sign = box(0, -9, wide, 18, INK, 1, INK, 3) + label(wide / 2, 4.3, tag, 12, True, PAPER, "middle")
            entries.append((Markup(sign), wide + 6, words))
    parts: list[Markup] = []
    across, down = 0.0, 10.0
    for sign, indent, words in entries:
        wide = indent + text_width(words, 12)
        if across and across + wide > width:
            across, down = 0.0, down + 22
        parts.append(element("g", sign, transform=f"translate({x + across:.1f} {y + down:.1f})"))
        parts.append(label(x + across + indent, y + down + 4.3, words, 12))
        across += wide + 16
    parts.append(element("path", d=f"M{x:.1f} {y - 4:.1f}h{width:.1f}", stroke=FAINT, stroke_width=1))
    return Markup("".join(parts)), down + 10
