"""The pipeline: a setup and a rulebook in, a report out.

setup ─▶ check sheet of its card and crop ─▶ facts ─▶ verdicts ─▶ findings, ranked ─▶ report
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from audit.checking import Outcome, Surroundings, judge
from audit.conditions import quantities
from audit.facts import Reasons, compute, missing_for
from audit.nouns.finding import Clearance, Counts, Finding, Missing, Report
from audit.nouns.quantity import Sided, Value
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.ranking import holds_start, rank_key, risk_of
from audit.sheet import Question, Sheet, make_sheet


def audit_setup(rulebook: Rulebook, setup: Setup, hold_at: Level = Level.HIGH) -> Report:
    """Audit one setup.

    Args:
        rulebook: what it is judged by.
        setup: read against the same rulebook, so that its card and crop exist.
        hold_at: lowest risk level that holds a harvest start.
    """
    sheet = make_sheet(rulebook, rulebook.machines[setup.unit.card], rulebook.crops[setup.crop])
    return audit_on_sheet(sheet, setup, hold_at)


def audit_on_sheet(sheet: Sheet, setup: Setup, hold_at: Level = Level.HIGH) -> Report:
    """Audit one setup on a check sheet that was made before."""
    facts = compute(sheet, setup)
    around = Surroundings(facts.values, sheet.names, facts.why_unknown)
    tally = dict.fromkeys(Verdict, 0)
    findings: list[Finding] = []
    for question in sheet.questions:
        verdict, outcome = judge(question.given, question.hold, around)
        tally[verdict] += 1
        if verdict in (Verdict.BROKEN, Verdict.UNKNOWN):
            findings.append(_finding(question, verdict, outcome, sheet, around, hold_at))
    findings.sort(key=lambda finding: rank_key(finding.risk, finding.verdict, finding.rule, finding.on))
    held = any(finding.holds_start for finding in findings)
    builds = tuple(
        (build.name, str(setup.values.get(f"build.{build.name}") or "cannot decide")) for build in sheet.card.builds
    )
    return Report(
        unit=setup.unit.id,
        card=sheet.card.id,
        crop=sheet.crop.id,
        header_kind=setup.header_kind,
        taken=setup.taken,
        clearance=Clearance.HELD if held else Clearance.CLEARED,
        counts=Counts(
            kept=tally[Verdict.KEPT],
            broken=tally[Verdict.BROKEN],
            unknown=tally[Verdict.UNKNOWN],
            not_asked=tally[Verdict.NOT_ASKED],
        ),
        findings=tuple(findings),
        facts=tuple(facts.traces.values()),
        unasked=sheet.unasked,
        builds=builds,
        digest=sheet.digest,
    )


def findings_for(
    sheet: Sheet, questions: Iterable[Question], values: Mapping[str, Value | Sided], hold_at: Level
) -> tuple[Finding, ...]:
    """Work out some questions in full from values that are already computed, in the order given."""
    around = Surroundings(values, sheet.names, Reasons(sheet, values))
    return tuple(
        _finding(question, *judge(question.given, question.hold, around), sheet, around, hold_at)
        for question in questions
    )


def _finding(
    question: Question, verdict: Verdict, outcome: Outcome, sheet: Sheet, around: Surroundings, hold_at: Level
) -> Finding:
    rule = question.rule
    risk = risk_of(rule.harm, verdict, outcome.share)
    missing: dict[str, Missing] = {}
    if verdict is Verdict.UNKNOWN:
        for comparison in outcome.comparisons:
            if comparison.found is None:
                missing |= missing_for(comparison.quantity, sheet, around.values, around.why_unknown)
        parts = [part for part in (question.given, question.hold) if part is not None]
        for name in (name for part in parts for name in quantities(part) if not missing):
            if around.values.get(name) in (None, (None, None)):  # found, but what it is held against is not known
                missing |= missing_for(name, sheet, around.values, around.why_unknown)
        if not missing:
            missing = {c.quantity: Missing(c.quantity, c.why_unknown, "") for c in outcome.comparisons}
    return Finding(
        rule=rule.id,
        on=question.on,
        station=question.station,
        verdict=verdict,
        risk=risk,
        holds_start=holds_start(risk, rule, hold_at),
        comparisons=outcome.comparisons,
        missing=tuple(missing.values()),
        targets=question.targets,
    )
