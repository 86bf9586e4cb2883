"""Inks and tints of the drawings: dark on white, one neutral accent, and the four safety colours with a meaning.

Red, orange, yellow and blue stand for the levels of risk in the order that safety signs give them (ISO 3864-1, ANSI
Z535.1); the tints are our own. Every level also has a shape and a word.
"""

from __future__ import annotations

from dataclasses import dataclass

from audit.nouns.risk import Level

INK = "#1b1f24"
SOFT = "#565d66"
"""Second-rank text."""
FAINT = "#a7adb5"
"""Outlines that only carry others."""
TINT = "#eef0f2"
PAPER = "#ffffff"
ACCENT = "#54436b"
"""What a plan changes."""
ACCENT_TINT = "#efecf4"


@dataclass(frozen=True, slots=True)
class Look:
    """How a level of risk looks: fill, outline and number of its shape, and its word."""

    fill: str
    outline: str
    text: str
    word: str


LEVELS = {
    Level.HIGH: Look("#b3131b", "#7d0d13", PAPER, "high"),
    Level.SERIOUS: Look("#f08a24", INK, INK, "serious"),
    Level.MEDIUM: Look("#f7d038", INK, INK, "medium"),
    Level.LOW: Look(PAPER, "#0b5394", "#0b5394", "low"),
}
