"""The gate: whether a unit may start a job, from its newest setup, the audit of it, and what people accepted.

It fails closed. A start is cleared only if everything that could speak against it is known and does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isfinite

from audit.nouns.clearance import (
    Acceptance,
    Accepted,
    Decision,
    Effect,
    Found,
    Job,
    Judgement,
    Lapsed,
    Reason,
    Stand,
    Terms,
    Why,
)
from audit.nouns.finding import Clearance, Finding
from audit.nouns.rule import Rule, Verdict

CLOCKS_DIFFER = 300.0
"""Seconds by which the clock of whoever took a setup may be ahead of ours."""
_DAY = 86400.0


def decide(
    job: Job,
    stand: Stand | None,
    judgement: Judgement | None,
    rules: Mapping[str, Rule],
    in_force: str,
    acceptances: Iterable[Acceptance],
    effects: Mapping[str, Effect],
    terms: Terms,
    now: float,
    hours: float | None,
) -> Decision:
    """Clears a start, or holds it with every reason.

    Args:
        job: what is to be started.
        stand: the newest setup of the unit, None if it has none.
        judgement: the audit of that setup at ``terms.hold_at``, None if it can't be judged any more.
        rules: of the rulebook in force, by id.   in_force: its digest.
        acceptances: every one that was given on this unit.
        effects: by rule, where the organisation changed it; a rule that is not here holds.
        now: s since 1970.
        hours: highest engine hours known of the unit, None where none are.
    """
    given = sorted(acceptances, key=lambda one: (one.at, one.id))
    reasons = list(_of_the_setup(job, stand, terms, now, hours))
    if stand is None or judgement is None or judgement.rulebook != in_force:
        if stand is not None:
            reasons.append(Reason(Why.NOT_JUDGED, "The rulebook in force has not judged this setup; record it anew."))
        lapsed = tuple(Lapsed(one, "there is no finding that it could be about") for one in given)
        return Decision(job, Clearance.HELD, stand, tuple(reasons), (), lapsed, (), "")
    accepted: list[Accepted] = []
    warned: list[Finding] = []
    used: set[str] = set()
    for finding in judgement.findings:
        if not finding.holds_start:
            continue
        effect = Effect.HOLDS if finding.risk.people else effect_of(finding.rule, rules, effects)
        if effect is not Effect.HOLDS:
            if effect is Effect.WARNED:
                warned.append(finding)
            continue
        good = next((one for one in reversed(given) if why_not(one, finding, job, rules, now) is None), None)
        if good is None:
            reasons.append(Reason(Why.FINDING, _said(finding, rules), finding))
        else:
            accepted.append(Accepted(finding, good))
            used.add(good.id)
    lapsed = tuple(Lapsed(one, _why_lapsed(one, judgement, job, rules, now)) for one in given if one.id not in used)
    return Decision(
        job,
        Clearance.HELD if reasons else Clearance.CLEARED,
        stand,
        tuple(reasons),
        tuple(accepted),
        lapsed,
        tuple(warned),
        judgement.rulebook,
    )


def effect_of(rule: str, rules: Mapping[str, Rule], effects: Mapping[str, Effect]) -> Effect:
    """What a broken rule does, as the organisation says; danger to people always holds, as does a rule nobody knows."""
    known = rules.get(rule)
    if known is None or known.harm.people:
        return Effect.HOLDS
    return effects.get(rule, Effect.HOLDS)


def found_in(finding: Finding) -> Found:
    """What a finding is about: an acceptance is tied to exactly these values."""
    return tuple(sorted(((c.quantity, c.side, c.found) for c in finding.comparisons), key=repr))


def why_not_acceptable(finding: Finding, rules: Mapping[str, Rule]) -> str | None:
    """Why nobody may accept a finding, None if somebody with the right to may."""
    if _for_people(finding, rules):
        return "it is a danger to people, which can't be accepted"
    if finding.verdict is not Verdict.BROKEN:
        return "it is not known what is wrong; find out first, as only a known fault can be accepted"
    return None


def why_not(acceptance: Acceptance, finding: Finding, job: Job, rules: Mapping[str, Rule], now: float) -> str | None:
    """Why an acceptance does not cover a finding, None if it does."""
    if (acceptance.rule, acceptance.on) != (finding.rule, finding.on):
        return "it is about another finding"
    if acceptance.job != job:
        return "it was given for another job"
    if acceptance.withdrawn is not None:
        return "it was taken back"
    if not acceptance.until > now:
        return "it has expired"
    if acceptance.at > now + CLOCKS_DIFFER:
        return "it was given later than now; look at the clock"
    if acceptance.found != found_in(finding):
        return "what is found now is not what was accepted"
    return why_not_acceptable(finding, rules)


def _of_the_setup(job: Job, stand: Stand | None, terms: Terms, now: float, hours: float | None) -> Iterable[Reason]:
    """What speaks against the setup itself, whatever it says."""
    if stand is None:
        yield Reason(Why.NO_SETUP, "No setup of this unit is on record.")
        return
    if stand.unit_retired:
        yield Reason(Why.RETIRED, "The unit was taken out of the fleet.")
    if stand.job != job or not job.header_kind:
        yield Reason(
            Why.OTHER_JOB,
            f"The newest setup is for {_job(stand.job)}, not for {_job(job)}; the machine was set for that since.",
        )
    if stand.taken > now + CLOCKS_DIFFER:
        yield Reason(Why.FROM_THE_FUTURE, "The setup says it was taken later than now; look at the clock.")
    if stand.overtaken_by:
        yield Reason(
            Why.OVERTAKEN,
            "A setup that was taken earlier was recorded after this one, so it is not certain which of them is the "
            "machine's state; record the setup as it is now.",
        )
    if stand.unit_changed:
        yield Reason(
            Why.UNIT_CHANGED,
            "What the unit is (type, serial number, what is fitted) was changed after this setup; record it anew.",
        )
    age = (now - stand.taken) / _DAY
    if not age <= terms.most_days:
        yield Reason(Why.TOO_OLD, f"The setup is {age:.1f} days old; at most {terms.most_days:g} are allowed.")
    if stand.hours is None or not isfinite(stand.hours):
        yield Reason(Why.HOURS_UNKNOWN, "The setup was recorded without engine hours, so its age at work is not known.")
        return
    since = max(stand.hours, hours or 0.0) - stand.hours
    if not since <= terms.most_hours:
        yield Reason(
            Why.TOO_MANY_HOURS,
            f"The engine has run {since:.1f} h since the setup; at most {terms.most_hours:g} are allowed.",
        )


def _why_lapsed(one: Acceptance, judgement: Judgement, job: Job, rules: Mapping[str, Rule], now: float) -> str:
    if one.job != job:
        return "it was given for another job"
    about = [f for f in judgement.findings if (f.rule, f.on) == (one.rule, one.on)]
    if not about:
        return "nothing of what it accepts is found any more"
    return why_not(one, about[0], job, rules, now) or "it is not needed: the finding does not hold a start"


def _for_people(finding: Finding, rules: Mapping[str, Rule]) -> bool:
    rule = rules.get(finding.rule)
    return finding.risk.people or rule is None or rule.harm.people


def _said(finding: Finding, rules: Mapping[str, Rule]) -> str:
    rule = rules.get(finding.rule)
    title = rule.title if rule is not None else finding.rule
    on = f" ({finding.on})" if finding.on else ""
    if finding.verdict is Verdict.UNKNOWN:
        return f"{title}{on}: not known, and it could be {finding.risk.level.name.capitalize()}."
    return f"{title}{on}: {finding.risk.level.name.capitalize()}."


def _job(job: Job) -> str:
    return f"{job.crop} with {job.header_kind or 'an unknown header'}"
