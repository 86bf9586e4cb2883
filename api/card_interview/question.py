"""One question, what may be answered, and how an answer is read."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.measures import Unreadable, dimension_of, known_units, read_quantity, split_number
from audit.nearest import did_you_mean

_UNKNOWN = {"don't know", "dont know", "don’t know", "unknown", "not known", "dk"}
_PAIR = re.compile(r"[;,]\s*(?=[A-Za-z][\w-]*\s*:)")
_TO = re.compile(r"\s+(?:to|–|-)\s+|\s*–\s*")


class Refused(ValueError):
    """An answer that can't be; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked.

    Attributes:
        key: names its answer where answers are kept; the same for ever.
        ask: the question.
        use: what the answer is for.
        where: where in a manual it usually stands, or how else to find it.
        write: how it may be written.
        read: makes a value of an answer. Raises Refused.
        otherwise: taken where nothing is written, '' where something must be.
        unknown: what can't be judged without it, '' where the card can't be without it.
    """

    key: str
    ask: str
    use: str
    where: str
    write: str
    read: Callable[[str], Any]
    otherwise: str = ""
    unknown: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """Lines to be shown between two questions."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it goes on the card.

    Attributes:
        value: in the canonical unit.   text: as it was written, with its unit.
    """

    value: float
    text: str


@dataclass(frozen=True, slots=True)
class ByWord:
    """Numbers that differ by a setting's position or by build; ``by`` is its name on the card."""

    by: str
    values: Mapping[str, Number]


Size = Number | ByWord


@dataclass(frozen=True, slots=True)
class Window:
    """From a lowest to a highest number, either of which may be open."""

    low: Number | None
    high: Number | None


def is_unknown(answer: str) -> bool:
    return answer.strip().casefold() in _UNKNOWN


def number(answer: str, unit: str, low: float, high: float) -> Number:
    """A number with its unit, from ``low`` to ``high`` in the canonical unit of ``unit``. Raises Refused."""
    text = " ".join(answer.split())
    dimension = dimension_of(unit)
    try:
        value = read_quantity(text, dimension, "1" if unit == "1" else "")
    except Unreadable as error:
        raise Refused(str(error)) from None
    if not low <= value <= high:
        shown = "" if unit == "1" else f" {unit}"
        raise Refused(f"'{text}' can't be: it must be from {low:g}{shown} to {high:g}{shown}.")
    return Number(value, text)


def whole(answer: str, low: int, high: int) -> Number:
    """A count. Raises Refused."""
    found = number(answer, "1", low, high)
    if found.value != int(found.value):
        raise Refused(f"'{found.text}' is no whole number.")
    return Number(found.value, str(int(found.value)))


def size(answer: str, one: Callable[[str], Number], words: Mapping[str, Collection[str]]) -> Size:
    """A number, or one for each position: ``long: 480 mm, short: 440 mm``. Raises Refused.

    Args:
        one: reads each number.   words: the positions of each setting and build that a number may depend on.
    """
    if ":" not in answer:
        return one(answer)
    values: dict[str, Number] = {}
    for part in _PAIR.split(answer.strip()):
        word, _, text = part.partition(":")
        if word.strip() in values:
            raise Refused(f"'{word.strip()}' stands twice.")
        values[word.strip()] = one(text)
    for by, known in words.items():
        if set(known) == set(values):
            return ByWord(by, values)
    told = "; ".join(f"{by}: {', '.join(known)}" for by, known in words.items())
    raise Refused(
        f"nothing has just the positions {', '.join(values)}. {f'Known: {told}.' if told else 'Write one number.'}"
    )


def window(answer: str, unit: str) -> Window:
    """A lowest and a highest number: ``950 to 1150 r/min``, ``at least 5 mm``, ``at most 1 mm``. Raises Refused."""
    text = " ".join(answer.split())
    for head in ("at least ", "at most "):
        if text.casefold().startswith(head):
            one = number(text[len(head) :], unit, float("-inf"), float("inf"))
            return Window(one, None) if head == "at least " else Window(None, one)
    ends = _TO.split(text)
    if len(ends) != 2:
        sign = "" if unit == "1" else f" {unit}"
        raise Refused(
            f"'{text}' is no range; write for example '3 to 5{sign}', 'at least 3{sign}' or 'at most 5{sign}'."
        )
    try:
        if not split_number(ends[0])[1] and (shared := split_number(ends[1])[1]):
            ends[0] = f"{ends[0]} {shared}"
    except Unreadable as error:
        raise Refused(str(error)) from None
    low, high = (number(end, unit, float("-inf"), float("inf")) for end in ends)
    if low.value > high.value:
        raise Refused(f"'{text}' ends below where it begins.")
    return Window(low, high)


def word(answer: str, known: Sequence[str]) -> str:
    """One of several words, or its place in the list. Raises Refused."""
    text = answer.strip()
    if text.isdecimal() and 1 <= int(text) <= len(known):
        return known[int(text) - 1]
    for one in known:
        if text.casefold() == one.casefold():
            return one
    raise Refused(f"'{text}' is none of: {', '.join(known)}. {did_you_mean(text, known)}".strip())


def words(answer: str, known: Sequence[str]) -> tuple[str, ...]:
    """Several words, ``all`` or ``none``; ``all but a, b`` leaves some out. Raises Refused."""
    text = answer.strip()
    if text.casefold() in ("all", "none"):
        return tuple(known) if text.casefold() == "all" else ()
    without = text.casefold().startswith("all but ")
    parts = [part for part in re.split(r"[,;]|\s+(?:or|and)\s+", text[8:] if without else text) if part.strip()]
    named = {word(part, known) for part in parts}
    return tuple(one for one in known if (one in named) is not without)


def some_of(answer: str, known: Sequence[str]) -> tuple[str, ...]:
    """The same, one at least. Raises Refused."""
    found = words(answer, known)
    if not found:
        raise Refused("it must be one of them at least.")
    return found


def text_of(most: int) -> Callable[[str], str]:
    """Reads a line of text."""

    def read(answer: str) -> str:
        text = " ".join(answer.split())
        if not text or len(text) > most or not text.isprintable():
            raise Refused(f"write 1 to {most} printable characters.")
        return text

    return read


def units_of(unit: str) -> str:
    """How a number of this unit may be written."""
    if unit == "mm":
        return "310 mm or 12 1/4 in"
    if unit == "1":
        return "a number"
    return " or ".join(f"a number in {name}" for name in known_units(dimension_of(unit))[:3])
