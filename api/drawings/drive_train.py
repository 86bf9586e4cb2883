"""The drive train from the engine outwards: shafts as boxes in layers, drives as lines, speeds, findings, and a plan.

Every shaft is driven once, so no two lines cross. The wide form has a column for each layer; the narrow form indents.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from api.drawings.drive_strokes import Values, legend_of, look_of
from api.drawings.look import ACCENT, ACCENT_TINT, INK, PAPER, SOFT
from api.drawings.marks import drawn, in_row, legend, told
from api.drawings.svg import Markup, box, circle, drawing, group, label, line, paragraph, text_width, wrapped
from api.drawings.train_words import ShaftWords, told_in_words, train_words
from audit.facts import compute
from audit.nouns.finding import Report
from audit.nouns.plan import Plan
from audit.nouns.rule import Rule
from audit.nouns.setup import Setup
from audit.sheet import Sheet

_BOX, _GAP, _EDGE = 126.0, 124.0, 14.0
_NARROW, _STEP = 360.0, 15.0
_LINE, _SMALL = 17.0, 15.5
_TRUNK = 14.0


def values_after(sheet: Sheet, setup: Setup, plan: Plan) -> Values:
    """Everything known of a setup once a plan is done."""
    known = {name: value for name, value in plan.values.items() if value is not None}
    return compute(sheet, replace(setup, values=known)).values


def drive_train(
    sheet: Sheet,
    values: Values,
    report: Report | None = None,
    rules: Mapping[str, Rule] | None = None,
    after: Values | None = None,
    narrow: bool = False,
) -> str:
    """The drive train of a machine with one setup.

    Args:
        sheet: of the machine's card.
        values: everything known of the setup, as ``compute`` gives it; empty for the bare card.
        report: findings to mark; None for none.   rules: by id, for their titles.
        after: everything known once a plan is done; what differs is shown with both values.
        narrow: 360 units wide, to be shown on a phone; else as wide as the layers need.
    Returns: SVG text; the same for the same arguments.
    """
    card = sheet.card
    found = told(report, card, rules or {})
    train = train_words(card, {**sheet.constants, **values}, after, found, 3)
    if narrow:
        width, (parts, height) = _NARROW, _indented(train)
    else:
        width, (parts, height) = _width(train), _layered(train)
    top = 12.0
    head = [*_heading(card.title, any(one.changed for one in train.walk()), width)]
    down = top + 20.0 * len(head) + 4
    written = [label(_EDGE, top + 14 + 20 * n, text, 14 if n == 0 else 12, n == 0, INK if n == 0 else SOFT)
               for n, text in enumerate(head)]  # fmt: skip
    strokes, high = legend_of(card.drives, _EDGE, down + 4, width - 2 * _EDGE)
    down += high + 12
    body = group(*parts, transform=f"translate(0 {down:.1f})", class_="train")
    down += height + 14
    on_train = {one.shaft.id for one in train.walk()} | {drive.id for drive in card.drives}
    end: list[Markup] = []
    if found:
        signs, high = legend(_EDGE, down, width - 2 * _EDGE)
        end.append(signs)
        down += high + 6
        off = sum(one.on not in on_train for one in found)
        if off:
            note = f"{off} {'finding is' if off == 1 else 'findings are'} on none of these shafts and drives."
            lines = wrapped(note, width - 2 * _EDGE, 12)
            end.append(paragraph(_EDGE, down + 10, lines, 12, fill=SOFT))
            down += 16.0 * len(lines) + 4
    titles = {shaft.id: shaft.title for shaft in card.shafts}
    return drawing(
        width, down + 8, "drive-train", f"Drive train, {card.title}", " ".join(told_in_words(train, titles)),
        [*written, strokes, body, *end],
    )  # fmt: skip


def _heading(title: str, planned: bool, width: float) -> Iterator[str]:
    inner = width - 2 * _EDGE
    yield wrapped(title, inner, 14, True, 1)[0]
    how = "Speeds at governed engine speed. On the drives: pitch diameters in mm or teeth, driver → driven."
    yield from wrapped(how, inner, 12)
    if planned:
        yield from wrapped("In the second ink: what the plan changes, as it was and as it will be.", inner, 12)


def _width(train: ShaftWords) -> float:
    layers = 1 + max(one.depth for one in train.walk())
    return max(640.0, 2 * _EDGE + layers * _BOX + (layers - 1) * _GAP)


# --- a shaft's box


def _more_lines(one: ShaftWords, width: float) -> list[str]:
    """Reach and measured speed, on one line where there is room."""
    both = " · ".join(one.more)
    if text_width(both, 12) <= width:
        return [both] if both else []
    return [part for text in one.more for part in wrapped(text, width, 12)]


def _beside(one: ShaftWords, width: float) -> bool:
    """Whether title and speed have room on one line."""
    speed = _speed_lines(one, width)
    return len(speed) == 1 and text_width(one.shaft.title, 13, True) + text_width(speed[0][0], 13, True) + 12 <= width


def _speed_lines(one: ShaftWords, width: float) -> list[tuple[str, bool]]:
    """Lines for the speed, each with whether it is what the plan brings."""
    if not one.speed_after:
        return [(one.speed, False)]
    was = one.speed.removeprefix("speed ")
    both = f"{was.removesuffix(' r/min')} → {one.speed_after}"
    if text_width(both, 13, True) <= width:
        return [(both, True)]
    return [(f"was {was}", False), (f"→ {one.speed_after}", True)]


def _box_height(one: ShaftWords, width: float) -> float:
    inner = width - 16
    rows = in_row(one.marks, inner)[1]
    more = len(_more_lines(one, inner))
    titles = len(wrapped(one.shaft.title, inner, 13, True))
    speeds = 0 if _beside(one, inner) else len(_speed_lines(one, inner))
    return 13 + (titles + speeds) * _LINE + more * _SMALL + (rows + 5 if rows else 0)


def _shaft(one: ShaftWords, x: float, y: float, width: float) -> Markup:
    """A shaft's box with its top left corner at (x, y)."""
    inner, height = width - 16, _box_height(one, width)
    changed = bool(one.speed_after)
    parts = [box(x, y, width, height, ACCENT_TINT if changed else PAPER, 1.6, ACCENT if changed else INK, 5)]
    if changed:
        parts.append(box(x - 3, y - 3, width + 6, height + 6, "none", 1.2, ACCENT, 7))
    down = y + 18
    for text in wrapped(one.shaft.title, inner, 13, True):
        parts.append(label(x + 8, down, text, 13, True))
        down += _LINE
    beside = _beside(one, inner)
    for text, new in _speed_lines(one, inner):
        ink = ACCENT if new else INK
        if beside:
            parts.append(label(x + width - 8, down - _LINE, text, 13, new, ink, "end"))
        else:
            parts.append(label(x + 8, down, text, 13, new, ink))
            down += _LINE
    for text in _more_lines(one, inner):
        parts.append(label(x + 8, down - 1, text, 12, fill=SOFT))
        down += _SMALL
    for mark, (dx, dy) in zip(one.marks, in_row(one.marks, inner)[0], strict=True):
        parts.append(drawn(mark, x + 8 + dx, down - 10 + dy))
    return group(*parts, tip=one.shaft.title, class_="shaft changed" if changed else "shaft")


