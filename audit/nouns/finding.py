"""Findings: broken or unknown rules on one setup, and the report that ranks them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from audit.nouns.fact import Fact
from audit.nouns.quantity import Value
from audit.nouns.risk import Risk
from audit.nouns.rule import Verdict
from audit.nouns.setup import Taken
from audit.nouns.source import Basis


@dataclass(frozen=True, slots=True)
class Comparison:
    """One quantity held against what is wanted.

    Attributes:
        side: 'left', 'right' or ''.
        found: canonical value; None for not known, and ``why_unknown`` then says why.
        wanted: in words, in the display unit.
        unit: display unit.
        past: distance beyond the limit in the canonical unit; None where there is no distance (words, yes/no, times).
        share: distance as a share of the limit; 1 where there is no distance.
        holds: True kept, False broken, None unknown.
    """

    quantity: str
    side: str
    found: Value
    wanted: str
    unit: str
    past: float | None
    share: float
    holds: bool | None
    why_unknown: str = ""


@dataclass(frozen=True, slots=True)
class TargetUsed:
    """The target a rule compared with, and who says so."""

    quantity: str
    text: str
    card: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that must be known before an unknown rule can be answered."""

    name: str
    meaning: str
    how: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule that is broken, or that cannot be answered, on this setup.

    Attributes:
        rule: id.   on: component id, '' where the rule is asked once.   station: where on the walk round.
        holds_start: it holds a harvest start.
        comparisons: the decisive ones: those that failed, or that are not known.
        missing: what to find out first; empty for a broken rule.
        targets: targets that were used.
    """

    rule: str
    on: str
    station: str
    verdict: Verdict
    risk: Risk
    holds_start: bool
    comparisons: tuple[Comparison, ...]
    missing: tuple[Missing, ...]
    targets: tuple[TargetUsed, ...]


class Clearance(Enum):
    """Whether a harvest may start as far as this audit can tell."""

    CLEARED = "cleared"
    HELD = "held"


@dataclass(frozen=True, slots=True)
class Counts:
    """How many questions had which answer."""

    kept: int
    broken: int
    unknown: int
    not_asked: int


@dataclass(frozen=True, slots=True)
class Unasked:
    """A question that was not asked, and why."""

    rule: str
    on: str
    reason: str


@dataclass(frozen=True, slots=True)
class Report:
    """The answer to one setup: ranked findings, computed facts with their traces, clearance, and by which rulebook.

    Attributes:
        hourly: area and grain of an hour at work, ha and kg, None where not known.
        facts: every one that is computed; none where they were not asked for.
    """

    unit: str
    card: str
    crop: str
    header_kind: str
    taken: Taken
    clearance: Clearance
    counts: Counts
    findings: tuple[Finding, ...]
    hourly: tuple[Value, Value]
    facts: tuple[Fact, ...]
    unasked: tuple[Unasked, ...]
    builds: tuple[tuple[str, str], ...]
    digest: str
