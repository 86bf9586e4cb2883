"""What can be read from a farm system, whatever the format."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

MOST_AHEAD, MOST_BEHIND = 14 * 3600.0, 12 * 3600.0
"""s. How far clocks of time zones are ahead of UTC and behind it (IANA's database: UTC+14 and UTC-12)."""


class NotRead(Exception):
    """The whole file can't be read: where, why, and what to do."""

    def __init__(self, place: str, why: str, advice: str) -> None:
        super().__init__(f"{place}: {why}. {advice}" if place else f"{why}. {advice}")
        self.place, self.why, self.advice = place, why, advice


class Scheme(Enum):
    """Kinds of identity."""

    PIN = "pin"
    SERIAL = "serial"
    ISOBUS_NAME = "isobus-name"
    FLEET_NUMBER = "fleet-number"
    SYSTEM_ID = "system-id"


class Role(Enum):
    """What a value of a machine says: what it was told to keep, what it measured, or what it was set to for good."""

    WANTED = "wanted"
    ACTUAL = "actual"
    FIXED = "fixed"


@dataclass(frozen=True, slots=True)
class HourReading:
    """Engine hours at a time.

    Attributes:
        hours: h, as read: may be anything that a file can say.
        taken: s since 1970, None for not known.
        local: the time came without an offset, and ``taken`` is what it would be in UTC.
    """

    hours: float
    taken: float | None
    local: bool = False

    def latest(self) -> float | None:
        """Until when it was taken for certain, s since 1970; None for not known."""
        return self.taken if self.taken is None or not self.local else self.taken + MOST_BEHIND

    def earliest(self) -> float | None:
        """Since when it may have been taken, s since 1970; None for not known."""
        return self.taken if self.taken is None or not self.local else self.taken - MOST_AHEAD


@dataclass(frozen=True, slots=True)
class MachineValue:
    """A setting as the machine itself says, which nobody has looked at.

    Attributes:
        quantity: last part of the setting's or reading's name: ``concave_gap``.
        code: what it was called where it was read: ``DDI 251``.   part: the machine's own name of the part.
        value: in ``measure``.   taken: s since 1970, None for not known.
        local: the time came without an offset, and ``taken`` is what it would be in UTC.
    """

    quantity: str
    code: str
    role: Role
    part: str
    value: float
    measure: str
    taken: float | None
    local: bool = False


@dataclass(frozen=True, slots=True)
class MachineFault:
    """A fault code as the machine itself tells it: a fact that somebody may look at, and never a verdict.

    Attributes:
        code, says, severity, source: as the sender writes them, '' for what it does not say.
        taken, local: as of ``MachineValue``.
    """

    code: str
    says: str
    severity: str
    source: str
    taken: float | None
    local: bool = False


@dataclass(frozen=True, slots=True)
class SystemId:
    """What another system calls a machine. It stands for that system's record, so it proves nothing.

    Attributes:
        issuer: within what the value is unique, '' for the world, as of a UUID.
    """

    issuer: str
    value: str


@dataclass(frozen=True, slots=True)
class ReadUnit:
    """A machine as a file has it; '' for what it does not say.

    Attributes:
        place: where it stands in the file.   key: what other lines of the file call it.
        maker, type: as they are written there, and never looked up.
        series: within what the serial is unique, where that is not maker and type.
        fleet_number: the number or name that its owner gave it.
        card: the machine card, where the file names it.
    """

    place: str
    key: str = ""
    pin: str = ""
    maker: str = ""
    type: str = ""
    serial: str = ""
    series: str = ""
    isobus_name: str = ""
    fleet_number: str = ""
    card: str = ""
    build_year: int | None = None
    owner: str = ""
    hours: HourReading | None = None
    values: tuple[MachineValue, ...] = ()
    faults: tuple[MachineFault, ...] = ()
    system_ids: tuple[SystemId, ...] = ()

    def called(self) -> str:
        """What a person would know it by."""
        return self.fleet_number or self.serial or self.pin or self.isobus_name or self.key or self.place


@dataclass(frozen=True, slots=True)
class ReadCrop:
    """A crop that a file names.

    Attributes:
        said: everything that it is called there, the surest first: an EPPO code, then names.
    """

    place: str
    key: str
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadTask:
    """Harvest work that somebody planned.

    Attributes:
        key: its own id where it comes from.
        units: keys of machines that it names.
        crops: what its crop is called, the surest first.
        begins, ends: s since 1970, None for not known.
        local: these came without an offset, and are what they would be in UTC.
    """

    place: str
    key: str
    name: str
    field: str
    units: tuple[str, ...]
    crops: tuple[str, ...]
    begins: float | None
    ends: float | None
    state: str
    local: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row of which nothing is taken, and why."""

    place: str
    why: str
    advice: str = ""
    wrong: bool = True


@dataclass(frozen=True, slots=True)
class Read:
    """All that a file says.

    Attributes:
        origin: what the file says it comes from; part of the keys of its tasks.
        rows: rows of which nothing is taken.
        notes: what a person should know of the file as a whole.
        next: address of the next page, '' for none.
    """

    origin: str = ""
    units: tuple[ReadUnit, ...] = ()
    crops: tuple[ReadCrop, ...] = ()
    tasks: tuple[ReadTask, ...] = ()
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()
    next: str = ""


@dataclass(slots=True)
class Gathered:
    """What is found while a file is read."""

    units: list[ReadUnit] = field(default_factory=list)
    crops: list[ReadCrop] = field(default_factory=list)
    tasks: list[ReadTask] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def refuse(self, place: str, why: str, advice: str = "") -> None:
        """A row that is wrong."""
        self.rows.append(Row(place, why, advice))

    def pass_over(self, place: str, why: str) -> None:
        """A row that is right but not for us."""
        self.rows.append(Row(place, why, "", False))

    def note(self, text: str) -> None:
        """Something of the file as a whole, said once."""
        if text not in self.notes:
            self.notes.append(text)

    def read(self, origin: str = "", next: str = "") -> Read:
        """All of it."""
        return Read(
            origin, tuple(self.units), tuple(self.crops), tuple(self.tasks), tuple(self.rows), tuple(self.notes), next
        )
