"""JSON from outside, bounded and without room for two meanings."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from api.certificates.text import read_json
from api.exchange.reading.nouns import NotRead

_NO_TEXT = re.compile("[\ud800-\udfff]|\\\\u0000")
"""Half a surrogate pair, and the zero character, which no database keeps in a text."""
MOST_BYTES = 64 * 1024 * 1024


def read_object(shown: str, content: bytes) -> Any:
    """A JSON value. Raises NotRead."""
    if len(content) > MOST_BYTES:
        raise NotRead(shown, f"is longer than {MOST_BYTES:,} bytes", "Send fewer machines or tasks at once")
    try:
        found = read_json(content.removeprefix(b"\xef\xbb\xbf"))
    except UnicodeDecodeError as error:
        raise NotRead(shown, f"is not UTF-8 (byte {error.start + 1})", "Save it as UTF-8") from None
    except ValueError as error:
        raise NotRead(shown, f"can't be read as JSON: {str(error)[:200]}", "Export it again") from None
    if b"\\u" in content and _NO_TEXT.search(json.dumps(found, ensure_ascii=False)):
        raise NotRead(shown, "holds an escape that stands for no character", "Ask the sender")
    return found


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
