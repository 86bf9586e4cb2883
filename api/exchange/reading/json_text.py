"""JSON from outside, bounded and without room for two meanings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.exchange.reading.nouns import NotRead
from api.identity.strict_json import read_json

MOST_BYTES = 64 * 1024 * 1024


def read_object(shown: str, content: bytes) -> Any:
    """A JSON value. Raises NotRead."""
    if len(content) > MOST_BYTES:
        raise NotRead(shown, f"is longer than {MOST_BYTES:,} bytes", "Send fewer machines or tasks at once")
    try:
        return read_json(content.removeprefix(b"\xef\xbb\xbf"))
    except UnicodeDecodeError as error:
        raise NotRead(shown, f"is not UTF-8 (byte {error.start + 1})", "Save it as UTF-8") from None
    except ValueError as error:
        raise NotRead(shown, f"can't be read as JSON: {str(error)[:200]}", "Export it again") from None


def begins_as_json(content: bytes) -> bool:
    """Whether it may be JSON at all."""
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"{", b"[")


def objects(value: object) -> Iterator[tuple[int, dict[str, Any]]]:
    """Objects of an array, or one that stands alone, with their numbers from 1."""
    for number, one in enumerate(value if isinstance(value, list) else [value], 1):
        if isinstance(one, dict):
            yield number, one


def text_of(value: object) -> str:
    """A text or number as text, '' for anything else."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    return str(value).strip()


def inner(value: dict[str, Any], *names: str) -> dict[str, Any]:
    """An object within objects, an empty one where there is none."""
    for name in names:
        found = value.get(name)
        value = found if isinstance(found, dict) else {}
    return value
