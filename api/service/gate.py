"""The gate of a harvest start: reads what is on record, lets ``audit.clearing`` decide, and writes what was decided.

Decisions are taken inside the transaction that writes them. Whatever could change one (a setup, a unit, an acceptance,
the organisation's terms, the rulebook) is written by a transaction that ends with ``recheck``, so that no certificate
stays good that would not be given now.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from api.certificates.certificate import LONGEST, Claims, sign
from api.certificates.keys import SigningKey
from api.service.in_force import InForce
from api.service.keeping import Kept
from api.service.recording import unit_named, with_hours
from api.store import acceptances, events, organisations, setups, starts, units
from api.store.database import Work
from api.store.events import Saying
from api.store.setups import Newest, SetupRow
from api.store.starts import StartRow
from api.store.units import UnitRow
from audit.auditor import Auditor
from audit.clearing import CLOCKS_DIFFER, decide
from audit.nouns.clearance import Decision, Job, Judgement, Stand, Terms
from audit.nouns.finding import Clearance
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level

_MOST_KEPT = 4096
_HOUR, _DAY = 3600.0, 86400.0


class ClockBehind(Exception):
    """The clock stands before what is on record, so nothing can be said of how old anything is."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a decision was taken on."""

    decision: Decision
    setup: SetupRow | None
    terms: Terms


class Gate:
    """Decides on starts.

    Args:
        in_force: gives the rulebook in force of an organisation.
        issuer: this server's name in its certificates.
    """

    def __init__(self, in_force: InForce, issuer: str) -> None:
        self.in_force, self.issuer = in_force, issuer
        self._kept: Kept[tuple[str, str, Level], Judgement | None] = Kept(_MOST_KEPT)

    def see(self, work: Work, unit: UnitRow, job: Job | None = None) -> Seen:
        """Whether a unit may start a job; without one, the job of its newest setup."""
        organisation = organisations.read(work)
        terms = organisation.terms
        auditor = self.in_force.auditor(work, terms.hold_at)
        setup = setups.newest(work, unit.id)
        stand = None if setup is None else stand_of(unit, setup, _overtaken(work, unit, setup))
        decision = decide(
            job=job or (stand.job if stand else Job("", "")),
            stand=stand,
            judgement=None if setup is None else self.judgement(auditor, setup),
            rules=auditor.rulebook.rules,
            in_force=auditor.rulebook.digest,
            acceptances=acceptances.of_unit(work, unit.id),
            effects=organisation.effects,
            terms=terms,
            now=work.now,
            hours=unit.engine_hours,
        )
        return Seen(decision, setup, terms)

    def start(self, work: Work, unit: UnitRow, job: Job, hours: float | None, key: SigningKey) -> StartRow | Seen:
        """Clears a start and signs its certificate, or holds it; both go on record.

        Args:
            hours: engine hours now, as whoever asks reads them; None for not said.

        Raises: ClockBehind.
        """
        if work.behind > CLOCKS_DIFFER:
            raise ClockBehind(f"the server's clock is {work.behind:.0f} s behind its own record")
        more = with_hours(unit, hours, work.now)
        if more != unit:
            units.change(work, more)
        seen = self.see(work, more, job)
        decision, stand = seen.decision, seen.decision.stand
        if decision.clearance is not Clearance.CLEARED or stand is None:
            events.append(
                work, "start.held", f"unit/{unit.id}", _held(decision, more.engine_hours), told=_in_words(decision)
            )
            if more != unit:  # the hours that hold this start speak against certificates given before, too
                self.recheck(work, unit.id)
            return seen
        number, id = starts.next_number(work, unit.id), f"start-{secrets.token_hex(8)}"
        until = expiry(seen, work.now)
        events.append(
            work, "start.cleared", f"start/{id}",
            {
                "unit": unit.id, "number": number, "crop": job.crop, "header_kind": job.header_kind,
                "setup": stand.setup, "rulebook": decision.rulebook, "expires": until,
                "accepted": [one.acceptance.id for one in decision.accepted], "engine_hours": more.engine_hours,
            },
            after=stand.digest,
        )  # fmt: skip
        newest, head = events.head(work)
        claims = Claims(
            issuer=self.issuer, organisation=work.organisation, unit=unit.id, crop=job.crop,
            header_kind=job.header_kind, start=id, setup=stand.setup, setup_digest=stand.digest,
            rulebook=decision.rulebook, issued=int(work.now), expires=until,
            accepted=tuple(dict.fromkeys(one.acceptance.id for one in decision.accepted)),
            record_number=newest, record_hash=head,
        )  # fmt: skip
        row = StartRow(
            id=id, unit=unit.id, number=number, setup=stand.setup, rulebook=decision.rulebook, crop=job.crop,
            header_kind=job.header_kind, certificate=sign(claims, key), at=work.now, by=work.who, expires=until,
        )  # fmt: skip
        starts.add(work, row)
        return row

    def recheck(self, work: Work, unit: str = "") -> list[StartRow]:
        """Revokes every good certificate, of one unit or of all, that would not be given now."""
        good = starts.good(work, unit)
        gone = list(self._failing(work, good, {id: unit_named(work, id) for id in {start.unit for start in good}}))
        for start, why in gone:
            revoke(work, start, why)
        return [start for start, _ in gone]

    def failing(self, work: Work, rows: Mapping[str, UnitRow]) -> Iterator[tuple[StartRow, str]]:
        """Starts of these units whose good certificates would not be given were the units as given, and why not."""
        return self._failing(work, [start for start in starts.good(work) if start.unit in rows], rows)

    def _failing(
        self, work: Work, good: Iterable[StartRow], rows: Mapping[str, UnitRow]
    ) -> Iterator[tuple[StartRow, str]]:
        for start in good:
            seen = self.see(work, rows[start.unit], Job(start.crop, start.header_kind))
            if seen.decision.clearance is not Clearance.CLEARED:
                yield start, " ".join(reason.text for reason in seen.decision.reasons)

    def judgement(self, auditor: Auditor, setup: SetupRow) -> Judgement | None:
        """The audit of a setup, None where the rulebook can't read it."""
        key = setup.digest, auditor.rulebook.digest, auditor.hold_at
        return self._kept.get(key, lambda: _judged(auditor, setup))


