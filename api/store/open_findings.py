"""Which findings that hold are open on a unit, as other systems were told: each is opened once, and closed once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import delete, insert, select

from api.store import outbox
from api.store.database import Work
from api.store.event_tables import open_findings
from api.store.setups import SetupRow

Key = tuple[str, str]


def follow(work: Work, setup: SetupRow, holding: Sequence[Mapping[str, Any]]) -> None:
    """Tells what the newest setup of a unit opened and closed.

    Args:
        holding: its findings that hold a start, worst first, as a report's JSON has them.
    """
    own = (open_findings.c.organisation == work.organisation, open_findings.c.unit == setup.unit)
    found: dict[Key, Mapping[str, Any]] = {(one["rule"], one["on"]): one for one in holding}
    rows = work.connection.execute(select(open_findings).where(*own).order_by(open_findings.c.rule)).all()
    known: dict[Key, str] = {(row.rule, row.part): row.setup for row in rows}
    opened = [key for key in found if key not in known]
    closed = [key for key in known if key not in found]
    for rule, part in closed:
        work.connection.execute(
            delete(open_findings).where(*own, open_findings.c.rule == rule, open_findings.c.part == part)
        )
    if opened:
        work.connection.execute(
            insert(open_findings),
            [
                {
                    "organisation": work.organisation, "unit": setup.unit, "rule": rule, "part": part,
                    "setup": setup.id, "since": work.now,
                }
                for rule, part in opened
            ],
        )  # fmt: skip
        said = _said(setup, [_line(found[key]) for key in opened])
        outbox.put(work, [outbox.Telling("finding.opened", f"unit/{setup.unit}", said)])
    if closed:
        lines = [{"rule": rule, "on": part, "setup": known[rule, part]} for rule, part in closed]
        outbox.put(work, [outbox.Telling("finding.closed", f"unit/{setup.unit}", _said(setup, lines))])


def _said(setup: SetupRow, lines: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "unit": setup.unit, "setup": setup.id, "crop": setup.crop, "header_kind": setup.header_kind,
        "count": len(lines), "findings": lines,
    }  # fmt: skip


def _line(finding: Mapping[str, Any]) -> dict[str, Any]:
    names = ("rule", "title", "on", "on_title", "verdict")
    risk = finding["risk"]
    return {
        **{name: finding[name] for name in names}, "level": risk["level"],
        "danger_to_people": risk["danger_to_people"],
    }  # fmt: skip
