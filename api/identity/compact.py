"""Signed tokens as text (RFC 7515, compact form), taken apart strictly; nothing in them is trusted yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.certificates.text import compact_parts, read_json

MOST_BYTES = 16 * 1024


class Malformed(Exception):
    """The text is no signed token, and why."""


@dataclass(frozen=True, slots=True)
class Compact:
    """A signed token taken apart: what its header and its claims say."""

    header: dict[str, Any]
    claims: dict[str, Any]


def read_compact(text: str) -> Compact:
    """Header and claims of a token. Raises Malformed."""
    if len(text) > MOST_BYTES:
        raise Malformed(f"it is longer than {MOST_BYTES} characters")
    try:
        header, claims, signature = compact_parts(text)
    except ValueError as error:
        raise Malformed(str(error)) from None
    if not signature:
        raise Malformed("it is not signed")
    return Compact(_object(header, "header"), _object(claims, "claims"))


def _object(text: bytes, called: str) -> dict[str, Any]:
    try:
        found = read_json(text)
    except ValueError as error:
        raise Malformed(f"its {called} can't be read") from error
    if not isinstance(found, dict):
        raise Malformed(f"its {called} is not an object")
    return found
