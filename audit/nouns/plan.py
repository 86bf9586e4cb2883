"""Plans: the work that puts a setup right, in order; and conflicts: why there is no such work."""

from __future__ import annotations

from dataclasses import dataclass, field

from audit.nouns.finding import Report
from audit.nouns.quantity import Sided, Value, When

Asked = tuple[str, str]
"""A question: rule id, and the component it is asked of ('' where the rule is asked once)."""


@dataclass(frozen=True, slots=True)
class Locks:
    """What may not be done.

    Attributes:
        leave: settings, readings, components or procedures that stay as they are: seized, sealed, not ours.
        lacking: parts and tools that are not on hand, as procedures and cards name them.
        people: most people there are; None for as many as it takes.
        minutes: most minutes there are; None for as many as it takes.
    """

    leave: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    people: int | None = None
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Lock:
    """One of the locks: ``kind`` is the field of ``Locks`` it stands in."""

    kind: str
    what: str


@dataclass(frozen=True, slots=True)
class Change:
    """One quantity that a step changes, brings right or takes.

    Attributes:
        before: as found, canonical; None for not known.
        after: set to this; for a reading a value that would be right, used in the replay.
        right: in words what is right, from every question that looks at it; empty if nothing limits it.
        taken: it is only looked at or measured; ``after`` is what is expected.
    """

    quantity: str
    before: Value | Sided
    after: Value | Sided
    right: tuple[str, ...]
    taken: bool = False


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step of a plan: a procedure on one part of the machine, or a reading to take.

    Attributes:
        procedure: key; '' for a reading to take.
        on: component that a procedure for a family is done on, or the quantity to take; '' otherwise.
        station: where on the walk round.   when: state of the machine.
        changes: settings it moves and readings it brings right or takes, with their values before and after.
        records: events whose time must be written down when it is done.
        clears: questions that were broken or unknown as found and that this step answers.
        because: procedures of this plan that call for it before or after them.
        otherwise: for a reading to take: procedures that bring it right if it is not.
    """

    procedure: str
    on: str
    station: str
    when: When
    minutes: float
    people: int
    tools: tuple[str, ...]
    parts: tuple[str, ...]
    changes: tuple[Change, ...]
    records: tuple[str, ...] = ()
    clears: tuple[Asked, ...] = ()
    because: tuple[str, ...] = ()
    otherwise: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """The cheapest work after which every asked rule holds.

    Attributes:
        steps: in the order in which they are done; empty where nothing needs doing.
        minutes: of all steps.   people: most that one step needs.   parts: how many.
        moves: settings moved and readings brought right.
        change: how far settings move, each as a share of its range; a word counts 1.
        proven: nothing cheaper exists. False where the time given ran out first.
        values: every quantity after the work, as the replay judged it.
    """

    steps: tuple[WorkStep, ...]
    minutes: float
    people: int
    parts: int
    tools: tuple[str, ...]
    parts_needed: tuple[str, ...]
    moves: int
    change: float
    proven: bool
    values: dict[str, Value | Sided] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Conflict:
    """Why no work makes every asked rule hold.

    Attributes:
        rules: questions that cannot hold together with the locks and as-found values below; none can be left out.
        locks: locks among them.
        fixed: quantities that nothing on this machine moves or brings right, with their values.
        releases: smallest sets of locks; giving up any one of the sets opens a plan.
    """

    rules: tuple[Asked, ...]
    locks: tuple[Lock, ...]
    fixed: tuple[tuple[str, Value | Sided], ...]
    releases: tuple[tuple[Lock, ...], ...]


@dataclass(frozen=True, slots=True)
class Branch:
    """The answer for one way in which undecided builds may turn out; ``builds`` is empty where all are decided."""

    builds: tuple[tuple[str, str], ...]
    outcome: Plan | Conflict


@dataclass(frozen=True, slots=True)
class Planned:
    """A setup's audit as found and the work to put it right.

    Attributes:
        before: the audit as found, for the crop and header that are planned for.
        branches: one, unless a build that matters can't be decided.
    """

    before: Report
    locks: Locks
    branches: tuple[Branch, ...]
