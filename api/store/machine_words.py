"""What machines and farm systems said: engine hours, settings that nobody has looked at, planned harvests.

Each import's rows stand for themselves, so that taking an import back leaves those of the others; of several the newest
holds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from sqlalchemy import Table, delete, func, select, update

from api.store.database import Work
from api.store.events import canonical
from api.store.machine_tables import hour_readings, machine_faults, machine_values, planned_tasks
from api.store.rows import add_rows, drop_rows

_OF_AN_IMPORT = (machine_values, planned_tasks, machine_faults)
COUNTS, OLDER, REPLACED, WRONG, UNDONE = "counts", "older", "replaced", "wrong", "undone"


@dataclass(frozen=True, slots=True)
class Hours:
    """Engine hours of a unit at a time.

    Attributes:
        taken: s since 1970, None for not known.   fate: one of the words above.
        hours_before, hours_at_before: of the unit, before this one counted.
        local: ``taken`` came without an offset, and is what it would be in UTC.
    """

    unit: str
    hours: float
    taken: float | None
    fate: str
    origin: str
    hours_before: float | None
    hours_at_before: float | None
    at: float
    local: bool = False


@dataclass(frozen=True, slots=True)
class Value:
    """A setting as the machine said, never verified.

    Attributes:
        quantity: last part of the setting's name.   code: what it was called there.   role: wanted, actual or fixed.
        value: in ``measure``.   taken: s since 1970, None for not known; ``local`` as of ``Hours``.
    """

    unit: str
    quantity: str
    code: str
    role: str
    part: str
    value: float
    measure: str
    taken: float | None
    origin: str
    at: float
    local: bool = False


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault code as the machine told it; all but the times are as the sender writes them.

    Attributes:
        taken: s since 1970, None for not known; ``local`` as of ``Hours``.
    """

    unit: str
    code: str
    says: str
    severity: str
    source: str
    taken: float | None
    origin: str
    at: float
    local: bool = False


@dataclass(frozen=True, slots=True)
class Task:
    """A planned harvest.

    Attributes:
        key: where it comes from, and its own id there.   unit: '' while none is known.
        crop: the crop card, '' where what was said is not known.
        begins, ends: s since 1970; ``local`` as of ``Hours``.
    """

    key: str
    unit: str
    name: str
    field: str
    crop: str
    crop_said: str
    begins: float | None
    ends: float | None
    state: str
    origin: str
    at: float
    local: bool = False


def add_hours(work: Work, some: Iterable[Hours]) -> None:
    """Keeps readings."""
    _add(work, hour_readings, [((one.origin, one.unit, one.hours, one.taken), one) for one in some])


def add_values(work: Work, some: Iterable[Value]) -> None:
    """Keeps values."""
    _add(work, machine_values, [((one.origin, one.unit, one.code, one.role, one.part), one) for one in some])


def add_faults(work: Work, some: Iterable[Fault]) -> None:
    """Keeps fault codes."""
    _add(work, machine_faults, [((one.origin, one.unit, one.code, one.source, one.taken), one) for one in some])


def add_tasks(work: Work, some: Iterable[Task]) -> None:
    """Keeps planned harvests."""
    _add(work, planned_tasks, [((one.origin, one.key), one) for one in some])


def has_hours(work: Work, unit: str, hours: float, taken: float | None) -> bool:
    """Whether this very reading is there already."""
    when = hour_readings.c.taken.is_(None) if taken is None else hour_readings.c.taken == taken
    wanted = select(hour_readings.c.id).where(
        hour_readings.c.organisation == work.organisation, hour_readings.c.unit == unit,
        hour_readings.c.hours == hours, when, hour_readings.c.fate != UNDONE,
    )  # fmt: skip
    return work.connection.execute(wanted.limit(1)).one_or_none() is not None


def hours_of(work: Work, unit: str, most: int) -> list[Hours]:
    """Readings of a unit, the newest first."""
    table = hour_readings
    wanted = select(table).where(table.c.organisation == work.organisation, table.c.unit == unit)
    rows = work.connection.execute(wanted.order_by(table.c.at.desc(), table.c.hours.desc()).limit(most))
    return [_made(Hours, row) for row in rows]


