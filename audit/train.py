"""The drive train of a machine card, walked from the engine outwards, as computations.

Every parameter of every component becomes a constant, or a pick by position; every drive hands its shaft three speeds:
as set, slowest and fastest reachable. What a setup makes of them is worked out by ``facts`` or by the compiled reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from audit.field import FACTS
from audit.measures import from_canonical
from audit.nouns.fact import Argument, Computation, Constant, Ref
from audit.nouns.kind import FactOf, In, Kind
from audit.nouns.machine import ByPosition, Component, CropCard, MachineCard
from audit.nouns.quantity import Quantity, Role, Value
from audit.nouns.vocabulary import Vocabulary, fact_quantity
from audit.physics.formula import Formula, formula

End = Callable[[str, Component], tuple[Value, str]]


class Pick:
    """A parameter that depends on a position: a table from word to value."""

    def __init__(self, values: tuple[tuple[str, Value], ...], unit: str) -> None:
        self.values = dict(values)
        self.__formula__ = Formula("Value for the position as set", "by position", unit, "machine card")

    def __call__(self, word: str) -> Value:
        return self.values.get(word)


@formula(name="Speed as measured", equation="n = measured", unit="r/min", source="definition")
def as_measured(measured: float) -> float:
    """Behind a variable drive that nobody sets by number, a shaft's speed is what was measured, r/min."""
    return measured


@dataclass(frozen=True, slots=True)
class Train:
    """Attributes:
    constants: values stated by the cards, None where they are not.
    why_unknown: the reason for each None.
    computations: in order of need.
    dropped: facts that would say nothing on this machine.
    """

    constants: Mapping[str, Value]
    why_unknown: Mapping[str, str]
    computations: tuple[Computation, ...]
    dropped: tuple[str, ...]


def build_train(
    card: MachineCard, crop: CropCard, vocabulary: Vocabulary, names: Mapping[str, Quantity], end: End
) -> Train:
    """The computations of a card for a crop. ``end`` looks up an end of a target window for a component."""
    return _Builder(card, crop, vocabulary, names, end).train()