def _drive_text(one: ShaftWords, width: float, word: str = "") -> list[tuple[str, bool]]:
    """What is written on a drive in lines, each with whether it is what the plan sets; ``word`` goes first."""
    lines = one.drive_lines() or ([("", False)] if word else [])
    if word:
        text, new = lines[0]
        lines = [(f"{word} {text}".strip(), new), *lines[1:]]
    return [(part, new) for text, new in lines for part in wrapped(text, width, 12, new)]


def _ink(one: ShaftWords) -> str:
    return ACCENT if one.sizes_after or one.positions_after else INK


# --- the wide form


def _above_below(one: ShaftWords) -> tuple[float, float]:
    """How far a shaft with its drive reaches above and below the line that joins it to its driver."""
    half = _box_height(one, _BOX) / 2 + 3
    label_width = _GAP - _TRUNK - 20
    above = 10 + _SMALL * len(_drive_text(one, label_width))
    below = 9 + in_row(one.drive_marks, label_width)[1]
    return max(half, above), max(half, below)


def _layered(train: ShaftWords) -> tuple[list[Markup], float]:
    """Boxes in columns; a shaft stands level with the first that it drives."""
    parts: list[Markup] = []

    def place(one: ShaftWords, top: float) -> tuple[float, float]:
        """Draws a shaft and all behind it below ``top``; gives the height of its line and where it ends."""
        above, below = _above_below(one)
        x = _EDGE + one.depth * (_BOX + _GAP)
        if not one.driven:
            middle, end = top + above, top + above + below
        else:
            first_above = _above_first(one)
            start = top + max(0.0, above - first_above)
            lines: list[float] = []
            end = start
            for other in one.driven:
                line_at, end = place(other, end if not lines else end + 12)
                lines.append(line_at)
            middle = lines[0]
            end = max(end, middle + below)
            trunk = x + _BOX + _TRUNK
            parts.append(line([(x + _BOX, middle), (trunk, middle), (trunk, lines[-1])], 1.6, INK))
            for other, at in zip(one.driven, lines, strict=True):
                parts.append(_drive_across(other, trunk, at))
        parts.append(_shaft(one, x, middle - _box_height(one, _BOX) / 2, _BOX))
        return middle, end

    _, height = place(train, 4)
    return parts, height


