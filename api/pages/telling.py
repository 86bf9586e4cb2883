"""What the JSON doors answer, in a reader's language and units."""

from __future__ import annotations

from typing import Any

from api.pages.view import View
from api.wire import Plain

NAMES = frozenset({"id", "rule", "quantity", "name", "procedure", "card", "pack", "key", "digest", "unit", "file"})
"""Keys whose texts are names of the rulebook or of the organisation, the same in every language."""


def told(view: View, plain: Plain) -> Plain:
    """Plain values of a report, plan, rule or card as a reader wants them; keys and ids stay as they are."""
    return {key: value if key in NAMES else _told(view, value) for key, value in plain.items()}


def _told(view: View, value: Any) -> Any:
    if isinstance(value, str):
        return view.language.say(value)
    if isinstance(value, dict):
        return told(view, value)
    if isinstance(value, list):
        return [_told(view, one) for one in value]
    return value
