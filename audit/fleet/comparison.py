"""Two audits of one fleet held side by side: what broke, what was put right, what stayed, what is no longer known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

from audit.fleet.systematic import Asked
from audit.fleet.units import Audited, Fault, FindingLine, Fleet
from audit.nouns.rule import Verdict


class Turn(Enum):
    """What became of one question."""

    NEWLY_BROKEN = "newly broken"
    PUT_RIGHT = "put right"
    STILL_BROKEN = "still broken"
    NEWLY_UNKNOWN = "newly unknown"
    FOUND_OUT = "found out, and in order"
    NOT_ASKED = "not asked any more"


@dataclass(frozen=True, slots=True)
class Changed:
    """One question of one unit in both audits.

    Attributes:
        before, after: findings; None where there was none: kept, or not asked.
        other_job: the unit is set for another crop or header now, so that the two answers are not to the same thing.
    """

    unit: str
    farm: str
    rule: str
    on: str
    turn: Turn
    before: FindingLine | None
    after: FindingLine | None
    other_job: bool

    @property
    def hours(self) -> float:
        """Hours at risk of the finding that tells: the one after, else the one before, h."""
        found = self.after or self.before
        return 0.0 if found is None else found.downtime


@dataclass(frozen=True, slots=True)
class Comparison:
    """The second audit against the first.

    Attributes:
        gone, new: units of one audit only.   released, stopped: units that were held and are cleared; the reverse.
        changes: worst first within each turn.
        hours_before, hours_after: at risk on the units of both audits.
        hours_removed, hours_added: of what was put right and of what broke, where the job is the same, h.
        hours_lost_sight: were broken and are unknown now: not removed, only no longer seen, h.
        same_rules: one rulebook judged both.
    """

    units: int
    gone: tuple[str, ...]
    new: tuple[str, ...]
    released: tuple[str, ...]
    stopped: tuple[str, ...]
    other_job: tuple[str, ...]
    changes: tuple[Changed, ...]
    hours_before: float
    hours_after: float
    hours_removed: float
    hours_added: float
    hours_lost_sight: float
    same_rules: bool


def compare(before: Fleet, after: Fleet, asked: Asked) -> Comparison:
    """Compare two audits of one fleet, unit by unit.

    Args:
        asked: rules on the check sheets, so that what is not asked any more is not taken for put right.
    """
    old = {unit.line.unit: unit for unit in before.units}
    new = {unit.line.unit: unit for unit in after.units}
    both = sorted(old.keys() & new.keys())
    changes = [change for unit in both for change in _changes(old[unit], new[unit], asked)]
    changes.sort(key=_order)
    same = [change for change in changes if not change.other_job]
    return Comparison(
        units=len(both),
        gone=tuple(sorted(old.keys() - new.keys())),
        new=tuple(sorted(new.keys() - old.keys())),
        released=tuple(unit for unit in both if old[unit].line.held and not new[unit].line.held),
        stopped=tuple(unit for unit in both if new[unit].line.held and not old[unit].line.held),
        other_job=tuple(unit for unit in both if _job(old[unit]) != _job(new[unit])),
        changes=tuple(changes),
        hours_before=sum(old[unit].hours for unit in both),
        hours_after=sum(new[unit].hours for unit in both),
        hours_removed=sum(change.hours for change in same if change.turn is Turn.PUT_RIGHT),
        hours_added=sum(change.hours for change in same if change.turn is Turn.NEWLY_BROKEN),
        hours_lost_sight=sum(
            change.before.downtime for change in same if change.turn is Turn.NEWLY_UNKNOWN and change.before is not None
        ),
        same_rules=before.digest == after.digest,
    )


def _job(unit: Audited) -> tuple[str, str]:
    return unit.line.crop, unit.line.header_kind


def _order(change: Changed) -> tuple[int, int, int, float, str, str, str]:
    found = change.after or change.before
    level, index = (int(found.level), found.index) if found else (9, 99)
    return list(Turn).index(change.turn), level, index, -change.hours, change.unit, change.rule, change.on


def _changes(old: Audited, new: Audited, asked: Asked) -> Iterator[Changed]:
    was, now = _by_question(old), _by_question(new)
    on_sheet = asked.get((new.line.card, new.line.crop), frozenset())
    for rule, on in sorted(was.keys() | now.keys()):
        before, after = was.get((rule, on)), now.get((rule, on))
        gone = after is None and rule not in on_sheet
        turn = Turn.NOT_ASKED if gone else _turn(before, after)
        if turn is not None:
            yield Changed(new.line.unit, new.line.farm, rule, on, turn, before, after, _job(old) != _job(new))


def _turn(before: FindingLine | None, after: FindingLine | None) -> Turn | None:
    was, now = (None if one is None else one.verdict for one in (before, after))
    if now is Verdict.BROKEN:
        return Turn.STILL_BROKEN if was is Verdict.BROKEN else Turn.NEWLY_BROKEN
    if now is Verdict.UNKNOWN:
        return None if was is Verdict.UNKNOWN else Turn.NEWLY_UNKNOWN
    return Turn.PUT_RIGHT if was is Verdict.BROKEN else Turn.FOUND_OUT


def _by_question(unit: Audited) -> Mapping[Fault, FindingLine]:
    return {(one.rule, one.on): one for one in unit.findings}
