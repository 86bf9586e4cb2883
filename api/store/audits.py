"""Audits of setups, each with the digest of the rulebook that judged."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, insert, select

from api.store.database import Work
from api.store.tables import audits


@dataclass(frozen=True, slots=True)
class AuditRow:
    """One audit on record: ``report`` is the answer as JSON; ``holding`` counts the findings that hold."""

    setup: str
    rulebook: str
    hold_at: str
    clearance: str
    holding: int
    report: bytes
    at: float


def keep(work: Work, audit: AuditRow) -> None:
    """Puts an audit on record, unless the same was there already."""
    where = _key(work, audit.setup, audit.rulebook, audit.hold_at)
    if work.connection.execute(select(audits.c.at).where(*where)).one_or_none() is None:
        values = {name: getattr(audit, name) for name in AuditRow.__slots__}
        values["report"] = zlib.compress(audit.report)
        work.connection.execute(insert(audits).values(organisation=work.organisation, **values))


def find(work: Work, setup: str, rulebook: str, hold_at: str) -> AuditRow | None:
    """The audit of a setup by a rulebook at a level, None if there is none."""
    row = work.connection.execute(select(audits).where(*_key(work, setup, rulebook, hold_at))).one_or_none()
    if row is None:
        return None
    values = {name: getattr(row, name) for name in AuditRow.__slots__}
    values["report"] = zlib.decompress(row.report)
    return AuditRow(**values)


def by_setup(work: Work, ids: Sequence[str]) -> dict[str, list[tuple[str, str, str, int, float]]]:
    """By setup: rulebook, level, clearance, findings that hold, and time of its audits, in order of time."""
    columns = (audits.c.setup, audits.c.rulebook, audits.c.hold_at, audits.c.clearance, audits.c.holding, audits.c.at)
    wanted = select(*columns).where(audits.c.organisation == work.organisation, audits.c.setup.in_(ids))
    found: dict[str, list[tuple[str, str, str, int, float]]] = {}
    for row in work.connection.execute(wanted.order_by(audits.c.at, audits.c.rulebook)):
        found.setdefault(row.setup, []).append((row.rulebook, row.hold_at, row.clearance, row.holding, row.at))
    return found


def _key(work: Work, setup: str, rulebook: str, hold_at: str) -> tuple[ColumnElement[bool], ...]:
    return (
        audits.c.organisation == work.organisation,
        audits.c.setup == setup,
        audits.c.rulebook == rulebook,
        audits.c.hold_at == hold_at,
    )
