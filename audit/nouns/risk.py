"""Risk of damage in the words of MIL-STD-882E; severities are rescaled to one machine (its section 4.3 allows it)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Severity(IntEnum):
    """Worst credible result. The standard's money thresholds sit far above a farm repair; these are ours."""

    CATASTROPHIC = 1  # someone hurt, fire, or loss of the machine
    CRITICAL = 2  # a major assembly broken, or harvest stopped for more than a day
    MARGINAL = 3  # a part broken or worn early, hours lost
    NEGLIGIBLE = 4  # grain or efficiency lost


class Probability(IntEnum):
    """How often the harm follows if the fault stays for one season on one machine (MIL-STD-882E, table II)."""

    FREQUENT = 1
    PROBABLE = 2
    OCCASIONAL = 3
    REMOTE = 4
    IMPROBABLE = 5


class Level(IntEnum):
    """Cells of the risk assessment matrix, worst first."""

    HIGH = 1
    SERIOUS = 2
    MEDIUM = 3
    LOW = 4


@dataclass(frozen=True, slots=True)
class Rise:
    """From this share past the limit on, the harm is this probable."""

    past: float
    to: Probability


@dataclass(frozen=True, slots=True)
class Harm:
    """What follows if a rule stays broken.

    Attributes:
        to: what is damaged.   how: what happens to it.
        people: the harm is to people; it can never be accepted away.
        downtime: expected hours the machine stands if it happens, h.
        rises: ordered by ``past``; the last one reached counts.
    """

    to: str
    how: str
    severity: Severity
    probability: Probability
    downtime: float
    people: bool = False
    rises: tuple[Rise, ...] = ()


@dataclass(frozen=True, slots=True)
class Risk:
    """The risk of one finding with every term that ranks it."""

    level: Level
    index: int
    severity: Severity
    probability: Probability
    downtime: float
    share: float
    people: bool
