"""Inks can be told from what they stand on, and levels from each other without colour.

Contrast by WCAG 2.2, "relative luminance" and "contrast ratio": text at least 4.5 (1.4.3), other marks 3 (1.4.11).
"""

from __future__ import annotations

import re

import pytest

from api.drawings.look import ACCENT, ACCENT_TINT, INK, LEVELS, PAPER, SOFT, TINT
from api.drawings.marks import Mark, drawn, glyph
from audit.nouns.risk import Level


def luminance(colour: str) -> float:
    shares = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_what_the_guidelines_say() -> None:
    """Black on white is 21:1 (WCAG 2.2, definition of contrast ratio)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize(
    ("ink", "ground"),
    [
        (INK, PAPER), (INK, TINT), (INK, ACCENT_TINT), (SOFT, PAPER), (SOFT, TINT), (SOFT, ACCENT_TINT),
        (ACCENT, PAPER), (ACCENT, ACCENT_TINT), (PAPER, INK),
        *((look.text, look.fill) for look in LEVELS.values()),
    ],
)  # fmt: skip
def test_text_can_be_read(ink: str, ground: str) -> None:
    assert contrast(ink, ground) >= 4.5


@pytest.mark.parametrize("level", Level)
def test_the_shape_of_a_level_stands_out(level: Level) -> None:
    for ground in (PAPER, TINT):
        assert contrast(LEVELS[level].outline, ground) >= 3


def test_levels_differ_in_shape_and_word() -> None:
    """Without its colours no mark looks like another's."""
    bare = {re.sub(r'(fill|stroke|class)="[^"]*"', "", glyph(level, (0, 0), 10)) for level in Level}
    marks = {re.sub(r'(fill|stroke|class)="[^"]*"', "", drawn(Mark("1", level), 0, 0)) for level in Level}
    assert len(bare) == len(marks) == len({look.word for look in LEVELS.values()}) == len(Level)