def hours_of_import(work: Work, origin: str) -> list[Hours]:
    """Readings that an import brought, the highest of each unit first."""
    table = hour_readings
    wanted = select(table).where(table.c.organisation == work.organisation, table.c.origin == origin)
    return [_made(Hours, row) for row in work.connection.execute(wanted.order_by(table.c.unit, table.c.hours.desc()))]


def faults_of(work: Work, unit: str, most: int) -> list[Fault]:
    """Fault codes of a unit, the newest first, each as often as it was told of another time."""
    table = machine_faults
    wanted = select(table).where(table.c.organisation == work.organisation, table.c.unit == unit)
    rows = work.connection.execute(wanted.order_by(table.c.at.desc(), table.c.taken.desc(), table.c.code).limit(most))
    found = [_made(Fault, row) for row in rows]
    return list({(one.code, one.source, one.taken): one for one in reversed(found)}.values())[::-1]


def values_of(work: Work, unit: str) -> list[Value]:
    """The newest value of each name and part of a unit."""
    table = machine_values
    wanted = select(table).where(table.c.organisation == work.organisation, table.c.unit == unit)
    return newest(_made(Value, row) for row in work.connection.execute(wanted.order_by(table.c.at, table.c.id)))


def newest(some: Iterable[Value]) -> list[Value]:
    """The newest value of each name and part among a unit's, given in the order in which they came."""
    found: dict[tuple[str, str, str], Value] = {}
    for one in some:
        before = found.get((one.code, one.role, one.part))
        if before is None or (before.taken or 0) <= (one.taken or 0):
            found[one.code, one.role, one.part] = one
    return sorted(found.values(), key=lambda one: (one.quantity, one.role, one.part))


def tasks(work: Work, unit: str | None = None, key: str | None = None) -> list[Task]:
    """Planned harvests, the earliest first, of a unit or of all; of one key the newest."""
    table = planned_tasks
    wanted = select(table).where(table.c.organisation == work.organisation)
    if key is not None:
        wanted = wanted.where(table.c.key == key)
    newest = {row.key: _made(Task, row) for row in work.connection.execute(wanted.order_by(table.c.at, table.c.id))}
    found = [one for one in newest.values() if unit is None or one.unit == unit]
    return sorted(found, key=lambda one: (one.begins is None, one.begins or 0, one.name))


def others(work: Work, unit: str, origin: str) -> bool:
    """Whether other imports said anything of a unit."""
    for table in (hour_readings, machine_values, machine_faults):
        wanted = select(table.c.id).where(
            table.c.organisation == work.organisation, table.c.unit == unit, table.c.origin != origin
        )
        if table is hour_readings:
            wanted = wanted.where(table.c.fate != UNDONE)
        if work.connection.execute(wanted.limit(1)).one_or_none() is not None:
            return True
    return False


def counts(work: Work, origin: str) -> tuple[int, int, int]:
    """How many values, planned harvests and fault codes of an import there are."""
    found = []
    for table in _OF_AN_IMPORT:
        where = (table.c.organisation == work.organisation, table.c.origin == origin)
        found.append(work.connection.scalar(select(func.count()).select_from(table).where(*where)) or 0)
    return found[0], found[1], found[2]


def take_back(work: Work, origin: str) -> None:
    """Takes out values, planned harvests and fault codes of an import, and marks its readings."""
    for table in _OF_AN_IMPORT:
        where = (table.c.organisation == work.organisation, table.c.origin == origin)
        work.connection.execute(delete(table).where(*where))
    table = hour_readings
    where = (table.c.organisation == work.organisation, table.c.origin == origin)
    work.connection.execute(update(table).where(*where).values(fate=UNDONE))


def _add(work: Work, table: Table, some: Sequence[tuple[tuple[Any, ...], Any]]) -> None:
    rows = {}  # the same key twice in one import: the later row holds
    for key, one in some:
        id = sha256(canonical(list(key))).hexdigest()[:32]
        rows[id] = {"id": id, **{name: getattr(one, name) for name in type(one).__slots__}}
    drop_rows(work, table, list(rows))
    add_rows(work, table, list(rows.values()))


def _made(kind: Any, row: Any) -> Any:
    return kind(**{name: getattr(row, name) for name in kind.__slots__})
