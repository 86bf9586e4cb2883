"""How every unit of an organisation stands, worst first: the gate's decision for the job that each is set for.

Decisions are taken anew each time, as time alone may change them; what a setup's audit says is kept for as long as
setup and rulebook stay the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

from api.identity.caller import Caller
from api.identity.tokens import at_command_line
from api.service.gate import stand_of
from api.service.in_force import InForce
from api.service.keeping import Kept
from api.store import acceptances, organisations, setups, units
from api.store.database import Store, Work
from api.store.setups import Newest
from api.store.units import UnitRow
from audit.auditor import Auditor
from audit.clearing import decide
from audit.nouns.clearance import Decision, Job, Judgement
from audit.nouns.finding import Clearance, Counts, Finding
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict

MOST_KEPT = 50_000
"""Audits that are kept in short: what holds, and how many of the rest."""
MOST_READY = 10_000
"""About how many units are judged before anybody asks."""


@dataclass(frozen=True, slots=True)
class Short:
    """A setup's audit as far as a list of units shows it.

    Attributes:
        holding: findings that hold a start, worst first.
        worst: the worst finding; None where nothing is wrong and everything known.
        broken: how many broken ones by level.
    """

    judgement: Judgement
    counts: Counts
    worst: Finding | None
    broken: tuple[tuple[Level, int], ...]


@dataclass(frozen=True, slots=True)
class Stood:
    """One unit of the fleet."""

    unit: UnitRow
    newest: Newest | None
    short: Short | None
    decision: Decision

    @property
    def held(self) -> bool:
        return self.decision.clearance is Clearance.HELD

    @property
    def rank(self) -> tuple[int, int, int, int, str]:
        """Held before cleared, then by the worst level that holds, by its index, by how many hold, by id."""
        holding = [one.finding for one in self.decision.reasons if one.finding is not None]
        worst = holding[0] if holding else self.short.worst if self.short else None
        level = int(worst.risk.level) if worst else int(Level.HIGH) if self.held else len(Level) + 1
        return (not self.held, level, worst.risk.index if worst else 0, -len(self.decision.reasons), self.unit.id)


class Standings:
    """Standings of fleets, one for a process.

    Args:
        in_force: gives the rulebook in force of an organisation.
    """

    def __init__(self, in_force: InForce) -> None:
        self._in_force = in_force
        self._kept: Kept[tuple[str, str, Level], Short | None] = Kept(MOST_KEPT)

    def of(self, work: Work, caller: Caller) -> list[Stood]:
        """Every unit that a caller sees and that is not retired, worst first."""
        organisation = organisations.read(work)
        auditor = self._in_force.auditor(work, organisation.terms.hold_at)
        rules, digest = auditor.rulebook.rules, auditor.rulebook.digest
        newest, given = setups.newest_of_all(work), acceptances.of_all_units(work)
        seen = _seen(units.of_fleet(work), caller)
        shorts = self._shorts(work, auditor, [newest[unit.id] for unit in seen if unit.id in newest])
        found = []
        for unit in seen:
            last = newest.get(unit.id)
            short = None if last is None else shorts[last.id]
            stand = None if last is None else stand_of(unit, last, "?" if last.number < unit.setups else "")
            job = stand.job if stand else Job("", "")
            decision = decide(
                job=job, stand=stand, judgement=short.judgement if short else None, rules=rules,
                in_force=digest, acceptances=given.get(unit.id, ()), effects=organisation.effects,
                terms=organisation.terms, now=work.now, hours=unit.engine_hours,
            )  # fmt: skip
            found.append(Stood(unit, last, short, decision))
        return sorted(found, key=lambda one: one.rank)

    def make_ready(self, store: Store, now: float) -> None:
        """Judges what the first page of a fleet would have to wait for. Raises StoreUnavailable."""
        left = MOST_READY
        with store.connection() as connection:
            found = organisations.ids(connection)
        for organisation in found:
            if left > 0:
                with store.reading(organisation, now) as work:
                    left -= len(self.of(work, at_command_line(organisation)))

    def _shorts(self, work: Work, auditor: Auditor, wanted: Sequence[Newest]) -> dict[str, Short | None]:
        """The audits of setups in short, by the setups' ids."""
        found: dict[str, Short | None] = {}
        keys = {last.id: (last.digest, auditor.rulebook.digest, auditor.hold_at) for last in wanted}
        for id, key in keys.items():
            with suppress(KeyError):
                found[id] = self._kept[key]
        for id, text in setups.texts(work, [id for id in keys if id not in found]):
            found[id] = self._kept.get(keys[id], partial(_audited, auditor, text))
        return found


def _seen(rows: Iterable[UnitRow], caller: Caller) -> list[UnitRow]:
    return [row for row in rows if caller.sees(row.id)]


def _audited(auditor: Auditor, text: bytes) -> Short | None:
    """The audit of a setup; None where the rulebook in force can't read it."""
    try:
        judged = auditor.judge(text, "")
    except BadInput:
        return None
    findings = judged.findings()
    levels = [one.risk.level for one in findings if one.verdict is Verdict.BROKEN]
    holding = tuple(one for one in findings if one.holds_start)
    return Short(
        Judgement(auditor.rulebook.digest, holding), judged.counts, findings[0] if findings else None,
        tuple((level, levels.count(level)) for level in Level if level in levels),
    )  # fmt: skip
