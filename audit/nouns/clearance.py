"""Clearance: may a harvest start, and if not, why not."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from audit.nouns.finding import Clearance, Finding
from audit.nouns.quantity import Value
from audit.nouns.risk import Level


class Effect(Enum):
    """What an organisation lets a broken rule do."""

    SHOWN = "shown"
    WARNED = "warned"
    HOLDS = "holds"


class Why(Enum):
    """Why a start is held."""

    NO_SETUP = "no-setup"
    RETIRED = "retired"
    OTHER_JOB = "other-job"
    FROM_THE_FUTURE = "from-the-future"
    OVERTAKEN = "overtaken"
    TOO_OLD = "too-old"
    TOO_MANY_HOURS = "too-many-hours"
    HOURS_UNKNOWN = "hours-unknown"
    UNIT_CHANGED = "unit-changed"
    NOT_JUDGED = "not-judged"
    FINDING = "finding"


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be started: a crop with a kind of header."""

    crop: str
    header_kind: str


@dataclass(frozen=True, slots=True)
class Terms:
    """An organisation's own thresholds.

    Attributes:
        hold_at: lowest level that holds a start.
        most_hours: engine hours after which a setup must be looked at again, h.
        most_days: days after which it must, whatever the hours.
        valid_for: how long a cleared start's certificate is good, h.
    """

    hold_at: Level = Level.HIGH
    most_hours: float = 50.0
    most_days: float = 14.0
    valid_for: float = 24.0


@dataclass(frozen=True, slots=True)
class Stand:
    """The newest setup of a unit, as far as clearance asks.

    Attributes:
        setup: its id on the record.   digest: SHA-256 of its text.
        taken: when it was taken, s since 1970.
        hours: engine hours it was taken at, None where not given.
        overtaken_by: id of a setup that was recorded after it although taken before, '' for none.
        unit_retired: the unit was taken out of the fleet.
        unit_changed: what the unit is (type, serial, what is fitted) was changed on the record since.
    """

    setup: str
    digest: str
    job: Job
    taken: float
    hours: float | None
    overtaken_by: str = ""
    unit_changed: bool = False
    unit_retired: bool = False


Found = tuple[tuple[str, str, Value], ...]
"""What a finding is about: quantity, side and canonical value of each decisive comparison."""


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A named person accepts one finding on one unit for one job, for a reason and until a time.

    Attributes:
        found: the values that were accepted; with any other the acceptance says nothing.
        at, until: s since 1970.
        withdrawn: when it was taken back, None where it was not.
    """

    id: str
    rule: str
    on: str
    job: Job
    found: Found
    by: str
    reason: str
    at: float
    until: float
    withdrawn: float | None = None


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason why a start is held; ``finding`` where it is an open one."""

    why: Why
    text: str
    finding: Finding | None = None


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that would hold and is accepted."""

    finding: Finding
    acceptance: Acceptance


@dataclass(frozen=True, slots=True)
class Lapsed:
    """An acceptance that no longer counts, and why."""

    acceptance: Acceptance
    why: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """The audit of a setup, as far as clearance asks.

    Attributes:
        rulebook: digest of the rulebook that judged.
        findings: all of them, ranked, at the level that holds.
    """

    rulebook: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Decision:
    """Cleared or held, and everything that led to it.

    Attributes:
        reasons: why it is held, worst first; empty if cleared.
        warned: broken findings at the level that holds which the organisation lets warn only.
        rulebook: digest of the rulebook that judged, '' where nothing was judged.
    """

    job: Job
    clearance: Clearance
    stand: Stand | None
    reasons: tuple[Reason, ...]
    accepted: tuple[Accepted, ...]
    lapsed: tuple[Lapsed, ...]
    warned: tuple[Finding, ...]
    rulebook: str
