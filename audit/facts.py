"""Computes the facts of a setup on its check sheet, each with its trace: the plain reading."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from audit.nouns.fact import Argument, Computation, Constant, Fact
from audit.nouns.finding import Missing
from audit.nouns.quantity import Role, Sided, Value
from audit.nouns.setup import Setup
from audit.physics.formula import OutOfRange, formula_of
from audit.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything known about one setup.

    Attributes:
        values: settings, readings, job, events, card constants and computed facts by name.
        traces: the computed ones.
        why_unknown: for a computed fact without a value, or a constant that no card states.
    """

    values: Mapping[str, Value | Sided]
    traces: Mapping[str, Fact]
    why_unknown: Mapping[str, str]


def compute(sheet: Sheet, setup: Setup) -> Facts:
    """Walk the sheet's computations in order. A formula out of its range leaves the fact unknown and says why."""
    values: dict[str, Value | Sided] = {**setup.values, **sheet.constants}
    traces: dict[str, Fact] = {}
    why = dict(sheet.why_constant_unknown)
    for computation in sheet.computations:
        fact = _fact(computation, values, why)
        traces[computation.name] = fact
        values[computation.name] = fact.value
        if fact.value is None:
            why[computation.name] = fact.why_unknown
    return Facts(values, traces, why)


def argument_value(argument: Argument, values: Mapping[str, Value | Sided]) -> Value:
    """The value of an argument, None for unknown."""
    if isinstance(argument, Constant):
        return argument.value
    value = values.get(argument.name)
    if isinstance(value, tuple):
        value = value[0] if value[0] == value[1] else None
    return value * argument.factor if argument.factor != 1.0 and isinstance(value, float) else value


def work_out(computation: Computation, arguments: Sequence[Value]) -> tuple[Value, str]:
    """A computation's value, or None with what the formula says against its arguments."""
    if computation.needs_all and None in arguments:
        return None, ""
    try:
        return computation.function(*arguments), ""
    except (OutOfRange, ArithmeticError) as error:  # a formula checks its ranges; a slip there must not stop a fleet
        return None, str(error)


def _fact(computation: Computation, values: Mapping[str, Value | Sided], why: Mapping[str, str]) -> Fact:
    arguments = [argument_value(argument, values) for argument in computation.args]
    value, refused = work_out(computation, arguments)
    reason = ""
    if refused:
        reason = f"{computation.name} can't be computed: {refused}"
    elif value is None and None in arguments:
        argument = computation.args[arguments.index(None)]
        reason = argument.why_unknown if isinstance(argument, Constant) else why.get(argument.name, "")
        reason = reason or f"{argument.name} is not known"
    sheet = formula_of(computation.function)
    inputs = tuple(
        (argument.name or f"{argument.value}" if isinstance(argument, Constant) else argument.name, value_)
        for argument, value_ in zip(computation.args, arguments, strict=True)
    )
    return Fact(
        computation.name,
        computation.meaning,
        value,
        computation.unit,
        sheet.name,
        sheet.equation,
        sheet.source,
        sheet.at,
        inputs,
        reason,
    )


class Reasons(Mapping[str, str]):
    """Why values are unknown, worked out when asked: for values that were computed without their traces."""

    def __init__(self, sheet: Sheet, values: Mapping[str, Value | Sided]) -> None:
        self.sheet, self.known = sheet, values

    def __getitem__(self, name: str) -> str:
        computation = self.sheet.by_name.get(name)
        if computation is None:
            return self.sheet.why_constant_unknown[name]
        if self.known.get(name) is not None:
            raise KeyError(name)
        return _fact(computation, self.known, self).why_unknown

    def __iter__(self) -> Iterator[str]:
        return iter((*self.sheet.why_constant_unknown, *self.sheet.by_name))

    def __len__(self) -> int:
        return len(self.sheet.why_constant_unknown) + len(self.sheet.by_name)


def missing_for(
    name: str, sheet: Sheet, values: Mapping[str, Value | Sided], why_unknown: Mapping[str, str]
) -> dict[str, Missing]:
    """What must be found out before a quantity is known: settings and readings, or entries of a card."""
    found: dict[str, Missing] = {}
    computation = sheet.by_name.get(name)
    if computation is None:
        quantity = sheet.names.get(name)
        if name in sheet.constants or quantity is None:
            return {name: Missing(name, why_unknown.get(name, ""), "Add it to the card, from the machine's manual.")}
        how = quantity.how
        if quantity.role is Role.BUILD:
            how = "State it under unit.fitted; serial and build year can't decide it."
        return {name: Missing(name, quantity.meaning, how)}
    for argument in computation.args:
        if isinstance(argument, Constant):
            if argument.value is None:
                found[argument.name] = Missing(argument.name, argument.why_unknown, "Add it to the card.")
        elif argument_value(argument, values) is None:
            found |= missing_for(argument.name, sheet, values, why_unknown)
    if not found:  # every input is there, but the formula refused them
        found[name] = Missing(name, computation.meaning, why_unknown.get(name, ""))
    return found
