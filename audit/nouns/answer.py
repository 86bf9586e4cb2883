"""The short answer to one setup of many, with what a fleet's lists show of it."""

from __future__ import annotations

from typing import NamedTuple

from audit.nouns.finding import Clearance, Counts
from audit.nouns.quantity import Value
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict


class Short(NamedTuple):
    """A finding in short, with the first of its decisive comparisons.

    Attributes:
        on: component id, '' where the rule is asked once.   station: where on the walk round.
        hazard: hazard risk index, 1 the worst.   downtime: expected, h.   share: past the limit, as a share of it.
        people: the harm is to people.
        quantity: what was compared, '' where nothing was.   side: 'left', 'right' or ''.
        found: canonical value, None for not known.   wanted: in words.
    """

    rule: str
    on: str
    station: str
    verdict: Verdict
    level: Level
    hazard: int
    holds: bool
    downtime: float
    share: float
    people: bool
    quantity: str
    side: str
    found: Value
    wanted: str


class Envelope(NamedTuple):
    """What a setup says about itself that no rule looks at; '' and None for what it does not say."""

    owner: str = ""
    serial: str = ""
    build_year: int | None = None
    at: str = ""
    by: str = ""
    state: str = ""


class Answer(NamedTuple):
    """The short answer to one setup.

    Attributes:
        builds: choice by build; 'cannot decide' where it can't be decided.
        engine_hours: h, None for not known.
        findings: broken and unknown questions in order of rank.
    """

    unit: str
    card: str
    crop: str
    header_kind: str
    envelope: Envelope
    builds: tuple[tuple[str, str], ...]
    engine_hours: float | None
    clearance: Clearance
    counts: Counts
    findings: tuple[Short, ...]
