"""A setup and the same with something changed, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from audit.facts import compute
from audit.nouns.fact import Fact
from audit.nouns.plan import Locks, Planned
from audit.nouns.setup import Setup
from audit.planning.planner import Planner


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Audit and plan of a setup as it is and as it would be, and the facts whose value differs (as is, as would be)."""

    before: Planned
    after: Planned
    facts: tuple[tuple[Fact, Fact], ...]


def what_if(planner: Planner, before: Setup, after: Setup, locks: Locks, out_of_time: Callable[[], bool]) -> WhatIf:
    """Compares two setups of one unit for one crop; nothing is stored.

    Raises: ValueError: the setups are of different cards or crops.   OutOfTime.
    """
    if (before.unit.card, before.crop) != (after.unit.card, after.crop):
        raise ValueError("a what-if keeps the machine card and the crop; plan a changeover for another crop")
    sheet = planner.worksheet(before.unit.card, before.crop).sheet
    as_is, would_be = compute(sheet, before).traces, compute(sheet, after).traces
    differing = tuple((as_is[name], would_be[name]) for name in as_is if as_is[name].value != would_be[name].value)
    return WhatIf(planner.plan(before, locks, out_of_time), planner.plan(after, locks, out_of_time), differing)
