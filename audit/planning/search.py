"""Looks for setups near a legal one that some questions want and all others allow."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, islice, product
from random import Random

from audit.nouns.quantity import Form, Role, Sided, Value
from audit.planning.choice import Demand, Option
from audit.planning.planner import HEADER
from audit.planning.probes import Probe
from audit.planning.solver import OutOfTime, cheapest
from audit.planning.worksheet import Values, WorkSheet

EARLIER, LATER = 1e9, 2e9
"""Two times for events, seconds since 1970."""

# how far a search goes; what it finds within them is proven, what it does not find is said to be undecided
MOST_PAIRS = 2000
PATIENT = 30
_LOOKS = 10_000
_MOST_TRIED = 20
_MANY = 4
_MOST_NEIGHBOURS = 20
_STARTS = 60
_MENDINGS = 40

Row = list[Value | Sided]
Want = Callable[[Probe, Row], bool]


def holds(probe: Probe, row: Row) -> bool:
    """The question is kept, or not asked."""
    return probe[row[0] if len(row) == 1 else tuple(row)]


def breaks(probe: Probe, row: Row) -> bool:
    """The question is broken."""
    return probe.broken(*row)


def asked_and_kept(probe: Probe, row: Row) -> bool:
    """The question is asked and kept."""
    return probe.asked(*row) and holds(probe, row)


@dataclass(frozen=True, slots=True)
class Found:
    """A setup that was looked for and what was changed for it."""

    values: dict[str, Value | Sided]
    changed: tuple[str, ...]


class Search:
    """Looks for setups near a legal one.

    Args:
        base: a legal setup, filled.
    """

    def __init__(self, worksheet: WorkSheet, base: Values) -> None:
        self.worksheet, self.base = worksheet, worksheet.filled(base)
        self.kept: dict[str, list[Option]] = {}
        self.left = _LOOKS
        self.any_header = False

    def find(
        self, wanted: Mapping[int, Want], free: frozenset[int] = frozenset(), looks: int = 1
    ) -> Found | frozenset[int]:
        """The nearest setup that the wanted questions want and all others keep.

        Args:
            wanted: by number of a question, what is wanted of it.
            free: questions that may be broken.
            looks: how long to look, in ten thousands of questions tried: a proof must not depend on the clock.

        Raises: OutOfTime: it was not decided in so many looks.
        Returns: else the numbers of the questions that were held to when it was certain that there is none.
        """
        self.left = looks * _LOOKS
        self.any_header = any(self.worksheet.probes[number].inputs == (HEADER,) for number in wanted)
        if len(wanted) == 1:
            ((number, want),) = wanted.items()
            near = self.near(number, want, free, self.worksheet.probes[number].inputs)
            if near is None and looks > 1:
                names = self.neighbours(number)
                near = self.near(number, want, free, names) or self.by_chance(number, want, free, names)
            if near is not None:
                return near
        probes = self.worksheet.probes
        active = set(wanted)
        while True:
            looked_at = {name for number in active for name in probes[number].inputs}
            asked = set(active)
            for name in looked_at:
                asked.update(n for n in self.worksheet.by_input[name] if looked_at.issuperset(probes[n].inputs))
            chosen = self.choose(looked_at, sorted(asked - free | set(wanted)), wanted)
            if chosen is None:
                return frozenset(asked - free | set(wanted))
            values = {**self.base, **chosen}
            wrong = {n for n in self.worksheet.failing(values) if n not in wanted and n not in free}
            if not wrong:
                changed = tuple(sorted(name for name, value in chosen.items() if value != self.base[name]))
                return Found(values, changed)
            if wrong <= active:
                raise RuntimeError("a setup was found that breaks what it was held to")
            active |= wrong

    def near(self, number: int, want: Want, free: frozenset[int], names: tuple[str, ...]) -> Found | None:
        """The same where changing one or two of some quantities is enough: most often it is."""
        for size in range(min(3, len(names) + 1)):
            for some in combinations(names, size):
                options = [self.options(name)[1:] for name in some]
                for chosen in islice(product(*options), MOST_PAIRS):
                    changed = {name: option.value for name, option in zip(some, chosen, strict=True)}
                    if self.wants(number, want, free, changed):
                        return Found({**self.base, **changed}, tuple(sorted(changed)))
        return None

    def by_chance(self, number: int, want: Want, free: frozenset[int], names: tuple[str, ...]) -> Found | None:
        """The same by mending at random what a wanted change breaks, for questions that much hangs together with."""
        if len(names) < _MANY:
            return None
        chance = Random(number)
        for _ in range(_STARTS):
            changed: dict[str, Value | Sided] = {}
            for _ in range(_MENDINGS):
                failing = self.failing(number, want, free, names, changed)
                if not failing:
                    return self.put_back(number, want, free, changed)
                name = chance.choice([n for n in self.worksheet.probes[chance.choice(failing)].inputs if n in names])
                tried = [
                    (len(self.failing(number, want, free, names, {**changed, name: value})), chance.random(), value)
                    for value in self.now_worth(name, changed)
                ]
                changed[name] = min(tried, key=lambda one: one[:2])[2]
        return None

    def failing(
        self, number: int, want: Want, free: frozenset[int], names: tuple[str, ...],
        changed: Mapping[str, Value | Sided],
    ) -> list[int]:  # fmt: skip
        """Questions on some quantities that a change does not suit, the wanted one included."""
        probes = self.worksheet.probes
        values = {**self.base, **changed}
        asked = sorted({n for name in names for n in self.worksheet.by_input[name]} - {number} - free)
        found = [n for n in asked if not probes[n].suits(values)]
        if not want(probes[number], [values[name] for name in probes[number].inputs]):
            found += [number] * len(probes)  # counts more than all others
        return found

    def put_back(self, number: int, want: Want, free: frozenset[int], changed: Mapping[str, Value | Sided]) -> Found:
        """A change without what need not differ."""
        for name in list(changed):
            less = {other: value for other, value in changed.items() if other != name}
            if self.wants(number, want, free, less):
                changed = less
        return Found({**self.base, **changed}, tuple(sorted(changed)))

    def now_worth(self, name: str, changed: Mapping[str, Value | Sided]) -> list[Value | Sided]:
        """Values of a quantity worth trying once some others were changed."""
        quantity = self.worksheet.quantity(name)
        if quantity.form is not Form.NUMBER or quantity.sided:
            return [option.value for option in self.options(name)]
        tried = self.worksheet.candidates.of(name, {**self.base, **changed}, frozenset())
        return [*tried] or [self.base[name]]

    def neighbours(self, number: int) -> tuple[str, ...]:
        """Quantities that a question depends on, and those that other questions on them depend on too."""
        probes = self.worksheet.probes
        found = dict.fromkeys(probes[number].inputs)
        for name in probes[number].inputs:
            for other in self.worksheet.by_input[name]:
                found.update(dict.fromkeys(probes[other].inputs))
        return tuple(found) if len(found) <= _MOST_NEIGHBOURS else probes[number].inputs

    def wants(self, number: int, want: Want, free: frozenset[int], changed: Mapping[str, Value | Sided]) -> bool:
        """Whether a change does what is wanted of a question and all others allow it."""
        probes = self.worksheet.probes
        row = [changed.get(name, self.base[name]) for name in probes[number].inputs]
        if not want(probes[number], row):
            return False
        values = {**self.base, **changed}
        others = {n for name in changed for n in self.worksheet.by_input[name]} - {number} - free
        return all(probes[other].suits(values) for other in others)

    def choose(
        self, looked_at: set[str], asked: list[int], wanted: Mapping[int, Want]
    ) -> dict[str, Value | Sided] | None:
        """Values of some quantities that are wanted, None if there are none."""
        options = {name: self.options(name) for name in sorted(looked_at)}
        demands = [self.demand(number, wanted.get(number, holds)) for number in asked]
        found = cheapest(options, demands, lambda _: (0, 0), lambda: False)
        return None if found is None else {name: option.value for name, option in found.options.items()}

    def demand(self, number: int, want: Want) -> Demand:
        probe = self.worksheet.probes[number]

        def wants(row: tuple[Value | Sided, ...]) -> bool:
            self.left -= 1
            if self.left < 0:
                raise OutOfTime
            return want(probe, [*row])

        return Demand(probe.inputs, wants)

    def options(self, name: str) -> list[Option]:
        """A quantity as it is, and every other value worth trying, on one side and on both."""
        if name == HEADER and not self.any_header:
            return [Option(self.base[name])]
        if name not in self.kept:
            self.kept[name] = [Option(self.base[name]), *(Option(value, moved=1) for value in self.others(name))]
        return self.kept[name]

    def others(self, name: str) -> Iterator[Value | Sided]:
        quantity = self.worksheet.quantity(name)
        as_is = self.base[name]
        if quantity.role is Role.BUILD:
            return
        if quantity.form is Form.TIME:
            yield from (EARLIER, LATER)
            return
        tried = self.worksheet.candidates.of(name, self.base, frozenset(self.worksheet.inputs))
        spread = tried[:: -(-len(tried) // _MOST_TRIED)] if tried else ()
        for value in spread:
            if not quantity.sided:
                if value != as_is:
                    yield value
                continue
            pairs: list[Value | Sided] = [(value, value)]
            if isinstance(as_is, tuple):
                pairs += [(value, as_is[1]), (as_is[0], value)]
            yield from (pair for pair in dict.fromkeys(pairs) if pair != as_is)
