"""What procedures do on one machine: which readings they start anew, which events tell that they were done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from audit.nouns.machine import Component, MachineCard
from audit.nouns.quantity import Quantity, Role
from audit.nouns.rule import Procedure
from audit.nouns.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class Work:
    """A procedure on one component of a machine.

    Attributes:
        on: component, '' where the procedure is done once a machine.
        moves: settings.   brings: readings that it makes right itself.   records: events.
        renews: readings that it starts anew, those of the work it calls for afterwards included.
        since: the reading that counts hours since it was done, '' for none.
        raises, lowers: readings that fall, or rise, by themselves until it is done again.
    """

    procedure: Procedure
    on: str
    moves: tuple[str, ...]
    brings: tuple[str, ...]
    records: tuple[str, ...]
    renews: frozenset[str]
    since: str
    raises: tuple[str, ...]
    lowers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Works:
    """All works of a machine card.

    Attributes:
        by_key: by procedure and component.   recorders: by event, the works that record it.
        movers: by setting, those that move it.   bringers: by reading, those that bring it themselves.
    """

    all: tuple[Work, ...]
    by_key: Mapping[tuple[str, str], Work]
    recorders: Mapping[str, tuple[Work, ...]]
    movers: Mapping[str, tuple[Work, ...]]
    bringers: Mapping[str, tuple[Work, ...]]

    def wears(self, reading: str) -> float:
        """Which way a reading goes by itself: 1 up, -1 down, 0 where no work says so, or where two disagree."""
        up = any(reading in work.lowers for work in self.bringers.get(reading, ()))
        down = any(reading in work.raises for work in self.bringers.get(reading, ()))
        return float(up) - float(down)


def works_of(rulebook: Rulebook, card: MachineCard, names: Mapping[str, Quantity]) -> Works:
    """The works of a card whose quantities are ``names``."""
    found = tuple(_Maker(rulebook, card, names).works())

    def by(attribute: str) -> dict[str, tuple[Work, ...]]:
        table: dict[str, tuple[Work, ...]] = {}
        for work in found:
            for name in getattr(work, attribute):
                table[name] = (*table.get(name, ()), work)
        return table

    keyed = {(work.procedure.key, work.on): work for work in found}
    return Works(found, keyed, by("records"), by("moves"), by("brings"))


def full_name(name: str, on: str, card: MachineCard, names: Mapping[str, Quantity]) -> str:
    """The quantity that a name in a procedure stands for when it is done on a component; '' for none.

    ``belt.temperature`` is the component's own; ``shaft.measured_speed`` is of the shaft that a drive turns.
    """
    if name in names:
        return name
    component = next((found for found in card.components() if found.id == on), None)
    if component is None:
        return ""
    family, _, attribute = name.partition(".")
    where = component.driven if family == "shaft" and component.driven else component.id
    return f"{where}.{attribute}" if f"{where}.{attribute}" in names else ""


class _Maker:
    def __init__(self, rulebook: Rulebook, card: MachineCard, names: Mapping[str, Quantity]) -> None:
        self.rulebook, self.card, self.names = rulebook, card, names
        self.kinds = {**rulebook.vocabulary.part_kinds, **rulebook.vocabulary.drive_kinds}

    def works(self) -> Iterator[Work]:
        for procedure in self.rulebook.procedures.values():
            for on in self.places(procedure):
                also = [name for found in procedure.also if found.on == on for name in found.brings]
                full = [self.full(name, on) for name in (*procedure.brings, *also)]
                brings = dict.fromkeys(name for name in full if name)
                moves = dict.fromkeys(filter(None, (self.full(name, on) for name in procedure.moves)))
                if brings or moves:
                    yield Work(
                        procedure,
                        on,
                        tuple(name for name in moves if self.names[name].role is Role.SETTING),
                        tuple(name for name in brings if self.names[name].role is Role.READING),
                        tuple(name for name in brings if self.names[name].role is Role.EVENT),
                        frozenset(self.renewed(procedure, on, ())),
                        self.full(procedure.since, on) if procedure.since else "",
                        tuple(filter(None, (self.full(name, on) for name in procedure.raises))),
                        tuple(filter(None, (self.full(name, on) for name in procedure.lowers))),
                    )

    def full(self, name: str, on: str) -> str:
        return full_name(name, on, self.card, self.names)

    def family(self, procedure: Procedure) -> str:
        """The family a procedure is for, '' where it is done once a machine."""
        vocabulary, own = self.rulebook.vocabulary, {component.id for component in self.card.components()}
        named = (name for name in (*procedure.moves, *procedure.brings) if name not in vocabulary.fixed)
        parts = [part for part in (name.partition(".")[0] for name in named) if part not in own]
        return next((part for part in parts if part != "shaft"), parts[0] if parts else "")

    def places(self, procedure: Procedure) -> list[str]:
        family = self.family(procedure)
        return [component.id for component in self.members(family)] if family else [""]

    def members(self, family: str) -> list[Component]:
        return [found for found in self.card.components() if family in self.kinds[found.kind].families]

    def renewed(self, procedure: Procedure, on: str, behind: tuple[str, ...]) -> Iterator[str]:
        """Readings that it brings, and those that the procedures called for after it bring on the same component."""
        also = [found for found in procedure.also if found.on == on]
        for name in (*procedure.brings, *(name for found in also for name in found.brings)):
            full = self.full(name, on)
            if full and self.names[full].role is Role.READING:
                yield full
        for key in (*(name for found in also for name in found.after), *procedure.after):
            other = self.rulebook.procedures[key]
            if key in behind:
                continue
            places = self.places(other)
            if on in places or places == [""]:
                yield from self.renewed(other, on if on in places else "", (*behind, procedure.key))
