"""A unit as pages show it: what is on record of it, and what judges it."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Request

from api.errors import Refusal
from api.identity.caller import Caller
from api.routes.desk import desk_of, unit_seen
from api.service.recording import unit_named
from api.store import organisations, setups
from api.store.setups import SetupRow
from api.store.units import UnitRow
from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from audit.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Standing:
    """A unit with its newest setup.

    Attributes:
        newest, setup: the newest setup as kept and as read; None where there is none.
        unread: why the rulebook in force can't read the newest setup, '' if it can.
    """

    unit: UnitRow
    newest: SetupRow | None
    setup: Setup | None
    unread: str
    auditor: Auditor
    planner: Planner

    @property
    def rulebook(self) -> Rulebook:
        return self.auditor.rulebook

    @property
    def sheet(self) -> Sheet:
        """The check sheet of the newest setup."""
        found = self.read
        return self.auditor.sheet(found.unit.card, found.crop)

    @property
    def read(self) -> Setup:
        """The newest setup. Raises Refusal (404, 409) where there is none that can be read."""
        if self.newest is None:
            raise Refusal(404, "No setup yet", f"Nobody has taken a setup of {self.unit.id}: walk round it first.")
        if self.setup is None:
            detail = "The rulebook in force can't read the newest setup; record it anew."
            raise Refusal(409, "Not judged", f"{detail} {self.unread}")
        return self.setup


def standing(request: Request, caller: Caller, unit: str) -> Standing:
    """Reads it. Raises NoSuchUnit, also for a unit that the caller does not see."""
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = unit_named(work, unit_seen(caller, unit))
        newest = setups.newest(work, unit)
        level = organisations.read(work).terms.hold_at
        auditor, planner = desk.in_force.auditor(work, level), desk.in_force.planner(work, level)
    setup, unread = None, ""
    if newest is not None:
        try:
            setup = read_setup(newest.text, "", auditor.rulebook)
        except BadInput as error:
            unread = str(error.problems[0])
    return Standing(row, newest, setup, unread, auditor, planner)
