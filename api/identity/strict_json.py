"""JSON from outside in which nothing can hide: no key twice, no NaN, nothing but UTF-8."""

from __future__ import annotations

import json
from math import isfinite


def read_json(text: bytes) -> object:
    """The value of a JSON text. Raises ValueError for anything that two readers could understand differently."""
    try:
        return json.loads(
            text.decode("utf-8"), object_pairs_hook=_pairs, parse_constant=_no_constant, parse_float=_finite
        )
    except RecursionError as error:
        raise ValueError("is nested too deep") from error


def _pairs(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("has a key twice in one object")
    return found


def _no_constant(name: str) -> object:
    raise ValueError(f"has {name} for a number")


def _finite(text: str) -> float:
    found = float(text)
    if not isfinite(found):
        raise ValueError("has a number without end")
    return found
