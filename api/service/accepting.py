"""Accepting a finding, and taking that back."""

from __future__ import annotations

import secrets
from typing import Any

from api.service.gate import Gate
from api.store import acceptances, events
from api.store.database import Work
from api.store.units import UnitRow
from audit.clearing import found_in, why_not_acceptable
from audit.nouns.clearance import Acceptance
from audit.nouns.risk import Level

LONGEST = 366 * 86400.0
"""Longest that a finding may be accepted for, s: one season, and then somebody must look again."""
SHORTEST_REASON = 10
"""Fewest characters of a reason: 'ok' is none."""


class NotAcceptable(Exception):
    """The finding can't be accepted, or not like this; the text says why."""


class NoSuchFinding(Exception):
    """The newest setup of the unit has no such finding."""


class NoSuchAcceptance(Exception):
    """There is no such acceptance on the unit."""


def accept(
    work: Work, gate: Gate, unit: UnitRow, setup: str, rule: str, on: str, by: str, reason: str, until: float
) -> Acceptance:
    """Accepts one finding of the newest setup, as it was found, for that setup's job.

    Args:
        setup: the setup that whoever accepts has looked at; refused if a newer one is on record.
        by: the person who answers for it.

    Raises: NoSuchFinding, NotAcceptable.
    """
    seen = gate.see(work, unit)
    if seen.setup is None or seen.setup.id != setup:
        raise NotAcceptable("a newer setup is on record; look at its findings first")
    auditor = gate.in_force.auditor(work, seen.terms.hold_at)
    judgement = gate.judgement(auditor, seen.setup)
    findings = () if judgement is None else judgement.findings
    finding = next((one for one in findings if (one.rule, one.on) == (rule, on)), None)
    if finding is None:
        raise NoSuchFinding(f"{rule}{f' on {on}' if on else ''}")
    why_not = why_not_acceptable(finding, auditor.rulebook.rules)
    if why_not is not None:
        raise NotAcceptable(f"this can't be accepted: {why_not}")
    if not finding.holds_start:
        level = Level(seen.terms.hold_at).name.capitalize()
        raise NotAcceptable(f"there is nothing to accept: only findings at {level} or above hold a start")
    if len(reason.strip()) < SHORTEST_REASON:
        raise NotAcceptable(f"say why in at least {SHORTEST_REASON} characters; somebody will read it in a year")
    if not by.strip():
        raise NotAcceptable("name the person who answers for it")
    if not work.now < until <= work.now + LONGEST:
        raise NotAcceptable("it must end later than now, and within a year")
    one = Acceptance(
        id=f"acceptance-{secrets.token_hex(8)}", rule=rule, on=on, job=seen.decision.job, found=found_in(finding),
        by=by.strip(), reason=reason.strip(), at=work.now, until=until,
    )  # fmt: skip
    acceptances.add(work, unit.id, setup, one)
    content = {**content_of(one, unit.id), "setup": setup, "found": [list(value) for value in one.found]}
    events.append(work, "acceptance.given", f"acceptance/{one.id}", content)
    return one


def withdraw(work: Work, gate: Gate, unit: UnitRow, id: str) -> Acceptance:
    """Takes an acceptance back; certificates that stood on it are revoked. Raises NoSuchAcceptance."""
    one = acceptances.find(work, unit.id, id)
    if one is None:
        raise NoSuchAcceptance(id)
    if one.withdrawn is None:
        acceptances.withdraw(work, id)
        events.append(
            work, "acceptance.withdrawn", f"acceptance/{id}", {"unit": unit.id}, told=content_of(one, unit.id)
        )
        gate.recheck(work, unit.id)
    found = acceptances.find(work, unit.id, id)
    assert found is not None
    return found


def content_of(one: Acceptance, unit: str) -> dict[str, Any]:
    """What an event says of an acceptance."""
    return {
        "unit": unit, "rule": one.rule, "on": one.on, "crop": one.job.crop, "header_kind": one.job.header_kind,
        "by": one.by, "reason": one.reason, "until": one.until,
    }  # fmt: skip
