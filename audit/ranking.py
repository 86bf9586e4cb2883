"""Findings by risk of damage.

Matrix: MIL-STD-882E, table III, cell by cell. Ties within a cell's level are broken by the strict order of the earlier
hazard risk index, MIL-STD-882D, table A-III, then by expected downtime, a proven fault before an unknown, the margin,
and last the rule's id, so that the same setup always gives the same list.
"""

from __future__ import annotations

from audit.nouns.risk import Harm, Level, Probability, Risk, Severity
from audit.nouns.rule import Rule, Standing, Verdict

_H, _S, _M, _L = Level.HIGH, Level.SERIOUS, Level.MEDIUM, Level.LOW

MATRIX: dict[Probability, tuple[Level, Level, Level, Level]] = {
    Probability.FREQUENT: (_H, _H, _S, _M),
    Probability.PROBABLE: (_H, _H, _S, _M),
    Probability.OCCASIONAL: (_H, _S, _M, _L),
    Probability.REMOTE: (_S, _M, _M, _L),
    Probability.IMPROBABLE: (_M, _M, _M, _L),
}
"""Level by probability, then severity from catastrophic to negligible."""

INDEX: dict[Probability, tuple[int, int, int, int]] = {
    Probability.FREQUENT: (1, 3, 7, 13),
    Probability.PROBABLE: (2, 5, 9, 16),
    Probability.OCCASIONAL: (4, 6, 11, 18),
    Probability.REMOTE: (8, 10, 14, 19),
    Probability.IMPROBABLE: (12, 15, 17, 20),
}
"""Hazard risk index, 1 the worst of 20."""

Key = tuple[int, int, float, int, float, str, str]


def level(severity: Severity, probability: Probability) -> Level:
    """The cell of the risk assessment matrix."""
    return MATRIX[probability][severity - 1]


def index(severity: Severity, probability: Probability) -> int:
    """The hazard risk index, 1 to 20, 1 the worst."""
    return INDEX[probability][severity - 1]


def probability_at(harm: Harm, share: float) -> Probability:
    """Probability of the harm this far past the limit, as a share of it."""
    found = harm.probability
    for rise in harm.rises:
        if share >= rise.past:
            found = rise.to
    return found


def risk_of(harm: Harm, verdict: Verdict, share: float) -> Risk:
    """Risk of a broken rule by its margin; of an unknown one as the worst that it could be hiding."""
    probability = harm.rises[-1].to if verdict is Verdict.UNKNOWN and harm.rises else probability_at(harm, share)
    return Risk(
        level(harm.severity, probability), index(harm.severity, probability), harm.severity, probability,
        harm.downtime, share, harm.people,
    )  # fmt: skip


def rank_key(risk: Risk, verdict: Verdict, rule: str, on: str) -> Key:
    """Sort key of a finding, the worst first."""
    return (risk.level, risk.index, -risk.downtime, verdict is Verdict.UNKNOWN, -risk.share, rule, on)


def holds_start(risk: Risk, rule: Rule, hold_at: Level) -> bool:
    """Whether an open finding of this risk holds a harvest start; a trial rule never does."""
    return risk.level <= hold_at and rule.standing is Standing.IN_FORCE
