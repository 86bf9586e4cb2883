"""Audits of setups, each with the digest of the rulebook that judged."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import NamedTuple

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


class Done(NamedTuple):
    """That a setup was audited, without the report."""

    rulebook: str
    hold_at: str
    clearance: str
    holding: int
    at: float


def of_setup(work: Work, setup: str) -> list[Done]:
    """The audits of a setup in order of time."""
    columns = (audits.c.rulebook, audits.c.hold_at, audits.c.clearance, audits.c.holding, audits.c.at)
    wanted = select(*columns).where(audits.c.organisation == work.organisation, audits.c.setup == setup)
    return [Done(*row) for row in work.connection.execute(wanted.order_by(audits.c.at, audits.c.rulebook))]


def _key(work: Work, setup: str, rulebook: str, hold_at: str) -> tuple[ColumnElement[bool], ...]:
    return (
        audits.c.organisation == work.organisation,
        audits.c.setup == setup,
        audits.c.rulebook == rulebook,
        audits.c.hold_at == hold_at,
    )
