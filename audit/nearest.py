"""The nearest known name to one that is not known."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str:
    """The known name most like ``word``, or '' if none is close."""
    import difflib  # costs a millisecond of every start, needed only when something is misspelt

    close = difflib.get_close_matches(word[:80], list(known), n=1, cutoff=0.6)
    return close[0] if close else ""


def did_you_mean(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """Advice for an unknown name."""
    close = nearest(word, known)
    return f"Did you mean '{close}'?" if close else otherwise
