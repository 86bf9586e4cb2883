"""The work that would clear a held unit, kept as long as setup and rulebook stay the same."""

from __future__ import annotations

from typing import Any

from api.plan_wire import out_of_time_after, planned_json
from api.service.keeping import Kept
from api.store.setups import SetupRow
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime

SECONDS = 3.0
"""Longest that the work for one setup is searched for."""
_MOST_KEPT = 512

Branches = list[dict[str, Any]]
Key = tuple[str, str]


class Remedies:
    """Plans for setups on record, as ``plan_wire`` writes their branches."""

    def __init__(self) -> None:
        self._kept: Kept[Key, Branches | None] = Kept(_MOST_KEPT)

    def kept(self, rulebook: str, setup: SetupRow) -> Branches | None:
        """What was worked out before, None for nothing."""
        return self._kept.find((setup.digest, rulebook))

    def work_out(self, planner: Planner, setup: SetupRow) -> Branches | None:
        """The work for a setup; None where no plan was found in time, or the rulebook can't read the setup."""
        return self._kept.get((setup.digest, planner.rulebook.digest), lambda: _branches(planner, setup))


def _branches(planner: Planner, setup: SetupRow) -> Branches | None:
    try:
        planned = planner.plan(read_setup(setup.text, "", planner.rulebook), out_of_time=out_of_time_after(SECONDS))
    except (OutOfTime, BadInput):
        return None
    found: Branches = planned_json(planned, planner.rulebook)["branches"]
    return found
