"""The work that would clear a held unit, kept as long as setup and rulebook stay the same."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock
from typing import Any

from api.plan_wire import out_of_time_after, planned_json
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
        self._kept: OrderedDict[Key, Branches | None] = OrderedDict()
        self._lock = Lock()

    def kept(self, rulebook: str, setup: SetupRow) -> Branches | None:
        """What was worked out before, None for nothing."""
        with self._lock:
            return self._kept.get((setup.digest, rulebook))

    def work_out(self, planner: Planner, setup: SetupRow) -> Branches | None:
        """The work for a setup; None where no plan was found in time, or the rulebook can't read the setup."""
        key = setup.digest, planner.rulebook.digest
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        try:
            planned = planner.plan(read_setup(setup.text, "", planner.rulebook), out_of_time=out_of_time_after(SECONDS))
            found: Branches | None = planned_json(planned, planner.rulebook)["branches"]
        except (OutOfTime, BadInput):
            found = None
        with self._lock:
            self._kept[key] = found
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return found
