"""The history of one unit, told from its setups on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.service.in_force import InForce
from api.store import organisations, setups
from api.store.database import Work
from api.store.setups import SetupRow
from api.store.units import UnitRow
from audit.auditor import Auditor
from audit.history.unit import history_of
from audit.intake.setups import read_setup
from audit.nouns.history import History
from audit.nouns.problem import BadInput
from audit.nouns.setup import Setup


@dataclass(frozen=True, slots=True)
class Setups:
    """The setups of a unit as they are on record, and what reads them. ``now``: s since 1970."""

    unit: UnitRow
    rows: Sequence[SetupRow]
    auditor: Auditor
    now: float


@dataclass(frozen=True, slots=True)
class Told:
    """A history.

    Attributes:
        rows: the setups that it was told from, in its order.
        unread: ids of setups that the rulebook in force can no longer read.
    """

    history: History
    rows: tuple[SetupRow, ...]
    unread: tuple[str, ...]


def setups_of(work: Work, in_force: InForce, unit: UnitRow) -> Setups:
    """What a history is told from, read in a transaction. Raises Unreadable."""
    auditor = in_force.auditor(work, organisations.read(work).terms.hold_at)
    return Setups(unit, list(setups.in_order(work, unit.id)), auditor, work.now)


def tell(found: Setups, engine_hours: float | None = None) -> Told | None:
    """The history; None where no setup can be read. It takes time, and needs no transaction.

    Args:
        engine_hours: the unit's hours now, where somebody knows more than is on record.

    Raises: BadInput for setups that contradict each other.
    """
    rows: list[SetupRow] = []
    read: list[Setup] = []
    unread: list[str] = []
    rulebook = found.auditor.rulebook
    for one in found.rows:
        try:
            read.append(read_setup(one.text, one.id, rulebook))
            rows.append(one)
        except BadInput:
            unread.append(one.id)
    if not read:
        return None
    known = [hours for hours in (engine_hours, found.unit.engine_hours) if hours is not None]
    history = history_of(rulebook, found.auditor.sheet, read, found.now, max(known) if known else None)
    return Told(history, tuple(rows), tuple(unread))