def revoke(work: Work, start: StartRow, why: str) -> None:
    """A start's certificate is no longer true: the row, the record, and whoever wants to be told."""
    starts.revoke(work, start.id, why)
    events.append_all(work, [revocation(start, why)])


def revocation(start: StartRow, why: str) -> Saying:
    """The event of a certificate that is no longer true."""
    job = {"crop": start.crop, "header_kind": start.header_kind}
    return Saying("start.revoked", f"start/{start.id}", {"unit": start.unit, "why": why}, told=job)


def _judged(auditor: Auditor, setup: SetupRow) -> Judgement | None:
    try:
        return Judgement(auditor.rulebook.digest, auditor.judge(setup.text, "").findings())
    except BadInput:
        return None


def stand_of(unit: UnitRow, setup: SetupRow | Newest, overtaken_by: str) -> Stand:
    """The newest setup, as far as clearance asks.

    Args:
        overtaken_by: a setup that was taken earlier and recorded later, '' for none.
    """
    return Stand(
        setup=setup.id,
        digest=setup.digest,
        job=Job(setup.crop, setup.header_kind),
        taken=setup.taken,
        hours=setup.engine_hours,
        overtaken_by=overtaken_by,
        unit_changed=setup.number <= unit.changed_after,
        unit_retired=unit.retired is not None,
    )


def _overtaken(work: Work, unit: UnitRow, setup: SetupRow) -> str:
    if setup.number >= unit.setups:
        return ""
    last = setups.numbered(work, unit.id, unit.setups)
    return last.id if last is not None else "?"


def expiry(seen: Seen, now: float) -> int:
    """Until when a certificate is good, whole s since 1970: as long as nothing that it stands on runs out."""
    decision, terms = seen.decision, seen.terms
    ends = [now + min(terms.valid_for * _HOUR, LONGEST), *(one.acceptance.until for one in decision.accepted)]
    if decision.stand is not None:
        ends.append(decision.stand.taken + terms.most_days * _DAY)
    return max(int(min(ends)), int(now) + 1)


def _held(decision: Decision, hours: float | None) -> dict[str, Any]:
    return {
        "crop": decision.job.crop,
        "header_kind": decision.job.header_kind,
        "setup": decision.stand.setup if decision.stand else None,
        "rulebook": decision.rulebook,
        "engine_hours": hours,
        "reasons": list(_reasons(decision)),
    }


def _in_words(decision: Decision) -> dict[str, Any]:
    """What other systems are told of the reasons."""
    texts = (reason.text for reason in decision.reasons)
    lines = [{**reason, "text": text} for reason, text in zip(_reasons(decision), texts, strict=True)]
    return {"reasons": lines, "count": len(lines)}


def _reasons(decision: Decision) -> Iterable[dict[str, str]]:
    for reason in decision.reasons:
        finding = reason.finding
        yield {
            "why": reason.why.value, "rule": finding.rule if finding else "", "on": finding.on if finding else "",
        }  # fmt: skip
