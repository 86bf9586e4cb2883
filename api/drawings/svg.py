"""A small writer of SVG: escaped text, short numbers, presentation attributes, and how wide a text will be."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import NewType

from api.drawings.look import INK, PAPER

Markup = NewType("Markup", str)
"""Text that is SVG already."""

Point = tuple[float, float]

NO_BREAK = "\u00a0"
"""A blank at which no line is broken."""

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_ESCAPES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"})


_words: ContextVar[Callable[[str], str] | None] = ContextVar("words of drawings", default=None)


@contextmanager
def in_words(tell: Callable[[str], str]) -> Iterator[None]:
    """Every text that is drawn meanwhile is told by ``tell`` first, before it is measured and broken into lines."""
    before = _words.set(tell)
    try:
        yield
    finally:
        _words.reset(before)


def told(text: str) -> str:
    """A text of a drawing as its reader wants it."""
    tell = _words.get()
    return text if tell is None else tell(text)


def cleaned(text: str) -> str:
    """The text on one line, without what XML 1.0 forbids and without signs that turn the direction of writing."""
    kept = (
        " " if char.isspace() and char != NO_BREAK else char
        for char in text
        if char.isspace()
        or not (unicodedata.category(char) in ("Cc", "Cs") or char in _BIDI or ord(char) & 0xFFFE == 0xFFFE)
    )
    return " ".join(word for word in "".join(kept).split(" ") if word)


def escaped(text: str) -> Markup:
    """Text as it stands in SVG."""
    return Markup(cleaned(text).translate(_ESCAPES))


def number(value: float) -> str:
    """A length with at most two decimals."""
    written = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def element(tag: str, /, *children: Markup, **attributes: str | float | None) -> Markup:
    """An element; an underscore in an attribute's name is a hyphen, one at its end is dropped, None leaves it out."""
    written = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escaped(value) if isinstance(value, str) else number(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    inside = "".join(children)
    return Markup(f"<{tag}{written}>{inside}</{tag}>" if inside else f"<{tag}{written}/>")


def drawing(width: float, height: float, kind: str, title: str, words: str, children: Iterable[Markup]) -> str:
    """A whole drawing.

    Args:
        width, height: of the view box.
        kind: fixed name that a page's own style sheet may use.
        title: what it shows.   words: the same as the drawing in words, for who can't see it.
    """
    return element(
        "svg",
        element("title", escaped(told(title))),
        element("desc", escaped(told(words))),
        element("rect", width=width, height=height, fill=PAPER),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        class_=f"drawing {kind}",
        font_family="sans-serif",
    )


def group(*children: Markup, tip: str = "", **attributes: str | float | None) -> Markup:
    """Some elements together, with what a pointer that rests on them is told."""
    return element("g", *([element("title", escaped(told(tip)))] if tip else []), *children, **attributes)


def line(points: Sequence[Point], width: float = 1.5, stroke: str = INK, **attributes: str | float | None) -> Markup:
    """An open line with round ends and corners."""
    defaults: dict[str, str | float | None] = {"fill": "none", "stroke_linejoin": "round", "stroke_linecap": "round"}
    return element("polyline", points=_points(points), stroke=stroke, stroke_width=width, **(defaults | attributes))


def shape(
    points: Sequence[Point], fill: str = PAPER, width: float = 1.5, stroke: str = INK, **attributes: str | float | None
) -> Markup:
    """A closed shape with round corners."""
    return element(
        "polygon", points=_points(points), fill=fill, stroke=stroke, stroke_width=width, stroke_linejoin="round",
        **attributes,
    )  # fmt: skip


def circle(
    at: Point, radius: float, fill: str = PAPER, width: float = 1.5, stroke: str = INK,
    **attributes: str | float | None,
) -> Markup:  # fmt: skip
    return element(
        "circle", cx=at[0], cy=at[1], r=radius, fill=fill, stroke=stroke, stroke_width=width, **attributes
    )  # fmt: skip


def box(
    x: float, y: float, width: float, height: float, fill: str = PAPER, line: float = 1.5, stroke: str = INK,
    round_: float = 4, **attributes: str | float | None,
) -> Markup:  # fmt: skip
    """A rectangle with round corners."""
    return element(
        "rect",
        x=x,
        y=y,
        width=width,
        height=height,
        rx=round_,
        fill=fill,
        stroke=stroke,
        stroke_width=line,
        **attributes,
    )


def label(
    x: float, y: float, text: str, size: float = 12, bold: bool = False, fill: str = INK, anchor: str = "start"
) -> Markup:
    """One line of text; ``y`` is its base line."""
    return element(
        "text", escaped(told(text)), x=x, y=y, font_size=size, font_weight="bold" if bold else None, fill=fill,
        text_anchor=None if anchor == "start" else anchor,
    )  # fmt: skip


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


_WIDE = {
    **dict.fromkeys("ijl|'", 0.3), **dict.fromkeys(NO_BREAK + " .,:;f/\\()[]-!", 0.38), **dict.fromkeys("rt", 0.42),
    **dict.fromkeys("mwMW@%", 1.0), **dict.fromkeys("→+=<>×±■▲●○", 0.84), **dict.fromkeys("–·", 0.5),
}  # fmt: skip
_BOLD = 1.12


def text_width(text: str, size: float, bold: bool = False) -> float:
    """At least how wide a text is in a common wide sans-serif face, in the unit of ``size``.

    A page's own face isn't known here; widths follow DejaVu Sans, wider than most.
    """
    wide = 0.0
    for char in cleaned(told(text)):
        if unicodedata.combining(char):
            continue
        if char in _WIDE:
            wide += _WIDE[char]
        elif unicodedata.east_asian_width(char) in "WF":
            wide += 1.05
        else:
            wide += 0.78 if char.isupper() else 0.66
    return wide * size * (_BOLD if bold else 1.0)


def wrapped(text: str, width: float, size: float, bold: bool = False, most: int = 99) -> list[str]:
    """The text in lines no wider than ``width``; what does not fit into ``most`` lines ends in an ellipsis.

    A word that is wider than a line is broken, with a hyphen between letters.
    """
    lines: list[str] = []
    for word in cleaned(told(text)).split(" "):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(joined, size, bold) <= width:
            lines[-1] = joined
            continue
        rest = word
        while text_width(rest, size, bold) > width and len(rest) > 1:
            fits = max(1, next(n for n in range(len(rest) + 1) if text_width(rest[: n + 1], size, bold) > width))
            hyphened = f"{rest[: fits - 1]}-"
            if fits > 2 and rest[: fits + 1].isalpha() and text_width(hyphened, size, bold) <= width:
                lines.append(hyphened)
                rest = rest[fits - 1 :]
            else:
                lines.append(rest[:fits])
                rest = rest[fits:]
        lines.append(rest)
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    while last and text_width(f"{last}…", size, bold) > width:
        last = last[:-1]
    return [*lines[: most - 1], f"{last.rstrip()}…"]


def paragraph(
    x: float, y: float, lines: Sequence[str], size: float = 12, leading: float = 1.3, bold: bool = False,
    fill: str = INK, anchor: str = "start",
) -> Markup:  # fmt: skip
    """Lines of text under each other; ``y`` is the first base line."""
    return Markup(
        "".join(label(x, y + n * size * leading, text, size, bold, fill, anchor) for n, text in enumerate(lines))
    )
