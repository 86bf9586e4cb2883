"""Reads a drawing back: its texts with the boxes they take, its marks, and whatever a strict page would refuse."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from api.drawings.svg import text_width

SVG = "{http://www.w3.org/2000/svg}"
TAGS = {"svg", "title", "desc", "g", "rect", "circle", "polygon", "polyline", "path", "text"}
ATTRIBUTES = {
    "viewBox", "role", "class", "font-family", "font-size", "font-weight", "text-anchor", "fill", "stroke", "stroke-width",
    "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "transform", "points", "d", "x", "y", "width", "height", "rx",
    "cx", "cy", "r",
}  # fmt: skip


@dataclass(frozen=True)
class Text:
    """A text and the box it takes."""

    text: str
    size: float
    fill: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class Read:
    """A drawing as read back; ``classes`` and ``tips`` are those of its groups, in order."""

    width: float
    height: float
    title: str
    told: str
    texts: tuple[Text, ...]
    classes: tuple[str, ...]
    tips: tuple[str, ...]

    def written(self) -> str:
        return " ".join(text.text for text in self.texts)


def read(svg: str) -> Read:
    """Parse a drawing; an assertion fails on any element or attribute outside the few that drawings use."""
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    for node in root.iter():
        assert node.tag.removeprefix(SVG) in TAGS
        assert set(node.attrib) <= ATTRIBUTES, set(node.attrib) - ATTRIBUTES
        assert not any("url(" in value or "://" in value for value in node.attrib.values())
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    groups = list(root.iter(f"{SVG}g"))
    return Read(
        width,
        height,
        root.findtext(f"{SVG}title") or "",
        root.findtext(f"{SVG}desc") or "",
        tuple(_texts(root, 0.0, 0.0, 1.0)),
        tuple(node.attrib.get("class", "") for node in groups),
        tuple(tip for node in groups if (tip := node.findtext(f"{SVG}title")) is not None),
    )


def _texts(node: ElementTree.Element, x: float, y: float, scale: float) -> Iterator[Text]:
    transform = node.attrib.get("transform", "")
    moved = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", transform)
    scaled = re.search(r"scale\(([\d.]+)\)", transform)
    if moved:
        x, y = x + scale * float(moved[1]), y + scale * float(moved[2])
    if scaled:
        scale *= float(scaled[1])
    if node.tag == f"{SVG}text":
        text, size = node.text or "", float(node.attrib["font-size"]) * scale
        wide = text_width(text, size, node.attrib.get("font-weight") == "bold")
        start = {"middle": wide / 2, "end": wide}.get(node.attrib.get("text-anchor", ""), 0.0)
        left, base = x + scale * float(node.attrib["x"]) - start, y + scale * float(node.attrib["y"])
        yield Text(text, size, node.attrib["fill"], left, base - 0.76 * size, left + wide, base + 0.2 * size)
    for child in node:
        yield from _texts(child, x, y, scale)


def overlapping(found: Read) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes overlap."""
    return [
        (one.text, other.text)
        for one, other in combinations(found.texts, 2)
        if one.left < other.right and other.left < one.right and one.top < other.bottom and other.top < one.bottom
    ]


def outside(found: Read) -> list[str]:
    """Texts that reach over the edge of the drawing."""
    return [
        text.text
        for text in found.texts
        if text.left < 0 or text.top < 0 or text.right > found.width or text.bottom > found.height
    ]
