"""Asking for the work that puts a unit right, so that whoever plans the work is told."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.service.in_force import InForce
from api.service.recording import Moved
from api.store import events, setups
from api.store.database import Work
from api.store.setups import SetupRow


class NoWork(Exception):
    """There is no work to ask for, and why."""


@dataclass(frozen=True, slots=True)
class Request:
    """What somebody wants done.

    Attributes:
        setup: the newest of the unit, which the work was planned for.   rulebook: digest of what it was planned by.
        plan: as ``plan_wire`` writes plans.
        parties: roles of the ADAPT Standard (data type definitions, ``roleCode``) with names.
        begins, ends: RFC 3339, None where nothing is said.
    """

    setup: SetupRow
    rulebook: str
    plan: Mapping[str, Any]
    parties: Sequence[Mapping[str, str]]
    begins: str | None
    ends: str | None
    notes: str


def plan_in(branches: Sequence[Mapping[str, Any]] | None) -> Mapping[str, Any]:
    """The plan among the branches of a unit's work. Raises NoWork."""
    if branches is None:
        raise NoWork("no plan was found in time, or the rulebook in force can't read the newest setup")
    plans = [branch["plan"] for branch in branches]
    if len(plans) != 1:
        raise NoWork("it is not known how the unit is built; put on record what is fitted first")
    if plans[0] is None:
        raise NoWork("its rules and locks conflict; look at the conflict first")
    if not plans[0]["steps"]:
        raise NoWork("its newest setup needs none")
    found: Mapping[str, Any] = plans[0]
    return found


def ask_for(work: Work, in_force: InForce, request: Request) -> str:
    """Puts the request on record and tells whoever wants to know; its id.

    Raises: Moved if a newer setup is on record, or another rulebook in force.
    """
    setup, plan = request.setup, request.plan
    newest = setups.newest(work, setup.unit)
    if newest is None or newest.id != setup.id or in_force.digest(work) != request.rulebook:
        raise Moved
    id = f"work-{secrets.token_hex(8)}"
    scope = {name: value for name, value in (("start", request.begins), ("end", request.ends)) if value}
    content = {
        "unit": setup.unit, "setup": setup.id, "crop": setup.crop, "header_kind": plan["header_kind"],
        "minutes": plan["minutes"], "people": plan["people"], "count": len(plan["steps"]),
        "tools": list(plan["tools"]), "parts": list(plan["parts_needed"]),
        "steps": [_step(step) for step in plan["steps"]],
        "partyRoles": [dict(party) for party in request.parties],
        "timeScopes": [{"dateContextCode": "PROPOSED", **scope}] if scope else [],
        "notes": request.notes,
        "safety": [*plan["safety"]["stopped"], *plan["safety"]["restart"], plan["safety"]["last"]],
    }  # fmt: skip
    events.append(work, "work.requested", f"work-request/{id}", content, after=setup.digest)
    return id


def _step(step: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "number": step["number"], "title": step["title"], "station": step["station"]["title"], "on": step["on_title"],
        "when": step["when"], "minutes": step["minutes"], "people": step["people"],
    }  # fmt: skip
