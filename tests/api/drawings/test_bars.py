"""Plots: what is drawn is in proportion, every level is told apart without colour, no text runs into another."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.drawings.bars import Bar, Window, bars, windows
from api.drawings.look import LEVELS
from audit.nouns.risk import Level
from tests.api.drawings.reading import read

WORDS = {level: level.name.lower() for level in Level}
ENDS = ("too slow", "in its window", "too fast")


def fills(svg: str) -> dict[str, list[float]]:
    """Widths of the bars of each level, those of the key left out."""
    found: dict[str, list[float]] = {}
    for group in re.findall(r'<g class="(\w+)">(.*?)</g>', svg):
        width = float(re.search(r'width="([\d.]+)"', group[1])[1])  # type: ignore[index]
        found.setdefault(group[0], []).append(width)
    return {word: widths[:-1] for word, widths in found.items()}


def test_bars_are_as_long_as_their_amounts() -> None:
    rows = [Bar("one", {Level.HIGH: 10.0, Level.LOW: 5.0}, "15 h"), Bar("two", {Level.HIGH: 2.5}, "2.5 h")]
    found = fills(bars("Risk", "Hours [h]", rows, WORDS))
    high, low = found["high"], found["low"]
    assert high[0] / high[1] == pytest.approx(4, rel=1e-3)
    assert high[0] / low[0] == pytest.approx(2, rel=1e-3)


def test_axis_units_names_and_a_key_are_written() -> None:
    found = read(
        bars("Risk by farm", "Hours of standing at risk [h]", [Bar("Oxgill", {Level.MEDIUM: 3}, "3 h")], WORDS)
    )
    for text in ("Risk by farm", "Hours of standing at risk [h]", "Oxgill", "3 h", *WORDS.values()):
        assert text in found.written()
    assert "Oxgill: 3 h" in found.told


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_levels_are_told_apart_without_colour() -> None:
    rows = [Bar("x", dict.fromkeys(Level, 10.0), "40 h")]
    svg = bars("Risk", "h", rows, WORDS)
    looks: dict[str, int] = {}
    for word, inside in re.findall(r'<g class="(\w+)">(.*?)</g>', svg):
        looks.setdefault(word, inside.count("<polyline"))
    hatched = {word: count for word, count in looks.items() if count}
    assert set(hatched) == {"serious", "medium"}
    assert hatched["serious"] > 1.5 * hatched["medium"]
    dark, light = luminance(LEVELS[Level.HIGH].fill), luminance(LEVELS[Level.LOW].fill)
    assert (light + 0.05) / (dark + 0.05) > 4.5


@given(
    st.lists(
        st.tuples(st.text(max_size=40), st.lists(st.floats(0, 1e7), min_size=4, max_size=4)), min_size=1, max_size=14
    )
)
def test_whatever_is_drawn_stays_on_the_drawing(some: list[tuple[str, list[float]]]) -> None:
    rows = [Bar(name, dict(zip(Level, amounts, strict=True)), f"{sum(amounts):.1f} h") for name, amounts in some]
    found = read(bars("Risk", "h", rows, WORDS))
    for text in found.texts:
        assert text.left >= -0.5, text
        assert text.right <= found.width + 0.5, text
        assert text.bottom <= found.height + 0.5, text


def test_a_value_outside_its_window_has_another_shape_and_bold_text() -> None:
    rows = [
        Window("inside", (520.0,), 505.0, 535.0, "520 r/min (505–535)"),
        Window("on the edge", (505.0,), 505.0, 535.0, "505 r/min (505–535)"),
        Window("outside", (497.0,), 505.0, 535.0, "497 r/min (505–535)"),
        Window("open", (900.0, 1200.0), None, 1150.0, "1 of 2 outside"),
    ]
    svg = windows("Speeds", ENDS, rows)
    assert [row.outside for row in rows] == [0, 0, 1, 1]
    assert svg.count("<polygon") == 2
    assert svg.count("<circle") == 3
    bold = re.findall(r'font-weight="bold"[^>]*>([^<]*)', svg)
    assert "497 r/min (505–535)" in bold
    assert "520 r/min (505–535)" not in bold


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(0, 1e6))
def test_values_lie_on_their_side_of_the_window(value: float, low: float, wide: float) -> None:
    row = Window("x", (value,), low, low + wide, "text")
    svg = windows("t", ENDS, [row])
    x = float(re.search(r'<(?:circle cx|polygon points)="([\d.]+)', svg)[1])  # type: ignore[index]
    left, right = 196 + 0.3 * 220, 196 + 0.7 * 220
    if row.outside:
        assert x <= left + 0.1 if value < low else x >= right - 0.1
    else:
        assert left - 0.1 <= x <= right + 0.1
