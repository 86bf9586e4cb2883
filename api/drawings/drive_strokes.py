"""How each kind of drive is drawn and what is written on it: one entry a kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from api.drawings.look import INK, PAPER
from api.drawings.svg import NO_BREAK, Markup, label, line, text_width
from audit.measures import show
from audit.nouns.machine import ByPosition, Component
from audit.nouns.quantity import Sided, Value

UNKNOWN = "not known"

Values = Mapping[str, Value | Sided]
Stroke = Callable[[float, float, float, str], Markup]
"""From x to x at a height, in an ink."""


def _plain(x: float, end: float, y: float, ink: str) -> Markup:
    return line([(x, y), (end, y)], 3, ink, stroke_linecap="butt")


def _stepped(x: float, end: float, y: float, ink: str) -> Markup:
    return Markup(_plain(x, end, y - 1, ink) + line([(x, y + 3.5), (end, y + 3.5)], 1.2, ink))


def _variable(x: float, end: float, y: float, ink: str) -> Markup:
    return line([(x, y), (end, y)], 3, ink, stroke_linecap="butt", stroke_dasharray="9 3")


def _chain(x: float, end: float, y: float, ink: str) -> Markup:
    beads = line([(x + 3, y), (end, y)], 5, ink, stroke_dasharray="0.1 6.5")
    return Markup(line([(x, y), (end, y)], 1, ink) + beads)


def _gears(x: float, end: float, y: float, ink: str) -> Markup:
    return line([(x, y), (end, y)], 8, ink, stroke_linecap="butt", stroke_dasharray="2 2.5")


def _coupled(x: float, end: float, y: float, ink: str) -> Markup:
    outer = line([(x, y), (end, y)], 6, ink, stroke_linecap="butt")
    return Markup(outer + line([(x, y), (end, y)], 3, PAPER, stroke_linecap="butt"))


@dataclass(frozen=True, slots=True)
class DriveLook:
    """Attributes:
    word: short name for the legend.
    pairs: parameters of the driving and the driven end; two for an end that moves between two diameters.
    sign, unit: written before and after the pair.
    """

    word: str
    stroke: Stroke
    driver: tuple[str, ...] = ()
    driven: tuple[str, ...] = ()
    sign: str = ""
    unit: str = ""


LOOKS: Mapping[str, DriveLook] = {
    "v_belt": DriveLook("V-belt", _plain, ("driver_diameter",), ("driven_diameter",), "Ø\u00a0", ""),
    "stepped_v_belt": DriveLook("V-belt on steps", _stepped, ("driver_diameter",), ("driven_diameter",), "Ø\u00a0", ""),
    "variable_belt": DriveLook(
        "variable belt", _variable, ("driver_slow", "driver_fast"), ("driven_slow", "driven_fast"), "Ø\u00a0", ""
    ),
    "roller_chain": DriveLook("roller chain", _chain, ("driver_teeth",), ("driven_teeth",), "", " teeth"),
    "gear_pair": DriveLook("gears", _gears, ("driver_teeth",), ("driven_teeth",), "", " teeth"),
    "gear_range": DriveLook("gears", _gears, ("ratio",), (), "", " : 1"),
    "direct": DriveLook("coupled", _coupled, (), (), "", ""),
}
OTHER = DriveLook("other drive", _plain)
"""A kind that has no entry."""


def look_of(drive: Component) -> DriveLook:
    return LOOKS.get(drive.kind, OTHER)


def sizes(drive: Component, values: Values) -> str:
    """Pitch diameters, teeth or ratio of a drive as set; every choice where the position is not known."""
    look = look_of(drive)
    ends = ["–".join(_size(drive, name, values) for name in names) for names in (look.driver, look.driven) if names]
    return f"{look.sign}{f' →{NO_BREAK}'.join(ends)}{look.unit}" if ends else ""


def positions(drive: Component, values: Values) -> str:
    """Words of the settings and builds that a drive's sizes depend on; '' where they depend on none."""
    found = [value.by for _, value in drive.parameters if isinstance(value, ByPosition)]
    words = [_word(values.get(name)) for name in dict.fromkeys(found)]
    if words and set(words) == {UNKNOWN}:
        return f"position {UNKNOWN}"
    return (" on " if drive.kind == "stepped_v_belt" else ", ").join(words)


def _size(drive: Component, name: str, values: Values) -> str:
    value = values.get(f"{drive.id}.{name}")
    if isinstance(value, float):
        return show(value, "1")
    stated = dict(drive.parameters).get(name)
    if isinstance(stated, ByPosition):
        return " or ".join(show(one, "1") for _, one in stated.values if isinstance(one, float))
    return "not stated"


def _word(value: Value | Sided) -> str:
    return value if isinstance(value, str) else UNKNOWN


def legend_of(drives: tuple[Component, ...], x: float, y: float, width: float) -> tuple[Markup, float]:
    """The strokes that a machine's drives have, with their words, in rows; and the height of the rows."""
    parts: list[str] = []
    across, down = 0.0, 8.0
    for look in {look_of(drive).word: look_of(drive) for drive in drives}.values():
        wide = 40 + text_width(look.word, 12)
        if across and across + wide > width:
            across, down = 0.0, down + 21
        parts.append(look.stroke(x + across, x + across + 32, y + down, INK))
        parts.append(label(x + across + 40, y + down + 4.3, look.word, 12))
        across += wide + 18
    return Markup("".join(parts)), down + 12
