"""The setups of one unit in order: their values, when they were taken, and at which engine hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from audit.facts import compute
from audit.history.line import fit_line
from audit.intake.moments import read_moment
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.quantity import Sided, Value
from audit.nouns.setup import Setup
from audit.sheet import Sheet

HOURS = "unit.engine_hours"
_DAY, _HOUR = 86400.0, 3600.0
SheetOf = Callable[[str, str], Sheet]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Attributes, each by the setup's place:
    values: settings, readings, events and computed facts.
    at: seconds since 1970, None for not known.   hours: engine hours, None for not known.
    """

    setups: tuple[Setup, ...]
    values: tuple[Mapping[str, Value | Sided], ...]
    at: tuple[float | None, ...]
    hours: tuple[float | None, ...]

    def __len__(self) -> int:
        return len(self.setups)

    def visit_of(self, place: int) -> int | None:
        """For a setup as left, the place of the setup as found just before it; None where there is none."""
        states = [setup.taken.state for setup in self.setups[max(0, place - 1) : place + 1]]
        return place - 1 if states == ["as-found", "as-left"] else None

    def last_hours(self) -> tuple[float | None, float | None]:
        """The last engine hours that are known, and when they were read; None for not known."""
        known = [(hours, at) for hours, at in zip(self.hours, self.at, strict=True) if hours is not None]
        return known[-1] if known else (None, None)

    def hours_between(self, after: int, before: int, at: float | None) -> tuple[float | None, float | None]:
        """Engine hours between which something was done: after one setup and before another, at a time if known.

        An engine runs no more hours than go by, so the time between the work and a setup bounds the hours between
        them; a clock that contradicts the hour meter gives way to it.
        """
        lows = [hours for hours in self.hours[: after + 1] if hours is not None]
        highs = [hours for hours in self.hours[before:] if hours is not None]
        low, high = lows[-1] if lows else None, highs[0] if highs else None
        if at is None:
            return low, high
        for place, (hours, taken) in enumerate(zip(self.hours, self.at, strict=True)):
            if hours is None or taken is None:
                continue
            if place >= before and taken >= at:
                reckoned = max(0.0, hours - (taken - at) / _HOUR)
                low = reckoned if low is None else max(low, reckoned)
            elif place <= after and taken <= at:
                reckoned = hours + (at - taken) / _HOUR
                high = reckoned if high is None else min(high, reckoned)
        if low is not None and high is not None and low > high:
            return (lows[-1] if lows else 0.0), (highs[0] if highs else None)
        return low, high

    def hours_per_day(self, places: Sequence[int]) -> float | None:
        """Engine hours a day over some setups, fitted; None where fewer than two tell, or the hours stand still."""
        both = [(self.at[place], self.hours[place]) for place in places]
        known = [(at / _DAY, hours) for at, hours in both if at is not None and hours is not None]
        line = fit_line([at for at, _ in known], [hours for _, hours in known])
        return line.slope if line is not None and line.slope > 0.0 else None


def make_timeline(sheet: SheetOf, setups: Sequence[Setup]) -> Timeline:
    """The setups with their facts.

    Args:
        sheet: the check sheet of a card for a crop.
        setups: at least one, all of one unit and card, in the order in which they were taken.

    Raises:
        BadInput: with every setup that is of another unit or card, goes back in time, or whose engine hours go back.
    """
    problems: list[Problem] = []
    at = tuple(read_moment(setup.taken.at) if setup.taken.at else None for setup in setups)
    hours = tuple(_hours(setup) for setup in setups)
    if not setups:
        problems.append(Problem(Place("setups"), "are missing.", "A history needs at least one."))
    last_at, last_hours = 0, 0  # places of the last ones known
    for place, setup in enumerate(setups):
        here, shown = Place(f"setup {place + 1} of {setup.unit.id}"), setup.taken.at or "time not stated"
        first = setups[0].unit
        if (setup.unit.id, setup.unit.card) != (first.id, first.card):
            problems.append(
                Problem(here, f"is of {setup.unit.id} ({setup.unit.card}), not of {first.id} ({first.card}).")
            )
        now, before = at[place], at[last_at]
        if now is not None:
            if before is not None and now < before:
                problems.append(
                    Problem(here, f"({shown}) was taken before setup {last_at + 1}.", "Put the setups in order.")
                )
            last_at = place
        run, had = hours[place], hours[last_hours]
        if run is not None:
            if had is not None and run < had:
                message = f"({shown}) has {run:g} engine hours, setup {last_hours + 1} before it has {had:g}."
                problems.append(Problem(here, message, "Engine hours only go up; correct the one that is wrong."))
            last_hours = place
    if problems:
        raise BadInput(problems)
    values = tuple(compute(sheet(setup.unit.card, setup.crop), setup).values for setup in setups)
    return Timeline(tuple(setups), values, at, hours)


def _hours(setup: Setup) -> float | None:
    hours = setup.values.get(HOURS)
    return hours if isinstance(hours, float) else None
