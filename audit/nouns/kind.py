"""Kinds of shaft, drive and part: what a card must state of one, what can be read on it, what is computed from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from audit.nouns.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Parameter:
    """A property that a machine card states of a component.

    Its value may be one constant or, on the card, depend on a setting or build: ``{by: feeder.drive_sprocket,
    small: 17, large: 21}``. ``unit`` is '' for words; ``words`` closes the list of words.
    """

    name: str
    unit: str
    meaning: str
    required: bool = True
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class In:
    """An argument that the formula takes in another unit than the canonical one."""

    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class FactOf:
    """A fact that a kind adds to each of its components.

    Attributes:
        name: attribute name; the fact is ``<component>.<name>``.
        function: a marked formula; its ``unit``, which is canonical, is the fact's.
        args: where each argument comes from: an attribute of the component itself (``centre``), of the shafts
            that a drive joins (``driver.speed``, ``driven.measured_speed``), a full name (``job.ground_speed``),
            an end of a target (``target.thresher.tip_speed.low``), a measure of the crop card
            (``crop.test_weight``), or a number.
        needs_all: unknown as soon as one argument is; False for a formula that itself takes None.
    """

    name: str
    meaning: str
    function: Callable[..., float | str | None]
    args: tuple[str | float | In, ...]
    needs_all: bool = True


@dataclass(frozen=True, slots=True)
class Carry:
    """How a drive hands speed on: the driven shaft's speed from the driver's, ``args[0]`` being the driver speed.

    A variable drive gives other arguments at its slow and its fast end.
    """

    function: Callable[..., float]
    args: tuple[str | float, ...]
    slow_args: tuple[str | float, ...]
    fast_args: tuple[str | float, ...]

    @property
    def variable(self) -> bool:
        return self.slow_args != self.args or self.fast_args != self.args


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of component. ``families`` are the names under which a rule may ask for it, widest first."""

    name: str
    families: tuple[str, ...]
    meaning: str
    parameters: tuple[Parameter, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    facts: tuple[FactOf, ...] = ()
    carry: Carry | None = field(default=None)