class _Builder:
    def __init__(
        self,
        card: MachineCard,
        crop: CropCard,
        vocabulary: Vocabulary,
        names: Mapping[str, Quantity],
        end: End,
    ) -> None:
        self.card, self.crop, self.vocabulary, self.names, self.end = card, crop, vocabulary, names, end
        self.constants: dict[str, Value] = {}
        self.why: dict[str, str] = {}
        self.computations: dict[str, Computation] = {}
        self.dropped: list[str] = []

    def train(self) -> Train:
        for name, value, _ in self.crop.measures:
            self.constants[f"crop.{name}"] = value
        for component in self.card.components():
            self.parameters(component)
        self.speeds()
        for component in self.card.components():
            for fact in self.kind(component).facts:
                self.fact(f"{component.id}.{fact.name}", fact, component)
        for fact in FACTS:
            self.fact(fact.name, fact, None)
        return Train(self.constants, self.why, tuple(self.ordered()), tuple(self.dropped))

    def kind(self, component: Component) -> Kind:
        return self.vocabulary.drive_kinds.get(component.kind) or self.vocabulary.part_kinds[component.kind]

    def parameters(self, component: Component) -> None:
        stated = dict(component.parameters)
        for parameter in self.kind(component).parameters:
            name = f"{component.id}.{parameter.name}"
            value = stated.get(parameter.name)
            if isinstance(value, ByPosition):
                picked = Pick(value.values, parameter.unit)
                self.add(Computation(name, parameter.meaning, parameter.unit, picked, (Ref(value.by),)))
                continue
            self.constants[name] = value
            if value is None:
                self.why[name] = f"machine card {self.card.id} does not state {name}"

    def speeds(self) -> None:
        """Speeds as set, lowest and highest of every shaft, from the engine outwards."""
        governed = self.card.governed_shaft
        speed = self.constants[f"{governed}.governed_speed"]
        for which in ("speed", "speed_low", "speed_high"):
            self.constants[f"{governed}.{which}"] = speed
        settled, waiting = {governed}, list(self.card.drives)
        by_number = {governed}
        while waiting:
            drive = next(drive for drive in waiting if drive.driver in settled)
            waiting.remove(drive)
            settled.add(drive.driven)
            carry = self.kind(drive).carry
            assert carry is not None  # drive_kinds() refuses a kind without
            for which, args in (("speed_low", carry.slow_args), ("speed_high", carry.fast_args)):
                meaning = "Lowest speed reachable" if which == "speed_low" else "Highest speed reachable"
                self.carried(drive, which, meaning, carry.function, args)
            name = f"{drive.driven}.speed"
            if name in self.names and self.names[name].role is Role.SETTING:
                by_number.add(drive.driven)
            elif drive.driver in by_number and not carry.variable:
                self.carried(drive, "speed", "Shaft speed at governed engine speed", carry.function, carry.args)
                by_number.add(drive.driven)
            else:
                measured = Ref(f"{drive.driven}.measured_speed")
                self.add(
                    Computation(name, "Speed as measured, behind a variable drive", "r/min", as_measured, (measured,))
                )
                self.dropped.append(f"{drive.driven}.speed_error")
                by_number.add(drive.driven)

    def carried(
        self,
        drive: Component,
        which: str,
        meaning: str,
        function: Callable[..., float],
        args: tuple[str | float, ...],
    ) -> None:
        arguments = (
            self.argument(f"{drive.driver}.{which}", drive),
            *(self.argument(arg, drive) for arg in args),
        )
        self.add(Computation(f"{drive.driven}.{which}", meaning, "r/min", function, arguments))

    def fact(self, name: str, fact: FactOf, component: Component | None) -> None:
        if name in self.dropped:
            return
        unit = fact_quantity(fact.name, fact.meaning, fact.function).unit
        arguments = tuple(self.argument(arg, component) for arg in fact.args)
        self.add(Computation(name, fact.meaning, unit, fact.function, arguments, fact.needs_all))

    def argument(self, arg: str | float | In, component: Component | None) -> Argument:
        """Where an argument comes from on this machine; see ``FactOf.args`` for how it may be written."""
        if isinstance(arg, float):
            return Constant(arg)
        factor = 1.0
        if isinstance(arg, In):
            factor, arg = from_canonical(1.0, arg.unit), arg.name
        if component is not None:
            head, _, attribute = arg.partition(".")
            if head == "target":
                value, why = self.end(arg[len("target.") :], component)
                return Constant(value, arg, why)
            if head in ("driver", "driven") and attribute:
                arg = f"{component.driver if head == 'driver' else component.driven}.{attribute}"
            elif not attribute:
                arg = f"{component.id}.{arg}"
        if arg.startswith("crop.") and arg not in self.constants:
            return Constant(None, arg, f"crop card {self.crop.id} does not state {arg[5:]}")
        if arg not in self.constants and arg not in self.names:
            return Constant(None, arg, f"machine card {self.card.id} has no {arg}")
        return Ref(arg, factor)

    def add(self, computation: Computation) -> None:
        if computation.name in self.computations:
            raise ValueError(f"'{computation.name}' would be computed twice")
        self.computations[computation.name] = computation

    def ordered(self) -> Iterator[Computation]:
        done: set[str] = set()

        def visit(name: str, behind: tuple[str, ...]) -> Iterator[Computation]:
            if name in done or name not in self.computations:
                return
            if name in behind:
                raise ValueError(f"'{name}' depends on itself: {' > '.join(behind)}")
            for arg in self.computations[name].args:
                if isinstance(arg, Ref):
                    yield from visit(arg.name, (*behind, name))
            done.add(name)
            yield self.computations[name]

        for name in self.computations:
            yield from visit(name, ())
