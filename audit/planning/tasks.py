"""What can be done on a machine: every procedure on every part it fits, with what follows from doing it.

A task is a procedure on one part, or one reading to take. Tasks are numbered, and a set of them is an integer with a
bit for each, so that what several corrections share (opening one shield, raising the chopper) is counted once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from audit.nouns.machine import ByPosition, Component, MachineCard, Move
from audit.nouns.plan import Lock
from audit.nouns.quantity import Quantity, Role, When
from audit.nouns.rule import Procedure
from audit.nouns.rulebook import Rulebook

Key = tuple[str, str]
"""Procedure and the part, station or (for a reading to take, procedure '') quantity it is done on."""


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work.

    Attributes:
        moves: settings it may set.   brings: readings it makes right.   records: events that doing it records.
        measures: readings it takes.
        before, after: tasks that it calls for.   takes: readings to take again after it.
    """

    key: Key
    station: str
    when: When
    minutes: float
    people: int
    tools: tuple[str, ...]
    parts: tuple[str, ...]
    moves: tuple[str, ...] = ()
    brings: tuple[str, ...] = ()
    records: tuple[str, ...] = ()
    before: tuple[Key, ...] = ()
    after: tuple[Key, ...] = ()
    takes: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()

    @property
    def taking(self) -> bool:
        """Whether it only takes a reading."""
        return not self.key[0]

    def changes_job(self) -> bool:
        """Whether it changes what the machine is to do: what is to be taken again then depends on the new job."""
        return any(name.startswith("job.") for name in self.brings)

    def affects(self) -> tuple[str, ...]:
        """Every quantity it may change."""
        return self.moves + self.brings + self.measures + self.records


@dataclass(slots=True)
class Tasks:
    """All tasks of a machine card.

    Attributes:
        all: by number.   number: by key.
        closure: by number, the set of the task and all that it calls for.
        remedies: by quantity, numbers of the procedures that move, bring or record it.
        locked: by lock, set of the tasks it forbids; filled when first asked for.
        takers: by quantity, number of the task that takes it: a procedure that measures it, else a look of its own.
    """

    all: list[Task]
    number: dict[Key, int]
    closure: list[int]
    remedies: dict[str, tuple[int, ...]]
    takers: dict[str, int]
    locked: dict[Lock, int] = field(default_factory=dict)
    _costs: dict[int, tuple[int, int]] = field(default_factory=dict)

    def cost(self, tasks: int) -> tuple[int, int]:
        """Seconds and parts of a set of tasks."""
        found = self._costs.get(tasks)
        if found is None:
            members = [self.all[number] for number in numbers(tasks)]
            found = sum(round(task.minutes * 60) for task in members), sum(len(task.parts) for task in members)
            if len(self._costs) > _MOST_COSTS:
                self._costs.clear()
            self._costs[tasks] = found
        return found


_MOST_COSTS = 50_000


def numbers(tasks: int) -> Iterator[int]:
    """Numbers of the tasks in a set."""
    while tasks:
        low = tasks & -tasks
        yield low.bit_length() - 1
        tasks ^= low


def as_set(some: Iterable[int]) -> int:
    """A set of the tasks with these numbers."""
    found = 0
    for number in some:
        found |= 1 << number
    return found


def tasks_of(card: MachineCard, names: Mapping[str, Quantity], rulebook: Rulebook, follows: Mapping[str, str]) -> Tasks:
    """The tasks of a card.

    Args:
        names: quantities of the card.
        follows: by event, the event that must be recorded after it.
    """
    return _Maker(card, names, rulebook, follows).tasks()


