"""JSON text to a tree with places: strict, with duplicate keys, NaN and Infinity refused."""

from __future__ import annotations

import json
import math

from audit.intake.tree import Node, Problems, said
from audit.nouns.problem import Place

MOST_DEEP = 32
MOST_BYTES = 4 * 1024 * 1024


class _Twice(dict[str, object]):
    """A decoded object that remembers keys that stood twice."""

    twice: tuple[str, ...] = ()


def _pairs(pairs: list[tuple[str, object]]) -> dict[str, object]:
    plain = _Twice(pairs)
    if len(plain) != len(pairs):
        seen: set[str] = set()
        plain.twice = tuple(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return plain


def parse_json(text: bytes, shown: str, problems: Problems) -> Node | None:
    """The tree of one JSON value, or None with the problem on record."""
    plain = decode_json(text, shown, problems)
    if not problems and not isinstance(plain, dict):  # before a tree of its items is made, place by place
        problems.add(Place(shown), f"a setup must be a mapping, not {said(plain)}.")
    return None if problems else tree_of(plain, Place(shown), problems)


def decode_json(text: bytes, shown: str, problems: Problems) -> object | None:
    """The decoded value; None with the problem on record where it can't be decoded."""
    if len(text) > MOST_BYTES:
        problems.add(
            Place(shown),
            f"is longer than {MOST_BYTES // 1024 // 1024} MiB, the most that one setup may have.",
            "Write one setup a line, and check for a missing line end.",
        )
        return None
    try:
        return json.loads(text.decode("utf-8-sig"), object_pairs_hook=_pairs)  # type: ignore[no-any-return]
    except UnicodeDecodeError as error:
        problems.add(Place(shown), f"is not UTF-8 (byte {error.start + 1}).", "Save the file as UTF-8.")
    except json.JSONDecodeError as error:
        place = Place(shown, error.lineno, error.colno)
        problems.add(place, f"is not JSON: {error.msg}.", "Check commas, quotes and brackets at this place.")
    except RecursionError:
        problems.add(Place(shown), f"is nested more than {MOST_DEEP} deep.")
    except ValueError as error:  # an integer with thousands of digits
        problems.add(Place(shown), f"holds a number that can't be read: {error}.")
    return None


def tree_of(plain: object, place: Place, problems: Problems, deep: int = 0) -> Node:
    """A decoded JSON value as a tree whose places are paths."""
    if deep > MOST_DEEP:
        problems.add(place, f"is nested more than {MOST_DEEP} deep.")
        return Node(None, place)
    if isinstance(plain, dict):
        for key in getattr(plain, "twice", ()):
            problems.add(_under(place, key), f"key {said(key)} stands twice in one object.", "Keep the right one.")
        return Node(
            {key: tree_of(value, _under(place, key), problems, deep + 1) for key, value in plain.items()},
            place,
        )
    if isinstance(plain, list):
        return Node([tree_of(v, _under(place, str(i)), problems, deep + 1) for i, v in enumerate(plain)], place)
    if isinstance(plain, float) and not math.isfinite(plain):
        problems.add(place, "is not a finite number.", "Leave the key out if the value is not known.")
        return Node(None, place)
    if isinstance(plain, str) and not plain.isascii() and not _is_text(plain):
        problems.add(place, "holds half of a surrogate pair, which is no character.", "Write the character itself.")
        return Node(None, place)
    if plain is None or isinstance(plain, (str, int, float, bool)):
        return Node(plain, place)
    raise TypeError(f"not a JSON value: {type(plain).__name__}")


def _is_text(plain: str) -> bool:
    try:
        plain.encode()
    except UnicodeEncodeError:
        return False
    return True


def _under(place: Place, key: str) -> Place:
    shown = key if len(key) <= 60 else key[:57] + "..."
    return Place(place.source, 0, 0, f"{place.path}/{shown}" if place.path else shown)
