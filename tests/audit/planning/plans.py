"""Asking for plans and reading them in tests: setups put wrong, and the one outcome where builds are decided."""

from __future__ import annotations

from dataclasses import replace

from audit.nouns.plan import Conflict, Plan, Planned
from audit.nouns.quantity import Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.worksheet import WorkSheet


def never() -> bool:
    """Time never runs out."""
    return False


LOOKS = 1000
"""How often the solver may ask for the time before a setup counts as not solved: a count does not depend on the clock."""


class Budget:
    """Time is up after so many looks."""

    def __init__(self, looks: int = LOOKS) -> None:
        self.left = looks

    def __call__(self) -> bool:
        self.left -= 1
        return self.left < 0


def plan_in(planned: Planned) -> Plan:
    """The plan of a setup whose builds are decided."""
    (branch,) = planned.branches
    assert isinstance(branch.outcome, Plan), branch.outcome
    return branch.outcome


def conflict_in(planned: Planned) -> Conflict:
    """The conflict of a setup whose builds are decided."""
    (branch,) = planned.branches
    assert isinstance(branch.outcome, Conflict), branch.outcome
    return branch.outcome


def moved(worksheet: WorkSheet, plan: Plan) -> dict[str, tuple[Value | Sided, Value | Sided]]:
    """Settings that a plan moves, with their values before and after; what is only read off is not among them."""
    return {
        change.quantity: (change.before, change.after)
        for step in plan.steps
        for change in step.changes
        if worksheet.quantity(change.quantity).role is Role.SETTING
        and not change.taken
        and change.before != change.after
    }


def places(plan: Plan) -> dict[str, int]:
    """Place of each step in the order of work, as 'procedure@on'; '@quantity' for one to take."""
    return {
        f"{step.procedure}@{step.on}" if step.on else step.procedure: place for place, step in enumerate(plan.steps)
    }


def spoiled(setup: Setup, **values: Value | Sided) -> Setup:
    """The setup with some values changed; two underscores stand for the point in a name."""
    return replace(setup, values={**setup.values, **{name.replace("__", "."): value for name, value in values.items()}})
