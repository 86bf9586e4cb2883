"""Trees of values that remember where each one stands, and a reader that collects every problem."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from audit.measures import Unreadable, read_quantity
from audit.nearest import did_you_mean
from audit.nouns.problem import Place, Problem

Plain = dict[str, "Node"] | list["Node"] | str | int | float | bool | None
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Node:
    """A value with its place; containers hold nodes."""

    value: Plain
    place: Place

    def plain(self) -> object:
        """The value without places."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value


class Problems:
    """What went wrong so far in one input."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def add(self, place: Place, message: str, advice: str = "") -> None:
        self.found.append(Problem(place, message, advice))

    def __bool__(self) -> bool:
        return bool(self.found)


def said(value: object) -> str:
    """A value as shown in a message: short, in quotes where it is text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "null"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = str(value)
    text = text if len(text) <= 40 else text[:37] + "..."
    return f"'{text}'" if isinstance(value, str) else text


class Fields:
    """Reads the keys of a mapping, one by one; ``close`` reports the keys nobody asked for.

    Every getter returns a value of its type even when the input is wrong (the problem is on record), so that reading
    goes on and all problems are found at once. The caller looks at ``problems`` before using the result.
    """

    def __init__(self, node: Node, problems: Problems, what: str) -> None:
        self.place = node.place
        self.problems = problems
        self.what = what
        self.asked: set[str] = set()
        if isinstance(node.value, dict):
            self.items: dict[str, Node] = node.value
        else:
            self.items = {}
            problems.add(node.place, f"{what} must be a mapping, not {said(node.value)}.")

    def node(self, key: str, required: bool = True) -> Node | None:
        """The node under a key; None if it is missing (a problem when it is required)."""
        self.asked.add(key)
        found = self.items.get(key)
        if found is not None and found.value is None and not required:
            return None  # null says the same as leaving the key out
        if found is None and required:
            self.problems.add(self.place, f"{self.what} lacks '{key}'.", f"Add '{key}:'.")
        return found

    def text(self, key: str, default: str | None = None) -> str:
        """Text; required unless a default is given."""
        node = self.node(key, default is None)
        if node is None:
            return default or ""
        return self.as_text(node, key)

    def as_text(self, node: Node, what: str) -> str:
        if isinstance(node.value, str) and node.value.strip():
            return node.value
        self.problems.add(node.place, f"'{what}' must be text, not {said(node.value)}.", "Put it in quotes.")
        return ""

    def word(self, key: str, allowed: Iterable[str], default: str | None = None) -> str:
        """One word out of a closed list."""
        words = list(allowed)
        node = self.node(key, default is None)
        if node is None:
            return default if default is not None else next(iter(words), "")
        if isinstance(node.value, str) and node.value in words:
            return node.value
        self.problems.add(
            node.place,
            f"'{key}' is {said(node.value)}; it must be one of: {', '.join(words)}.",
            did_you_mean(node.value, words) if isinstance(node.value, str) else "",
        )
        return next(iter(words), "")

    def truth(self, key: str, default: bool | None = None) -> bool:
        """true or false."""
        node = self.node(key, default is None)
        if node is None:
            return bool(default)
        if isinstance(node.value, bool):
            return node.value
        self.problems.add(node.place, f"'{key}' must be true or false, not {said(node.value)}.")
        return False

    def number(self, key: str, default: float | None = None, low: float | None = None) -> float:
        """A plain number; required unless a default is given."""
        node = self.node(key, default is None)
        if node is None:
            return default or 0.0
        return self.as_number(node, key, low)

    def as_number(self, node: Node, what: str, low: float | None = None) -> float:
        if isinstance(node.value, (int, float)) and not isinstance(node.value, bool):
            if low is not None and node.value < low:
                self.problems.add(node.place, f"'{what}' is {said(node.value)}; it must be at least {low:g}.")
            return float(node.value)
        self.problems.add(node.place, f"'{what}' must be a number, not {said(node.value)}.")
        return 0.0

    def optional_number(self, key: str) -> float | None:
        node = self.node(key, required=False)
        return None if node is None else self.as_number(node, key)

    def measure(self, key: str, dimension: str, bare_unit: str = "", default: float | None = None) -> float:
        """A quantity in canonical units."""
        node = self.node(key, default is None)
        if node is None:
            return default or 0.0
        return self.as_measure(node, key, dimension, bare_unit)

    def as_measure(self, node: Node, what: str, dimension: str, bare_unit: str = "") -> float:
        try:
            return read_measure(node.value, dimension, bare_unit)
        except Unreadable as error:
            self.problems.add(node.place, f"'{what}': {error}")
            return 0.0

    def texts(self, key: str, default: tuple[str, ...] | None = ()) -> tuple[str, ...]:
        """A list of texts; required when the default is None."""
        return self.each(key, lambda node: self.as_text(node, key), required=default is None) or default or ()

    def each(self, key: str, read: Callable[[Node], T], required: bool = False) -> tuple[T, ...]:
        """Every item of a list, read by ``read``."""
        node = self.node(key, required)
        if node is None:
            return ()
        if not isinstance(node.value, list):
            self.problems.add(node.place, f"'{key}' must be a list, not {said(node.value)}.", "Put it in [ ].")
            return ()
        return tuple(read(item) for item in node.value)

    def inner(self, key: str, what: str, required: bool = True) -> Fields | None:
        """The mapping under a key."""
        node = self.node(key, required)
        return None if node is None else Fields(node, self.problems, what)

    def pairs(self, key: str, required: bool = False) -> Iterator[tuple[str, Node]]:
        """Name and node of every entry of a mapping of free names."""
        node = self.node(key, required)
        if node is None:
            return
        if not isinstance(node.value, dict):
            self.problems.add(node.place, f"'{key}' must be a mapping, not {said(node.value)}.")
            return
        yield from node.value.items()

    def close(self) -> None:
        """Report the keys that nobody asked for, with the nearest known one."""
        for key, node in self.items.items():
            if key not in self.asked:
                advice = did_you_mean(key, self.asked, f"Known here: {', '.join(sorted(self.asked))}.")
                self.problems.add(node.place, f"{self.what} has no key {said(key)}.", advice)


def read_measure(value: object, dimension: str, bare_unit: str = "") -> float:
    """A quantity written as text, or as a bare number where ``bare_unit`` is stated. Raises Unreadable."""
    if isinstance(value, str):
        return read_quantity(value, dimension, bare_unit)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Unreadable(f"{said(value)} is not a number with a unit; write for example '12.5 mm'.")
    if not bare_unit:
        raise Unreadable(f"{value:g} has no unit; write it as text with one, for example '{value:g} mm'.")
    return read_quantity(repr(value), dimension, bare_unit)
