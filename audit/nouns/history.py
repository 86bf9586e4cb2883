"""The history of one unit: trends of what wears, and what is due to be looked at again."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from audit.nouns.source import Basis


class Shown(Enum):
    """What shows that something was done to the machine between two setups."""

    EVENT = "its event is on record"
    COUNTER = "the hours counted since then"
    SETTING = "a setting stands elsewhere"
    AS_LEFT = "the value as left differs from the value as found"
    JUMP = "the value jumps back, with nothing on record"


@dataclass(frozen=True, slots=True)
class Doing:
    """Something that was done to the machine, as far as its setups tell.

    Attributes:
        procedure: key; '' where several procedures would show the same.   on: component, '' for none.
        shown: what shows it.   by: the event, setting or reading that does.
        at: seconds since 1970, None where no event gives the time.
        after: place of the last setup certainly taken before it, -1 for none.
        before: place of the first setup certainly taken after it; the number of setups for none.
        hours_low, hours_high: engine hours between which it was done, None for not known.
    """

    procedure: str
    on: str
    shown: Shown
    by: str
    at: float | None
    after: int
    before: int
    hours_low: float | None
    hours_high: float | None

    @property
    def certain(self) -> bool:
        """Whether it is on record; a jump back only says that it may have been done."""
        return self.shown is not Shown.JUMP


class LeftOut(Enum):
    """Why a point is not fitted."""

    NO_HOURS = "its engine hours are not known"
    REPEATED = "the value as found, not taken again as left"
    BEFORE_OR_AFTER = "it is not certain whether it was taken before or after the work"
    OTHER_CROP = "taken in another crop"


@dataclass(frozen=True, slots=True)
class Point:
    """One value of a quantity in one setup.

    Attributes:
        setup: place in the order of the unit's setups.
        at: seconds since 1970 when it was taken, None for not known.   state: as found, as left or ''.
        engine_hours: None for not known.   value: canonical.
        left_out: why it is not fitted, None where it is.
    """

    setup: int
    at: float | None
    state: str
    engine_hours: float | None
    value: float
    left_out: LeftOut | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """Points that can be compared: nothing was replaced or adjusted between them. ``began``: with what, if known."""

    points: tuple[Point, ...]
    began: Doing | None


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit that a rule holds a quantity to. ``most``: the value must not rise past it, else not fall past it."""

    rule: str
    on: str
    value: float
    text: str
    most: bool


@dataclass(frozen=True, slots=True)
class Rate:
    """Fitted change in the canonical unit per engine hour, with its 95 % interval; None with two points."""

    points: int
    per_hour: float
    low: float | None
    high: float | None

    @property
    def per_100_h(self) -> float:
        """The change in a hundred engine hours."""
        return 100.0 * self.per_hour


@dataclass(frozen=True, slots=True)
class Projection:
    """When a limit is reached if the part wears on as it did.

    Attributes:
        at_hours: engine hours at the limit, with the 95 % interval. Its ends are None with two points; the high end is
            None too where it lies beyond the life of any machine.
        hours_left: from the last engine hours known, never below 0; with the interval.
        date: seconds since 1970 by the unit's hours a day, with the interval; None where those are not known, or
            where the date lies beyond the calendar's year 9999.
    """

    bound: Bound
    at_hours: float
    at_hours_low: float | None
    at_hours_high: float | None
    hours_left: float
    hours_left_low: float | None
    hours_left_high: float | None
    date: float | None
    date_low: float | None
    date_high: float | None


class NoProjection(Enum):
    """Why nothing is projected."""

    NO_POINT = "no point since it was last replaced or adjusted"
    NO_HOURS = "fewer than two points with known engine hours"
    ONE_POINT = "one point is no trend yet"
    SAME_HOURS = "all points were taken at the same engine hours"
    NO_TREND = "no trend yet: the rate may as well be none"
    AWAY = "it moves away from every limit"
    PAST = "it is past its limit already"
    FAR = "at this rate its limit lies beyond the life of any machine"
    AT_WILL = "its value is chosen at work and says nothing of wear"


@dataclass(frozen=True, slots=True)
class Trend:
    """How one quantity of a unit went over its engine hours.

    Attributes:
        side: 'left', 'right' or ''.   unit: display unit.
        bounds: the limits that rules hold it to, in the newest crop.
        runs: in order; the last one is fitted.   left_out: points that belong to no run.
        rate: None where none can be fitted.
        projections: nearest limit first; empty where ``why_not`` says why.
        hours_per_day: engine hours a day over the fitted setups, None for not known.
    """

    quantity: str
    side: str
    meaning: str
    unit: str
    bounds: tuple[Bound, ...]
    runs: tuple[Run, ...]
    left_out: tuple[Point, ...]
    rate: Rate | None
    projections: tuple[Projection, ...]
    why_not: NoProjection | None
    hours_per_day: float | None


class DueState(Enum):
    """How a re-check stands."""

    OVERDUE = "overdue"
    DUE = "due"
    WAITING = "waiting"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class DueItem:
    """A re-check that something done to the machine calls for.

    Attributes:
        procedure: what was done, and ``on`` which component.   because, basis: why to look again.
        done: when and how that is known.
        take: quantities to take, all of them.   instead: any one of these will do as well.
        due_at, overdue_at: engine hours from which it is due, and past which it is overdue, reckoned from the
            earliest it can have been done; None where that is not known.
        due_by: seconds since 1970 past which it is overdue whatever the hours, None where no rule says so.
        why: what the state rests on.   closed_by: place of the setup that closed it.
    """

    procedure: str
    on: str
    done: Doing
    take: tuple[str, ...]
    instead: tuple[str, ...]
    because: str
    basis: Basis
    due_at: float | None
    overdue_at: float | None
    due_by: float | None
    state: DueState
    why: str
    closed_by: int | None = None


@dataclass(frozen=True, slots=True)
class History:
    """What the setups of one unit say together.

    Attributes:
        engine_hours: the last that are known.   hours_per_day: fitted over all its setups.
        doings: what was done, in order.   due: overdue first.
    """

    unit: str
    card: str
    setups: int
    engine_hours: float | None
    hours_per_day: float | None
    doings: tuple[Doing, ...]
    trends: tuple[Trend, ...]
    due: tuple[DueItem, ...]
