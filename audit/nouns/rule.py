"""Rules: what must hold, when it is asked, what follows if it does not, on what basis; and the rules' own cases."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from audit.nouns.machine import Target
from audit.nouns.problem import Place
from audit.nouns.quantity import Sided, Value, When
from audit.nouns.risk import Harm
from audit.nouns.source import Basis


class Verdict(Enum):
    """A rule's answer on one setup."""

    KEPT = "kept"
    BROKEN = "broken"
    UNKNOWN = "unknown"
    NOT_ASKED = "not asked"


class Standing(Enum):
    """A trial rule is shown and counted but never holds a start."""

    TRIAL = "trial"
    IN_FORCE = "in force"


@dataclass(frozen=True, slots=True)
class Literal:
    """A limit written in the rule: canonical value, and the text the author wrote for it."""

    value: Value
    text: str


@dataclass(frozen=True, slots=True)
class Pointer:
    """A limit that is another quantity (`times` it), or the crop's or machine's target for one.

    ``target.<name>`` points at the machine card's target for this crop, else its target for every crop, else the
    crop card's; ``.low``, ``.high`` at an end of a target window.
    """

    name: str
    times: float = 1.0


Limit = Literal | Pointer


@dataclass(frozen=True, slots=True)
class Is:
    limit: Limit


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of the listed values, or of the words that a target lists."""

    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class AtLeast:
    limit: Limit


@dataclass(frozen=True, slots=True)
class AtMost:
    limit: Limit


@dataclass(frozen=True, slots=True)
class Between:
    """From low to high, both included. A single pointer at a target window stands for both ends."""

    low: Limit
    high: Limit


@dataclass(frozen=True, slots=True)
class Near:
    """Within a tolerance of a value: ``within`` in the quantity's unit, or a share of the value when ``share``."""

    limit: Limit
    within: float
    share: bool
    within_text: str


@dataclass(frozen=True, slots=True)
class Same:
    """Left equals right (``other`` empty) or equals another quantity, within a tolerance in the quantity's unit."""

    other: str
    within: float
    within_text: str


@dataclass(frozen=True, slots=True)
class RecordedAfter:
    """An event recorded no earlier than another one."""

    event: str


Relation = Is | OneOf | AtLeast | AtMost | Between | Near | Same | RecordedAfter


@dataclass(frozen=True, slots=True)
class Compare:
    """A quantity in a relation. For a sided quantity it must hold on both sides."""

    quantity: str
    relation: Relation


@dataclass(frozen=True, slots=True)
class All:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Any:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    part: Condition


@dataclass(frozen=True, slots=True)
class IfThen:
    given: Condition
    then: Condition


@dataclass(frozen=True, slots=True)
class Evidence:
    """Several ways to show one thing: broken if any that is given fails, unknown only if none is given."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """A value is there at all. Not written in rules: an order of events is asked only if the first one is recorded."""

    quantity: str


Condition = Compare | All | Any | Not | IfThen | Evidence | Known


@dataclass(frozen=True, slots=True)
class Case:
    """A rule's own example: values by name (targets too) and the verdict they must give."""

    name: str
    at: tuple[tuple[str, Value | Sided | Target], ...]
    gives: Verdict
    past: float | None
    place: Place


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the rulebook.

    Attributes:
        id: file name without ending; unique over all packs, never reused.
        pack: folder, the part of the machine.
        each: family of components that it is asked of, '' for once; names then start with ``each.``.
        given: when it is asked; None for always.
        cure: keys of the procedures that put it right.
        breaks_with: rules that are always broken with it, where it can't be broken alone.
        origin: '' for the shipped rulebook, else the site folder; ``overrides`` when it replaces a shipped rule.
    """

    id: str
    pack: str
    title: str
    why: str
    harm: Harm
    basis: Basis
    hold: Condition
    cure: tuple[str, ...]
    cases: tuple[Case, ...]
    place: Place
    each: str = ""
    given: Condition | None = None
    standing: Standing = Standing.IN_FORCE
    was: tuple[str, ...] = ()
    breaks_with: tuple[str, ...] = ()
    origin: str = ""
    overrides: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a procedure. ``trap``: what goes wrong if it is done otherwise."""

    do: str
    trap: str = ""


@dataclass(frozen=True, slots=True)
class Also:
    """What a procedure for a whole family brings and calls for beside on one component of it."""

    on: str
    brings: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recheck:
    """What to take again once the machine has run after a procedure, and in which of its hours.

    Attributes:
        take: quantities to take, all of them; those that a machine does not have are left out.
        instead: any one of these will do as well: a reading, a statement that is true, or an event recorded later.
        after, by: engine hours since the work from which it is due, and past which it is overdue.
        days: days since the work past which it is overdue whatever the hours, None for no such date.
    """

    take: tuple[str, ...]
    instead: tuple[str, ...]
    after: float
    by: float
    days: float | None
    because: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Procedure:
    """How something is put right.

    Attributes:
        moves: settings it moves.   brings: readings it brings to their target, and events that doing it records.
        also: what it brings and calls for beside on one component only; its ``after`` comes before the common one.
        takes: readings that must be taken again once it is done.   measures: readings that doing it takes.
        when: whether it is done with the engine stopped, with it running, or at work in the crop.
        safe: safety states to take first, keys of the caution list.
        before: procedures to be done first.   after: procedures to be done afterwards, a re-check among them.
        rechecks: what to take again after so many hours of work.
        raises, lowers: readings among those it brings that fall, or rise, by themselves until it is done again.
        since: the reading that counts the hours since it was last done, '' for none.
    """

    key: str
    title: str
    steps: tuple[Step, ...]
    minutes: float
    people: int
    tools: tuple[str, ...]
    parts: tuple[str, ...]
    moves: tuple[str, ...]
    brings: tuple[str, ...]
    safe: tuple[str, ...]
    cautions: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]
    also: tuple[Also, ...]
    takes: tuple[str, ...]
    measures: tuple[str, ...]
    when: When
    basis: Basis
    place: Place
    origin: str = ""
    rechecks: tuple[Recheck, ...] = ()
    since: str = ""
    raises: tuple[str, ...] = ()
    lowers: tuple[str, ...] = ()
