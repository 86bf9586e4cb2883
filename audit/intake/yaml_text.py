"""YAML 1.2 text to a tree with places: core schema, strict.

The parser is ruamel.yaml's C parser; only its events are used. Scalars are resolved by the YAML 1.2 core schema (so
that ``no`` stays a word and ``12:30`` stays text), duplicate keys, anchors, aliases and tags are refused: nothing in
a rulebook needs them, and every value then has one place.
"""

from __future__ import annotations

import re
from math import isfinite
from typing import Any

from audit.intake.tree import Node, Plain, Problems
from audit.nouns.problem import Place

_INT = re.compile(r"[-+]?[0-9]+\Z")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")
_WORDS: dict[str, Plain] = {
    "": None, "~": None, "null": None, "Null": None, "NULL": None,
    "true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
}  # fmt: skip


MOST_NESTED = 50
"""Deepest nesting that is read; nothing in a rulebook comes near, and every reader after this one is recursive."""
_MOST_DIGITS = 300


def decode_yaml(content: bytes, shown: str, problems: Problems) -> Node | None:
    """The tree of a file's content, or None with the problem on record."""
    try:
        text = content.decode()
    except UnicodeDecodeError as error:
        problems.add(Place(shown), f"is not UTF-8 (byte {error.start}).", "Save the file as UTF-8.")
        return None
    return parse_yaml(text, shown, problems)


def parse_yaml(text: str, shown: str, problems: Problems) -> Node | None:
    """The tree of one YAML document."""
    # imported here: only reading a rulebook needs the parser
    from _ruamel_yaml import CParser
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    try:
        return _Builder(CParser(text), shown, problems).document()
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(shown, mark.line + 1, mark.column + 1) if mark else Place(shown)
        said = " ".join(part for part in (error.context, error.problem) if part)
        problems.add(
            place,
            f"is not YAML: {said}.",
            "Check indentation, colons and quotes; quote text with a comma or colon.",
        )
    except YAMLError as error:
        problems.add(Place(shown), f"is not YAML: {error}.")
    except _TooDeep as error:
        problems.add(error.place, f"is nested deeper than {MOST_NESTED}.", "Nothing in a rulebook needs that.")
    return None


class _TooDeep(Exception):
    def __init__(self, place: Place) -> None:
        super().__init__()
        self.place = place


class _Builder:
    def __init__(self, parser: Any, shown: str, problems: Problems) -> None:
        self.next = parser.get_event
        self.shown = shown
        self.problems = problems

    def document(self) -> Node | None:
        self.next()  # stream start
        event = self.next()
        if type(event).__name__ == "StreamEndEvent":
            self.problems.add(Place(self.shown), "is empty.")
            return None
        tree = self.node(self.next())
        self.next()  # document end
        after = self.next()
        if type(after).__name__ != "StreamEndEvent":
            self.problems.add(self.place(after), "holds more than one document.", "Keep one document in a file.")
        return tree

    def place(self, event: Any) -> Place:
        mark = event.start_mark
        return Place(self.shown, mark.line + 1, mark.column + 1)

    def node(self, event: Any, depth: int = 0) -> Node:
        place = self.place(event)
        if depth > MOST_NESTED:
            raise _TooDeep(place)
        name = type(event).__name__
        if name == "AliasEvent" or event.anchor is not None:
            self.problems.add(place, "anchors and aliases are not used here.", "Write the value out.")
        if name == "AliasEvent":  # what an anchor stands before is read on, to its end
            return Node(None, place)
        if event.tag is not None:
            self.problems.add(place, f"tag '{event.tag}' is not used here.", "Remove it.")
        if name == "ScalarEvent":
            return Node(event.value if event.style else self.resolved(event.value, place), place)
        if name == "SequenceStartEvent":
            items: list[Node] = []
            while type(event := self.next()).__name__ != "SequenceEndEvent":
                items.append(self.node(event, depth + 1))
            return Node(items, place)
        entries: dict[str, Node] = {}
        while type(event := self.next()).__name__ != "MappingEndEvent":
            scalar = type(event).__name__ == "ScalarEvent" and event.anchor is None and event.tag is None
            name = event.value if scalar and (event.style or event.value not in _WORDS) else ""
            if not name:
                self.problems.add(self.place(event), "a key must be a word.", "Put it in quotes.")
                if not scalar:
                    self.node(event, depth + 1)
            value = self.node(self.next(), depth + 1)
            if name in entries:
                self.problems.add(self.place(event), f"key '{name}' stands twice.", "Keep one of them.")
            elif name:
                entries[name] = value
        return Node(entries, place)

    def resolved(self, text: str, place: Place) -> Plain:
        """A plain scalar by the core schema; a number that no float holds is refused."""
        if text in _WORDS:
            return _WORDS[text]
        whole = _INT.match(text)
        if not whole and not _FLOAT.match(text):
            return text
        if len(text) > _MOST_DIGITS or not isfinite(float(text)):
            self.problems.add(
                place, f"{text[:20]}… is no number that can be worked with.", "Put it in quotes if it is text."
            )
            return 0
        return int(text) if whole else float(text)
