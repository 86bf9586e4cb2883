"""The marker that makes a function a formula: a name, an equation, a unit and a source that reports can show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


class OutOfRange(ValueError):
    """An argument lies outside the range for which the formula holds.

    The message names the argument, the value and the range, so that it can be shown as it stands.
    """


@dataclass(frozen=True, slots=True)
class Formula:
    """What a reader needs to trust a computed number.

    Attributes:
        name: the field's standard name of the formula.
        equation: the equation as text, in the symbols of the docstring.
        unit: unit of the result as the measures table writes it; '' for a word or yes/no.
        source: a key of ``rules/sources.yaml``, or ``definition``, ``common practice``, ``memory``.
        at: place in that source; '' where the whole source is meant.
    """

    name: str
    equation: str
    unit: str
    source: str
    at: str = ""


def formula(
    *, name: str, equation: str, unit: str, source: str, at: str = ""
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Mark a pure function as a formula; read it back with ``formula_of``."""
    marked = Formula(name=name, equation=equation, unit=unit, source=source, at=at)

    def mark(function: Callable[P, R]) -> Callable[P, R]:
        function.__formula__ = marked  # type: ignore[attr-defined]
        return function

    return mark


def formula_of(function: Callable[..., object]) -> Formula:
    """The formula's sheet. Raises AttributeError for a function that is not marked."""
    found: Formula = function.__formula__  # type: ignore[attr-defined]
    return found


def within(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """The value itself, or OutOfRange when it is not in [low, high] (NaN never is)."""
    if not low <= value <= high:
        space = f" {unit}" if unit else ""
        raise OutOfRange(f"{name} is {value:g}{space}; this formula holds from {low:g} to {high:g}{space}")
    return value
