"""What a rulebook would say of the fleet: the newest setup of every unit, judged by it and by the one in force.

A finding counts as holding where the gate would hold a start for it: not on trial, at the organisation's level, not let
pass by the organisation, and not accepted by a person.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from api.service.in_force import InForce
from api.store import acceptances, organisations, setups
from api.store.database import Work
from api.store.setups import SetupRow
from audit.auditor import Auditor
from audit.clearing import effect_of, why_not
from audit.judged import Judged
from audit.nouns.clearance import Acceptance, Effect, Job
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level
from audit.nouns.rule import Rule, Standing

MOST_LISTED = 500
"""Most units that one replay names; all of them are counted."""
MOST_SAID = 5
"""Most problems that are told of one setup."""

Where = tuple[str, str]
"""A rule, and the component it is asked of."""


class State(Enum):
    """What a rulebook says of a setup; one that it can't read is held, too."""

    CLEARED = "cleared"
    HELD = "held"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Change:
    """A unit that is held for other findings than now.

    Attributes:
        held_by: findings that hold it by the candidate only.   freed_of: those that hold it now only.
    """

    unit: str
    setup: str
    before: State
    after: State
    held_by: tuple[Where, ...]
    freed_of: tuple[Where, ...]


@dataclass(frozen=True, slots=True)
class NotRead:
    """A setup that the candidate can't read, and why; ``before`` is what the rulebook in force says of it."""

    unit: str
    setup: str
    before: State
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """How many setups break a rule, or leave it unknown, and how many starts of theirs it holds."""

    broken: int
    unknown: int
    holds: int


@dataclass(frozen=True, slots=True)
class Replay:
    """The fleet by two rulebooks.

    Attributes:
        before, after: digests.
        setups: how many were judged.
        states: how many setups by their state now and by the candidate.
        changes, not_read: the first of them in order of units, and how many more there are.
        rules: by id, tallies now and by the candidate, where they differ; None where that one has no such rule.
    """

    before: str
    after: str
    setups: int
    states: Mapping[tuple[State, State], int]
    changes: tuple[Change, ...]
    more_changes: int
    not_read: tuple[NotRead, ...]
    more_not_read: int
    rules: Mapping[str, tuple[Tally | None, Tally | None]]


@dataclass(frozen=True, slots=True)
class Fleet:
    """The fleet by the rulebook in force: setups judged, those that can't be read, and each rule's tally."""

    setups: int
    not_read: int
    rules: Mapping[str, Tally]


def replay(work: Work, in_force: InForce, digest: str, most: int = MOST_LISTED) -> Replay:
    """Judges the fleet by the rulebook in force and by another version. Raises NoSuchRulebook, Unreadable."""
    organisation = organisations.read(work)
    level, effects = organisation.terms.hold_at, organisation.effects
    other = in_force.version(work, digest).auditor(level)
    now, then = _Side(in_force.auditor(work, level), effects), _Side(other, effects)
    states: Counter[tuple[State, State]] = Counter()
    changes: list[Change] = []
    not_read: list[NotRead] = []
    changed = unread = judged = 0
    for setup in setups.of_all_units(work):
        given = acceptances.of_unit(work, setup.unit)
        before, held_before, _ = now.judge(setup, given, work.now)
        after, held_after, problems = then.judge(setup, given, work.now)
        states[before, after] += 1
        judged += 1
        if after is State.UNREADABLE:
            unread += 1
            if len(not_read) < most:
                not_read.append(NotRead(setup.unit, setup.id, before, problems))
        elif (before, held_before) != (after, held_after):
            changed += 1
            if len(changes) < most:
                gained, lost = tuple(sorted(held_after - held_before)), tuple(sorted(held_before - held_after))
                changes.append(Change(setup.unit, setup.id, before, after, gained, lost))
    tallies_now, tallies_then = now.tallies(), then.tallies()
    rules = {
        rule: pair
        for rule in sorted(tallies_now.keys() | tallies_then.keys())
        if (pair := (tallies_now.get(rule), tallies_then.get(rule)))[0] != pair[1]
    }
    return Replay(
        before=now.auditor.rulebook.digest,
        after=other.rulebook.digest,
        setups=judged,
        states=dict(states),
        changes=tuple(changes),
        more_changes=changed - len(changes),
        not_read=tuple(not_read),
        more_not_read=unread - len(not_read),
        rules=rules,
    )


def fleet(work: Work, in_force: InForce, sees: Callable[[str], bool] = lambda _: True) -> Fleet:
    """Judges the fleet by the rulebook in force, rules on trial included. Raises Unreadable.

    Args:
        sees: whether a unit is there for whoever asks.
    """
    organisation = organisations.read(work)
    side = _Side(in_force.auditor(work, organisation.terms.hold_at), organisation.effects)
    states = Counter(
        side.judge(setup, acceptances.of_unit(work, setup.unit), work.now)[0]
        for setup in setups.of_all_units(work)
        if sees(setup.unit)
    )
    return Fleet(states.total(), states[State.UNREADABLE], side.tallies())


def holding(
    judged: Judged,
    rules: Mapping[str, Rule],
    effects: Mapping[str, Effect],
    hold_at: Level,
    given: Sequence[Acceptance],
    now: float,
) -> frozenset[Where]:
    """The findings that would hold a start of the job that the setup is for."""
    held = {(rule, on) for rank, _, rule, on in judged.hits if rank[0] <= hold_at and _holds(rule, rules, effects)}
    if held and given:  # what was found is worked out only where it is asked for
        job = Job(judged.crop, judged.header_kind)
        held -= {
            (finding.rule, finding.on)
            for finding in judged.findings()
            if any(why_not(one, finding, job, rules, now) is None for one in given)
        }
    return frozenset(held)


def _holds(rule: str, rules: Mapping[str, Rule], effects: Mapping[str, Effect]) -> bool:
    return rules[rule].standing is not Standing.TRIAL and effect_of(rule, rules, effects) is Effect.HOLDS


class _Side:
    """One of the rulebooks, and what was counted by it so far."""

    def __init__(self, auditor: Auditor, effects: Mapping[str, Effect]) -> None:
        self.auditor, self.effects = auditor, effects
        self.broken: Counter[str] = Counter()
        self.unknown: Counter[str] = Counter()
        self.holds: Counter[str] = Counter()

    def judge(
        self, setup: SetupRow, given: Sequence[Acceptance], now: float
    ) -> tuple[State, frozenset[Where], tuple[str, ...]]:
        """What is said of a setup, the findings that hold it, and the problems where it can't be read."""
        try:
            judged = self.auditor.judge(setup.text, setup.id)
        except BadInput as error:
            return State.UNREADABLE, frozenset(), tuple(str(problem) for problem in error.problems[:MOST_SAID])
        rules = self.auditor.rulebook.rules
        held = holding(judged, rules, self.effects, self.auditor.hold_at, given, now)
        self.broken.update({rule for rank, _, rule, _ in judged.hits if not rank[3]})
        self.unknown.update({rule for rank, _, rule, _ in judged.hits if rank[3]})
        self.holds.update({rule for rule, _ in held})
        return (State.HELD if held else State.CLEARED), held, ()

    def tallies(self) -> dict[str, Tally]:
        """By every rule of the rulebook, setups that break it, leave it unknown, or are held by it."""
        return {
            rule: Tally(self.broken[rule], self.unknown[rule], self.holds[rule]) for rule in self.auditor.rulebook.rules
        }
