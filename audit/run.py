"""The pipeline: a setup and a rulebook in, a report out.

setup ─▶ check sheet of its card and crop ─▶ facts ─▶ verdicts ─▶ findings, ranked ─▶ report
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from audit.checking import Outcome, Surroundings, judge
from audit.conditions import quantities
from audit.facts import Reasons, compute, missing_for
from audit.nouns.answer import Answer, Envelope, Short
from audit.nouns.finding import Clearance, Comparison, Counts, Finding, Missing, Report
from audit.nouns.quantity import Sided, Value
from audit.nouns.risk import Level, Risk
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.ranking import holds_start, rank_key, risk_of
from audit.sheet import Question, Sheet, make_sheet

HOURLY = ("field.capacity", "field.material_capacity")
"""Facts of an hour at work: area, ha, and grain, kg."""
UNDECIDED = "cannot decide"
"""A build that neither what is stated nor serial or year decides."""


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
        (build.name, str(setup.values.get(f"build.{build.name}") or UNDECIDED)) for build in sheet.card.builds
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
        hourly=hourly(facts.values),
        facts=tuple(facts.traces.values()),
        unasked=sheet.unasked,
        builds=builds,
        digest=sheet.digest,
    )


def hourly(values: Mapping[str, Value | Sided]) -> tuple[Value, Value]:
    """What an hour at work brings, from values that are already computed."""
    area, grain = (values.get(name) for name in HOURLY)
    assert not isinstance(area, tuple)  # of the whole machine, so it has no sides
    assert not isinstance(grain, tuple)
    return area, grain


def finding_of(sheet: Sheet, question: Question, values: Mapping[str, Value | Sided], hold_at: Level) -> Finding:
    """A question that is not kept in full, from all the values that it looks at."""
    around = Surroundings(values, sheet.names, Reasons(sheet, values))
    return _finding(question, *judge(question.given, question.hold, around), sheet, around, hold_at)


def short_of(sheet: Sheet, question: Question, values: Mapping[str, Value | Sided], hold_at: Level) -> Short:
    """A question that is not kept in short, from all the values that it looks at."""
    verdict, outcome = judge(question.given, question.hold, Surroundings(values, sheet.names, Reasons(sheet, values)))
    risk = risk_of(question.rule.harm, verdict, outcome.share)
    held = holds_start(risk, question.rule, hold_at)
    return _short(question.rule.id, question.on, question.station, verdict, risk, held, outcome.comparisons)


def answer_of(setup: Setup, report: Report) -> Answer:
    """A report in short."""
    unit, taken = setup.unit, setup.taken
    hours = setup.values.get("unit.engine_hours")
    return Answer(
        unit=unit.id,
        card=report.card,
        crop=report.crop,
        header_kind=report.header_kind,
        envelope=Envelope(unit.owner, unit.serial, unit.build_year, taken.at, taken.by, taken.state),
        builds=report.builds,
        engine_hours=hours if isinstance(hours, float) else None,
        clearance=report.clearance,
        counts=report.counts,
        findings=tuple(in_short(finding) for finding in report.findings),
    )


def in_short(finding: Finding) -> Short:
    """The same from a finding that was worked out in full."""
    return _short(
        finding.rule, finding.on, finding.station, finding.verdict, finding.risk, finding.holds_start,
        finding.comparisons,
    )  # fmt: skip


def _short(
    rule: str, on: str, station: str, verdict: Verdict, risk: Risk, holds: bool, comparisons: Sequence[Comparison]
) -> Short:
    first = comparisons[0] if comparisons else Comparison("", "", None, "", "", None, 0.0, None)
    return Short(
        rule, on, station, verdict, risk.level, risk.index, holds, risk.downtime, risk.share, risk.people,
        first.quantity, first.side, first.found, first.wanted,
    )  # fmt: skip


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
