"""Quantities: every thing that can be set, read, recorded, computed or stated about a machine and its job."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Role(Enum):
    """Where a quantity's value comes from."""

    SETTING = "setting"
    READING = "reading"
    EVENT = "event"
    JOB = "job"
    UNIT = "unit"
    BUILD = "build"
    PARAMETER = "parameter"
    FACT = "fact"


class Form(Enum):
    """What a value of the quantity looks like."""

    NUMBER = "number"
    WORD = "word"
    YES_NO = "yes_no"
    TIME = "time"


class When(Enum):
    """The state of the machine in which something is done or taken; in the order in which a day's work runs."""

    STOPPED = "stopped"
    RUNNING = "running"
    AT_WORK = "at work"


Value = float | str | bool | None
"""One value in canonical form: a number in the dimension's canonical unit, a word, yes/no, seconds since 1970
for a time, or None for not known."""

NAN = float("nan")
"""Number that is not known, where many are compared. Tables find it by identity, so it is this object and no other."""

Sided = tuple[Value, Value]
"""Left and right values of a sided quantity."""

LEFT, RIGHT = 0, 1
SIDES = ("left", "right")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One named quantity.

    Attributes:
        name: full name, ``part.attribute``.
        unit: display unit and the unit of a bare number; '' unless form is NUMBER.
        words: allowed words with their meanings, in order; empty for open words (form WORD) and other forms.
        lowest, highest: bounds in ``unit`` outside which a value is impossible, None for no bound.
        how: how a person takes it, '' where it is not taken by hand.
        of_crop: it belongs to the crop being cut and says nothing of the next.
        minutes: what taking it takes.   when: with the engine stopped, running, or at work in the crop.
        look: the look in which it is seen together with others at the same station, '' if it is taken by itself.
    """

    name: str
    role: Role
    form: Form
    meaning: str
    unit: str = ""
    words: tuple[tuple[str, str], ...] = ()
    open_words: bool = False
    sided: bool = False
    lowest: float | None = None
    highest: float | None = None
    how: str = ""
    minutes: float = 1.0
    when: When = When.STOPPED
    of_crop: bool = False
    look: str = ""
