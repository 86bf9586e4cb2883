"""A small picture for each position that a setting can have, so that a person sees which one is meant."""

from __future__ import annotations

from collections.abc import Mapping

from api.drawings.position_pictures import HIGH, PICTURES, WIDE
from api.drawings.svg import element, number
from audit.nouns.quantity import Quantity, Value

OTHER_END = {"small": "large", "large": "small"}
"""A stepped belt fits only where the other sheave has the other step."""


def pictures(quantity: Quantity) -> dict[str, str]:
    """SVG by word, for the words that can be drawn; nothing for a number. It stands beside the word that says the same,
    so it has no words of its own."""
    attribute = quantity.name.rpartition(".")[2]
    picture = PICTURES.get(quantity.name) or PICTURES.get(f".{attribute}")
    if picture is None:
        return {}
    found: dict[str, str] = {}
    for word, _ in quantity.words:
        if word in picture.words:
            drawn = picture.draw(_values(attribute, word, picture.parts), 1.0)
            found[word] = element(
                "svg", *drawn, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {number(WIDE)} {number(HIGH)}",
                class_="drawing", font_family="sans-serif",
            )  # fmt: skip
    return found


def _values(attribute: str, word: str, parts: tuple[str, ...]) -> Mapping[str, Value]:
    """The position, and at the other end of a belt the step that goes with it."""
    return {one: word if one == attribute else OTHER_END.get(word) for one in parts}
