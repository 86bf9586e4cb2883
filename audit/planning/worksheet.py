"""The work sheet of a check sheet: what can be done on the machine, and what each question depends on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from audit.conditions import comparisons, limits
from audit.nouns.quantity import Quantity, Role, Sided, Value
from audit.nouns.rule import Pointer, RecordedAfter
from audit.nouns.rulebook import Rulebook
from audit.planning.candidates import Candidates
from audit.planning.probes import Probe, Probes
from audit.planning.tasks import Tasks, as_set, tasks_of
from audit.sheet import Sheet

Values = Mapping[str, Value | Sided]

WHEN_DONE = 1e12
"""Time of an event that the plan will record, plus its place in the order of work: later than any recorded one."""


class _Alone(dict[Any, tuple[int, ...]]):
    """Numbers of the questions that look at one input alone and fail, by its value; remembered."""

    def __init__(self, probes: Sequence[Probe], numbers: Iterable[int]) -> None:
        super().__init__()
        self.probes, self.numbers = probes, tuple(numbers)

    def __missing__(self, value: Any) -> tuple[int, ...]:
        found = tuple(number for number in self.numbers if not self.probes[number][value])
        if len(self) >= _MOST_REMEMBERED:
            self.clear()
        self[value] = found
        return found


_MOST_REMEMBERED = 4096


@dataclass(frozen=True, slots=True)
class WorkSheet:
    """Attributes:
    probes: one for each question, in the sheet's order.
    by_input: numbers of the questions that depend on a quantity.
    cures: by question, set of the tasks that its rule names as cure, and of those that move a setting which it
        depends on beside a reading: the reading is then taken anew. Not where the setting is the limit: a shaft that
        turns otherwise than set is not mended by asking for another speed. A question on one component is cured by
        work on that component, on the shafts that it joins as a drive, or on the drive that turns it as a shaft.
    inputs: every quantity that some question depends on.
    movable: those that some procedure moves or brings right.
    follows: by event, the event that some rule wants recorded after it.
    read_at: by reading, the settings that some question on it depends on too.
    depth: of an event, how many others must be recorded before it.
    """

    sheet: Sheet
    rulebook: Rulebook
    tasks: Tasks
    probes: tuple[Probe, ...]
    by_input: Mapping[str, tuple[int, ...]]
    cures: tuple[int, ...]
    inputs: tuple[str, ...]
    candidates: Candidates
    movable: frozenset[str]
    follows: Mapping[str, str]
    depth: Mapping[str, int]
    read_at: Mapping[str, frozenset[str]]
    _blank: Mapping[str, Value | Sided]
    _sided: tuple[str, ...]
    _single: tuple[tuple[str, _Alone], ...]
    _joint: tuple[tuple[int, Probe, Any], ...]

    def filled(self, values: Values) -> dict[str, Value | Sided]:
        """A setup's values with None for what is not known."""
        found = {**self._blank, **values}
        for name in self._sided:
            if found[name] == (None, None):
                found[name] = None
        return found

    def failing(self, values: Values) -> list[int]:
        """Numbers of the questions that are broken or unknown; ``values`` must be filled."""
        found: list[int] = []
        for name, answers in self._single:
            found += answers[values[name]]
        found += [number for number, probe, pick in self._joint if not probe[pick(values)]]
        found.sort()
        return found

    def time_of(self, event: str) -> float:
        """When the plan will record an event: after every recorded one, and after those it must follow."""
        return WHEN_DONE + self.depth.get(event, 0)

    def quantity(self, name: str) -> Quantity:
        return self.sheet.names[name]


def make_worksheet(sheet: Sheet, rulebook: Rulebook) -> WorkSheet:
    """The work sheet of a check sheet."""
    probes = Probes(sheet, {"job.crop": sheet.crop.id})
    made = tuple(probes.probe(question) for question in sheet.questions)
    follows = _follows(sheet)
    tasks = tasks_of(sheet.card, sheet.names, rulebook, follows)
    depth = {event: _depth(event, follows) for event in follows.values()}
    by_input: dict[str, list[int]] = {}
    for number, probe in enumerate(made):
        for name in probe.inputs:
            by_input.setdefault(name, []).append(number)
    single: dict[str, list[int]] = {}
    for number, probe in enumerate(made):
        if len(probe.inputs) == 1:
            single.setdefault(probe.inputs[0], []).append(number)
    return WorkSheet(
        sheet,
        rulebook,
        tasks,
        made,
        {name: tuple(numbers) for name, numbers in by_input.items()},
        tuple(as_set(_cures(probe, tasks, sheet)) for probe in made),
        tuple(by_input),
        Candidates(sheet.card, probes, sheet.questions),
        frozenset(name for name in tasks.remedies if sheet.names[name].role is not Role.JOB),
        follows,
        depth,
        _read_at(made, sheet),
        dict.fromkeys((*sheet.names, *by_input)),
        tuple(name for name in (*sheet.names, *by_input) if name in sheet.names and sheet.names[name].sided),
        tuple((name, _Alone(made, numbers)) for name, numbers in single.items()),
        tuple((n, probe, _picker(probe.inputs)) for n, probe in enumerate(made) if len(probe.inputs) != 1),
    )


def _picker(inputs: tuple[str, ...]) -> Any:
    return itemgetter(*inputs) if inputs else lambda _: ()


def _follows(sheet: Sheet) -> dict[str, str]:
    """By event, the event that some rule wants recorded after it."""
    return {
        compare.relation.event: compare.quantity
        for question in sheet.questions
        for compare in comparisons(question.hold)
        if isinstance(compare.relation, RecordedAfter)
    }


def _read_at(probes: Iterable[Probe], sheet: Sheet) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for probe in probes:
        settings = {name for name in probe.inputs if sheet.names[name].role is Role.SETTING}
        for name in probe.inputs:
            if settings and sheet.names[name].role is Role.READING:
                found.setdefault(name, set()).update(settings)
    return {name: frozenset(settings) for name, settings in found.items()}


def _depth(event: str, follows: Mapping[str, str]) -> int:
    earlier = [first for first, later in follows.items() if later == event]
    return 1 + max(_depth(first, follows) for first in earlier) if earlier else 0


def _cures(probe: Probe, tasks: Tasks, sheet: Sheet) -> Iterator[int]:
    named = set(probe.question.rule.cure)
    near = _joined(probe.question.on, sheet)
    readings = any(sheet.names[name].role is Role.READING for name in probe.inputs)
    wanted = {
        limit.name
        for compare in comparisons(probe.question.hold)
        for limit in limits(compare.relation)
        if isinstance(limit, Pointer)
    }
    for name in probe.inputs:
        taker = tasks.takers.get(name)
        if taker is not None and tasks.all[taker].key[0] in named:
            yield taker
        # a reading that is held to a setting itself is not mended by moving what was asked for
        upstream = readings and sheet.names[name].role is Role.SETTING and name not in wanted
        for number in tasks.remedies.get(name, ()):
            procedure, on = tasks.all[number].key
            if upstream or (procedure in named and (not near or not on or on in near)):
                yield number


def _joined(on: str, sheet: Sheet) -> frozenset[str]:
    """A component with the shafts that it joins, or with the drive that turns it; empty for none."""
    if not on:
        return frozenset()
    drives = sheet.card.drives
    return frozenset(
        [on, *(end for drive in drives if drive.id == on for end in (drive.driver, drive.driven)),
         *(drive.id for drive in drives if drive.driven == on)]
    )  # fmt: skip
