"""What a walk may be for, where it is not round the whole machine: the things that each such walk asks for.

What a walk does not ask for is not known in the setup that it records, and the gate judges that setup as it does any.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from api.pages.standing import Standing
from api.plan_wire import out_of_time_after
from audit.nouns.history import DueState
from audit.nouns.plan import Locks, Plan
from audit.nouns.rule import Verdict
from audit.planning.changeover import changeover
from audit.planning.planner import taken_headers
from audit.planning.solver import OutOfTime
from audit.run import audit_on_sheet

Plain = dict[str, Any]

PATIENCE = 8.0
"""Seconds that the work for all headers of a crop is looked for; a walk round the whole machine needs none."""
DUE = frozenset({DueState.DUE.value, DueState.OVERDUE.value})


def purposes(found: Standing, crop: str, rules: Iterable[Plain], due: Collection[str] | None) -> Plain:
    """Names of things by what a walk is for.

    Shape: ``open``: what is broken, not known or due, None where the newest setup is of another crop, or unread;
    ``changeover``: by kind of header, what changing over to this crop and header touches, with what is due; a header
    for which no work was found is left out.

    Args:
        rules: as ``checklist`` has them for this crop.
        due: names that are to be taken again; None where nobody can tell, and then nothing less than all is offered.
    """
    if found.setup is None or due is None:
        return {"open": None, "changeover": {}}
    same = found.setup.crop == crop
    behind = {(one["rule"], one["on"]): one["behind"] for one in rules}
    return {"open": _open(found, behind, due) if same else None, "changeover": _changed(found, crop, due)}


def due_now(history: Plain) -> set[str]:
    """What a unit's history says is to be taken again now; what will do instead of it too."""
    found = [one for one in history["due"] if one["state"] in DUE]
    return {name for one in found for name in (*one["take"], *one["instead"])}


def _open(found: Standing, behind: Mapping[tuple[str, str], list[str]], due: Collection[str]) -> list[str]:
    """What the newest setup's findings stand on: all of it for a broken one, what is missing for an unknown one."""
    names = set(due)
    for one in audit_on_sheet(found.sheet, found.read, found.auditor.hold_at).findings:
        missing = [each.name for each in one.missing] if one.verdict is Verdict.UNKNOWN else []
        names.update(missing or behind.get((one.rule, one.on), ()))
    return sorted(names)


def _changed(found: Standing, crop: str, due: Collection[str]) -> dict[str, list[str]]:
    setup, planner, out_of_time = found.read, found.planner, out_of_time_after(PATIENCE)
    names: dict[str, list[str]] = {}
    for kind in taken_headers(planner.worksheet(setup.unit.card, crop)):
        if (setup.crop, setup.header_kind) == (crop, kind):
            continue
        try:
            planned = changeover(planner, setup, crop, kind, Locks(), out_of_time)
        except OutOfTime:
            continue
        plans = [one.outcome for one in planned.branches if isinstance(one.outcome, Plan)]
        if len(plans) == len(planned.branches):
            names[kind] = sorted({*due, *(name for plan in plans for name in _touched(plan))})
    return names


def _touched(plan: Plan) -> Iterable[str]:
    """What work sets, brings right, takes and writes down."""
    for step in plan.steps:
        yield from (change.quantity for change in step.changes)
        yield from step.records
