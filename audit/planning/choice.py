"""What is chosen between and what a choice is held to: options, demands, cost."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from audit.nouns.quantity import Sided, Value


class Option(NamedTuple):
    """One way in which a quantity may end up.

    Attributes:
        tasks: set of tasks it takes, everything that they call for included.
        by: number of the task that brings it about; -1 for as found.
        moved: 1 if something is moved or brought right.   change: how far, in millionths of its range.
        needs: tasks that some other quantity's option must call for: a reading is taken again only then.
    """

    value: Value | Sided
    tasks: int = 0
    by: int = -1
    moved: int = 0
    change: int = 0
    needs: int = 0

    def cures(self, tasks: int) -> bool:
        """Whether it does one of some tasks, or is a change that takes no work: that mends whatever it touches."""
        return bool(self.tasks & tasks) or (self.by < 0 and bool(self.moved))


Cost = tuple[int, int, int, int]
"""Seconds, parts, moves, and change."""

Price = Callable[[int], tuple[int, int]]
"""Seconds and parts of a set of tasks; what is in the set is paid once."""

Row = tuple[Value | Sided, ...]


def _never(_: Row) -> bool:
    return False


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """A constraint on some quantities.

    Attributes:
        scope: the quantities.   holds: whether it suits their values, given in this order.
        cures: set of tasks of which one must be done for it by an option in its scope; None where it needs none.
        excused: whether by these values no cure is asked for.
    """

    scope: tuple[str, ...]
    holds: Callable[[Row], bool]
    cures: int | None = None
    excused: Callable[[Row], bool] = _never

    def suits(self, options: Iterable[Option]) -> bool:
        """Whether it suits options of its quantities, given in order."""
        chosen = tuple(options)
        row = tuple([option.value for option in chosen])
        if not self.holds(row):
            return False
        return self.cures is None or any(option.cures(self.cures) for option in chosen) or self.excused(row)
