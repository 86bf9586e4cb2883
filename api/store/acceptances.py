"""Acceptances: a named person accepts one finding on one unit for one job."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Row, insert, select, update

from api.store.database import Work
from api.store.events import canonical
from api.store.tables import acceptances
from audit.nouns.clearance import Acceptance, Job


def add(work: Work, unit: str, setup: str, one: Acceptance) -> None:
    """Puts an acceptance on record, with the setup whose finding it accepts."""
    work.connection.execute(
        insert(acceptances).values(
            organisation=work.organisation, id=one.id, unit=unit, setup=setup, rule=one.rule, part=one.on,
            crop=one.job.crop, header_kind=one.job.header_kind, found=canonical(one.found).decode(), by=one.by,
            reason=one.reason, at=one.at, until=one.until,
        )
    )  # fmt: skip


def find(work: Work, unit: str, id: str) -> Acceptance | None:
    """An acceptance on a unit, None if there is none of this id."""
    wanted = select(acceptances).where(
        acceptances.c.organisation == work.organisation, acceptances.c.unit == unit, acceptances.c.id == id
    )
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else _acceptance(row)


def of_unit(work: Work, unit: str) -> list[Acceptance]:
    """All that were given on a unit, in order of time."""
    wanted = select(acceptances).where(acceptances.c.organisation == work.organisation, acceptances.c.unit == unit)
    return [_acceptance(row) for row in work.connection.execute(wanted.order_by(acceptances.c.at, acceptances.c.id))]


def of_all_units(work: Work) -> dict[str, list[Acceptance]]:
    """All that were given, by unit, each unit's in order of time."""
    wanted = select(acceptances).where(acceptances.c.organisation == work.organisation)
    found: dict[str, list[Acceptance]] = {}
    for row in work.connection.execute(wanted.order_by(acceptances.c.unit, acceptances.c.at, acceptances.c.id)):
        found.setdefault(row.unit, []).append(_acceptance(row))
    return found


def withdraw(work: Work, id: str) -> None:
    """Notes that an acceptance was taken back."""
    where = (acceptances.c.organisation == work.organisation, acceptances.c.id == id)
    work.connection.execute(update(acceptances).where(*where).values(withdrawn=work.now, withdrawn_by=work.who))


def _acceptance(row: Row[Any]) -> Acceptance:
    found = tuple((name, side, value) for name, side, value in json.loads(row.found))
    return Acceptance(
        row.id, row.rule, row.part, Job(row.crop, row.header_kind), found, row.by, row.reason, row.at, row.until,
        row.withdrawn,
    )  # fmt: skip
