"""The short answer to one setup, for many."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from audit.nouns.finding import Clearance, Counts, Finding
from audit.sheet import Sheet

Hit = tuple[tuple[int, int, float, int], float, str, str]
"""A broken or unknown question: rank of its risk (1 last for unknown), minus its share past, rule, component."""


class Judged(NamedTuple):
    """The short answer to one setup: what is broken or unknown, ranked, and whether it holds a start.

    Attributes:
        hits: in order of rank.
        findings: works the hits out in full: what was found, what is wanted, what is missing.
    """

    unit: str
    card: str
    crop: str
    header_kind: str
    clearance: Clearance
    counts: Counts
    hits: list[Hit]
    findings: Callable[[], tuple[Finding, ...]]
    sheet: Sheet