def _above_first(one: ShaftWords) -> float:
    """How far a shaft's row reaches above its line: the highest of those that stand level with it."""
    above = 0.0
    while one.driven:
        one = one.driven[0]
        above = max(above, _above_below(one)[0])
    return above


def _drive_across(one: ShaftWords, trunk: float, y: float) -> Markup:
    """A drive from the trunk of its driver to its shaft, with what is written on it and its findings."""
    assert one.drive is not None
    end = trunk + _GAP - _TRUNK
    ink = _ink(one)
    parts = [look_of(one.drive).stroke(trunk, end, y, ink), circle((trunk, y), 4.5, PAPER, 1.8, ink)]
    parts.append(circle((end - 5, y), 4.5, PAPER, 1.8, ink))
    lines = _drive_text(one, _GAP - _TRUNK - 20)
    for n, (text, new) in enumerate(lines):
        parts.append(label(trunk + 10, y - 10 - _SMALL * (len(lines) - 1 - n), text, 12, new, ACCENT if new else SOFT))
    for mark, (dx, dy) in zip(one.drive_marks, in_row(one.drive_marks, _GAP - _TRUNK - 20)[0], strict=True):
        parts.append(drawn(mark, trunk + 10 + dx, y + 9 + dy))
    return group(*parts, tip=one.drive.title, class_="drive")


# --- the narrow form


def _indented(train: ShaftWords) -> tuple[list[Markup], float]:
    """A row for each shaft under its driver, indented by its layer; the trunk of a driver runs down at its left."""
    parts: list[Markup] = []
    trunks: list[Markup] = []

    def place(one: ShaftWords, top: float) -> tuple[float, float]:
        """Draws a shaft and all behind it below ``top``; gives the height of its drive's line and where it ends."""
        x = _EDGE - 4 + one.depth * _STEP
        line_at, down = top + 8, top
        if one.drive is not None:
            text_x = x + 30
            lines = _drive_text(one, _NARROW - _EDGE - text_x, look_of(one.drive).word)
            marks, high = in_row(one.drive_marks, _NARROW - _EDGE - text_x)
            row = [look_of(one.drive).stroke(x - _STEP + 7, x + 20.8, line_at, _ink(one))]
            row.append(circle((x - _STEP + 7, line_at), 3.5, PAPER, 1.6, _ink(one)))
            for n, (text, new) in enumerate(lines):
                row.append(label(text_x, line_at + 4.3 + n * _SMALL, text, 12, new, ACCENT if new else SOFT))
            down = line_at + 9 + _SMALL * max(0, len(lines) - 1)
            for mark, (dx, dy) in zip(one.drive_marks, marks, strict=True):
                row.append(drawn(mark, text_x + dx, down + 1 + dy))
            down += high + (4 if high else 0) + 2
            row.append(line([(x + 20, line_at), (x + 20, down)], 1.6, _ink(one)))
            parts.append(group(*row, tip=one.drive.title, class_="drive"))
        width = _NARROW - _EDGE - x + 4
        parts.append(_shaft(one, x, down, width))
        end = down + _box_height(one, width)
        bottom, reach = end, end
        for other in one.driven:
            reach, end = place(other, end + 12)
        if one.driven:
            trunks.append(line([(x + 7, bottom), (x + 7, reach)], 1.6, INK))
        return line_at, end

    _, height = place(train, 4)
    return [*trunks, *parts], height
