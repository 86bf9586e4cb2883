"""Computed facts, each with the trace that shows where it came from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from audit.nouns.quantity import Value


@dataclass(frozen=True, slots=True)
class Constant:
    """A value that does not depend on the setup; None where a card does not state it, and ``why_unknown`` says so."""

    value: Value
    name: str = ""
    why_unknown: str = ""


@dataclass(frozen=True, slots=True)
class Ref:
    """An argument that is another quantity of the sheet, times a factor where the formula takes another unit."""

    name: str
    factor: float = 1.0


Argument = Constant | Ref


@dataclass(frozen=True, slots=True)
class Computation:
    """One fact as it will be computed on a check sheet."""

    name: str
    meaning: str
    unit: str
    function: Callable[..., Value]
    args: tuple[Argument, ...]
    needs_all: bool = True


@dataclass(frozen=True, slots=True)
class Fact:
    """A computed fact with its trace.

    Attributes:
        value: in ``unit``; None when it could not be computed, and ``why_unknown`` then says why.
        formula, equation, source, at: the formula's sheet.
        inputs: (name, value) of every argument, in order.
    """

    name: str
    meaning: str
    value: Value
    unit: str
    formula: str
    equation: str
    source: str
    at: str
    inputs: tuple[tuple[str, Value], ...]
    why_unknown: str = ""