class _Maker:
    def __init__(
        self, card: MachineCard, names: Mapping[str, Quantity], rulebook: Rulebook, follows: Mapping[str, str]
    ) -> None:
        self.card, self.names, self.rulebook, self.follows = card, names, rulebook, follows
        self.components = {component.id: component for component in card.components()}
        self.stations = {part: station.id for station in card.stations for part in station.parts}
        self.stations |= {component.id: component.station for component in card.components()}
        self.takers: dict[str, Key] = {}
        self.moves: dict[Key, list[tuple[str, Move]]] = {}
        self.found: dict[Key, Task] = {}

    def tasks(self) -> Tasks:
        for carried in self.card.carried:
            if carried.move is not None:
                self.moves.setdefault(self.key_for(carried.move.procedure, carried.name), []).append(
                    (carried.name, carried.move)
                )
        for procedure in self.rulebook.procedures.values():
            for on in self.places(procedure):
                self.add(procedure, on)
        self.takers = {name: task.key for task in self.found.values() for name in task.measures}
        for name, quantity in self.names.items():
            if (
                name not in self.takers
                and quantity.role in (Role.SETTING, Role.READING, Role.JOB, Role.UNIT)
                and name != "job.crop"
            ):
                station = self.stations.get(name.partition(".")[0], "")
                self.takers[name] = ("", name)
                self.found["", name] = Task(
                    ("", name), station, quantity.when, quantity.minutes, 1, (), (), brings=(name,)
                )
        for task in list(self.found.values()):
            self.link(task)
        return self.numbered()

    def family(self, procedure: Procedure) -> str:
        """The family that a procedure is for, '' where it is done once a machine."""
        vocabulary = self.rulebook.vocabulary
        parts = [
            name.partition(".")[0]
            for name in (*procedure.moves, *procedure.brings, *procedure.measures)
            if name not in vocabulary.fixed and name.partition(".")[0] not in self.components
        ]
        return next((part for part in parts if part != "shaft"), parts[0] if parts else "")

    def members(self, family: str) -> list[Component]:
        vocabulary = self.rulebook.vocabulary
        return [
            component
            for component in self.components.values()
            if family in (vocabulary.drive_kinds.get(component.kind) or vocabulary.part_kinds[component.kind]).families
        ]

    def places(self, procedure: Procedure) -> list[str]:
        family = self.family(procedure)
        if not family:
            return [""] if procedure.moves or procedure.brings else []
        return [component.id for component in self.members(family)]

    def key_for(self, procedure: str, name: str) -> Key:
        part = name.partition(".")[0]
        family = self.family(self.rulebook.procedures[procedure])
        return procedure, part if family and part in self.components else ""

    def full(self, name: str, on: str) -> str:
        """A name in a procedure as the quantity it stands for on this machine, '' for none."""
        part, _, attribute = name.partition(".")
        if name in self.names:
            return name
        component = self.components.get(on)
        if component is None or name in self.rulebook.vocabulary.fixed:
            return ""
        where = component.driven if part == "shaft" and component.driven else component.id
        return f"{where}.{attribute}" if f"{where}.{attribute}" in self.names else ""

    def add(self, procedure: Procedure, on: str) -> None:
        key = (procedure.key, on)
        own = self.moves.get(key, [])
        also = [name for found in procedure.also if found.on == on for name in found.brings]
        named = [self.full(name, on) for name in (*procedure.moves, *procedure.brings, *also)]
        touched = dict.fromkeys([name for name in named if name] + [name for name, _ in own])
        takes, measures = (
            tuple(filter(None, (self.full(name, on) for name in some)))
            for some in (procedure.takes, procedure.measures)
        )
        if not (touched or measures) or self.only_notes(procedure, touched):
            return
        roles = {name: self.names[name].role for name in touched}
        parts = [on, *(name.partition(".")[0] for name in (*touched, *takes, *measures))]
        of_part = next((self.stations[part] for part in parts if part in self.stations), "")
        self.found[key] = Task(
            key,
            of_part,
            procedure.when,
            max((move.minutes for _, move in own), default=procedure.minutes),
            max((move.people for _, move in own), default=procedure.people),
            tuple(dict.fromkeys((*procedure.tools, *(tool for _, move in own for tool in move.tools)))),
            tuple(dict.fromkeys(part for _, move in own for part in move.parts)) or procedure.parts,
            tuple(name for name in touched if roles[name] is Role.SETTING),
            tuple(name for name in touched if roles[name] not in (Role.SETTING, Role.EVENT)),
            tuple(name for name in touched if roles[name] is Role.EVENT),
            takes=takes,
            measures=measures,
        )

    def only_notes(self, procedure: Procedure, touched: Iterable[str]) -> bool:
        """Whether nothing is left of a procedure on this machine but an event that it records beside."""
        fixed = self.rulebook.vocabulary.fixed
        proper = [n for n in (*procedure.moves, *procedure.brings) if n not in fixed or fixed[n].role is not Role.EVENT]
        return bool(proper) and all(self.names[name].role is Role.EVENT for name in touched)

    def link(self, task: Task) -> None:
        """Fills in what a task calls for; preparations are made for its station when they are first needed."""
        if task.taking:
            return
        procedure = self.rulebook.procedures[task.key[0]]
        also = [found for found in procedure.also if found.on == task.key[1]]
        first = (*procedure.before, *(name for found in also for name in found.before))
        then = (*(name for found in also for name in found.after), *procedure.after)
        before = tuple(key for name in first for key in self.linked(name, task))
        after = [key for name in then for key in self.linked(name, task)]
        for event in task.records:
            check = self.follows.get(event)
            if check and check not in task.records:
                after += self.recorders(check, (task.key, *before, *after))
        takes = [*task.takes, *self.stale(task, after)]
        found = replace(task, before=before, after=tuple(after), takes=tuple(dict.fromkeys(takes)))
        self.found[task.key] = found

    def recorders(self, event: str, already: tuple[Key, ...]) -> list[Key]:
        """The cheapest task that records an event, none where one is called for already."""
        able = [task for task in self.found.values() if event in task.records]
        if not able or any(task.key in already for task in able):
            return []
        return [min(able, key=lambda task: (task.minutes, task.key)).key]

    def stale(self, task: Task, after: Iterable[Key]) -> list[str]:
        """Measured speeds that hold no more once the task has moved its settings."""
        moved = set(task.moves)
        brought = set(task.brings)
        for key in after:
            brought.update(self.found[key].brings)
        return [
            f"{shaft.id}.measured_speed"
            for shaft in self.card.shafts
            if moved & self.behind(shaft.id) and f"{shaft.id}.measured_speed" not in brought
        ]

    def behind(self, shaft: str) -> set[str]:
        """Settings and builds that the drives from the engine to a shaft depend on."""
        found: set[str] = set()
        drive = next((drive for drive in self.card.drives if drive.driven == shaft), None)
        while drive is not None:
            found |= {value.by for _, value in drive.parameters if isinstance(value, ByPosition)}
            driver = drive.driver
            drive = next((other for other in self.card.drives if other.driven == driver), None)
        return found

    def linked(self, name: str, task: Task) -> list[Key]:
        """The tasks of a procedure that another one calls for: on the same part, else on the parts it touches."""
        procedure = self.rulebook.procedures[name]
        family = self.family(procedure)
        if family:
            members = {component.id for component in self.members(family)}
            parts = [task.key[1], *(touched.partition(".")[0] for touched in task.affects())]
            return [(name, part) for part in dict.fromkeys(parts) if part in members and (name, part) in self.found]
        if (name, "") in self.found:
            return [(name, "")]
        if procedure.moves or procedure.brings:  # nothing of it is on this machine
            return []
        key = (name, task.station)
        if key not in self.found:
            self.found[key] = Task(
                key, task.station, procedure.when, procedure.minutes, procedure.people, procedure.tools, procedure.parts
            )
            self.link(self.found[key])
        return [key]

    def numbered(self) -> Tasks:
        everything = list(self.found.values())
        number = {task.key: place for place, task in enumerate(everything)}
        closure: dict[Key, int] = {}

        def close(key: Key, behind: tuple[Key, ...]) -> int:
            if key in behind:
                raise ValueError(f"procedures call for each other in a circle: {' > '.join(k[0] for k in behind)}")
            if key not in closure:
                task = self.found[key]
                found = 1 << number[key]
                called: Iterable[Key] = (*task.before, *task.after)
                if not task.changes_job():
                    called = (*called, *(self.takers[name] for name in task.takes))
                for other in called:
                    found |= close(other, (*behind, key))
                closure[key] = found
            return closure[key]

        remedies: dict[str, list[int]] = {}
        for task in everything:
            close(task.key, ())
            if not task.taking:
                for name in (*task.moves, *task.brings, *task.records):
                    remedies.setdefault(name, []).append(number[task.key])
        return Tasks(
            everything, number, [closure[task.key] for task in everything],
            {name: tuple(found) for name, found in remedies.items()},
            {name: number[key] for name, key in self.takers.items()},
        )  # fmt: skip
