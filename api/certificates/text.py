"""Base64url and JSON that have one reading only."""

from __future__ import annotations

import base64
import binascii
import json
import re
from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any

MOST_DIGITS = 15
"""Whole numbers up to here are the same in every JSON reader (RFC 8259, 6)."""

_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")


def to_base64url(some: bytes) -> str:
    """RFC 7515, 2: without padding."""
    return base64.urlsafe_b64encode(some).rstrip(b"=").decode("ascii")


def from_base64url(text: str) -> bytes:
    """The bytes of a text that has exactly one way to be written. Raises ValueError."""
    if not _BASE64URL.fullmatch(text):
        raise ValueError("a part is not base64url")
    try:
        some = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        raise ValueError("a part is not whole base64url") from None
    if to_base64url(some) != text:  # the last character holds bits that no byte needs
        raise ValueError("a part is not base64url in its one form")
    return some


def compact_parts(text: str) -> tuple[bytes, bytes, bytes]:
    """Header, content and signature of a signed text (RFC 7515, 7.1); nothing is checked. Raises ValueError."""
    parts = text.split(".")
    if len(parts) != 3:
        raise ValueError("it does not have three parts")
    header, content, signature = (from_base64url(part) for part in parts)
    return header, content, signature


def read_json(text: bytes) -> object:
    """The value of a JSON text. Raises ValueError for anything that two readers could understand differently.

    Not UTF-8 is a UnicodeDecodeError, which says where.
    """
    return _decoded(text.decode("utf-8"), int, _finite)


def json_object(text: bytes) -> dict[str, Any]:
    """A JSON object without fractions or huge numbers either, as what is signed has none. Raises ValueError."""
    try:
        plain = _decoded(text.decode("utf-8"), _whole, _refuse)
    except UnicodeDecodeError:
        raise ValueError("it is not UTF-8") from None
    except json.JSONDecodeError:
        raise ValueError("it is not JSON") from None
    if not isinstance(plain, dict):
        raise ValueError("it is not a JSON object")
    return plain


def plain_json(plain: Mapping[str, Any]) -> bytes:
    """JSON in one form: sorted keys, no spaces, UTF-8."""
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")).encode()


def _decoded(text: str, whole: Callable[[str], int], fraction: Callable[[str], float]) -> Any:
    try:
        return json.loads(
            text, object_pairs_hook=_once, parse_int=whole, parse_float=fraction, parse_constant=_no_constant
        )
    except RecursionError:
        raise ValueError("it is nested too deep") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    plain = dict(pairs)
    if len(plain) != len(pairs):
        raise ValueError("a key stands twice")
    return plain


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} stands for a number")


def _finite(text: str) -> float:
    found = float(text)
    if not isfinite(found):
        raise ValueError("a number has no end")
    return found


def _whole(text: str) -> int:
    if len(text.removeprefix("-")) > MOST_DIGITS:
        raise ValueError("a number is too large")
    return int(text)


def _refuse(_: str) -> float:
    raise ValueError("a number is not whole")
