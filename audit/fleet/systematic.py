"""The same fault on many machines, told apart from chance: by farm, by machine type, by who took the setup, by build.

Machines are compared only with machines that are asked the same: of one card, set for one crop with one kind of
header. So a farm that grows another crop, or has other machines, is no farm with a habit. A machine on which the rule
could not be answered counts on neither side.

Source of the search along serial numbers and years: Kulldorff, M.: A spatial scan statistic. Communications in
Statistics - Theory and Methods 26 (1997): the stretch whose likelihood ratio is greatest. Its probability is exact for
that one stretch and then multiplied by the number of stretches it was chosen from (Bonferroni), at most 1.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from fractions import Fraction
from math import log
from operator import attrgetter
from typing import NamedTuple

from audit.fleet.chance import Table, at_least_as_many, false_discovery_rates, odds
from audit.fleet.units import Audited, Fleet

MOST_RATE = Fraction(1, 20)
"""False discovery rate up to which a concentration is told."""
_MOST_BLOCKS = 60
"""Serial numbers of one card are cut into at most so many equal blocks, and stretches begin and end with blocks."""

Asked = Mapping[tuple[str, str], Set[str]]
"""Rules that are on the check sheet of a card (first) for a crop (second)."""
Like = tuple[str, ...]
Key = int | tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Machines that share something: ``by`` 'farm', 'card', 'taken by', 'build year' or 'serial'; ``last`` is '' for
    one value, else the end of a stretch whose start is ``name``; ``card`` is '' unless the stretch is within one."""

    by: str
    name: str
    last: str = ""
    card: str = ""


@dataclass(frozen=True, slots=True)
class Concentration:
    """A fault that is commoner in some machines than in the rest.

    Attributes:
        groups: every group of exactly these broken machines that passed, surest first.
        broken, machines: in the first group.   broken_rest, rest: in all comparable machines outside it.
        probability: of so many or more by chance, of the first group.
        rate: false discovery rate over all tests of this fleet.
        units: broken machines of the first group.
    """

    rule: str
    groups: tuple[Group, ...]
    broken: int
    machines: int
    broken_rest: int
    rest: int
    probability: Fraction
    rate: Fraction
    units: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Common:
    """A rule that is broken on several machines; ``compared``: machines that could have it, the unanswered left out."""

    rule: str
    units: tuple[str, ...]
    compared: int
    hours: float


@dataclass(frozen=True, slots=True)
class Systematic:
    """Faults on many machines, and where they are concentrated; ``tests``: how many were made."""

    common: tuple[Common, ...]
    concentrated: tuple[Concentration, ...]
    tests: int


@dataclass(frozen=True, slots=True)
class _Test:
    rule: str
    group: Group
    tables: tuple[Table, ...]
    probability: Fraction
    units: tuple[str, ...]


def systematic(fleet: Fleet, asked: Asked) -> Systematic:
    """Faults on two machines or more, and the groups in which they are commoner than chance would have it."""
    broken: dict[str, set[str]] = defaultdict(set)
    unknown: dict[str, set[str]] = defaultdict(set)
    hours: dict[str, float] = defaultdict(float)
    for unit in fleet.units:
        for finding in unit.broken:
            broken[finding.rule].add(unit.line.unit)
            hours[finding.rule] += finding.downtime
        for finding in unit.unknown:
            unknown[finding.rule].add(unit.line.unit)
    machines = [_machine(unit) for unit in fleet.units]
    tests: list[_Test] = []
    common: list[Common] = []
    for rule in sorted(rule for rule, units in broken.items() if len(units) > 1):
        on_sheet = {job for job, rules in asked.items() if rule in rules}
        neither = unknown[rule] - broken[rule]
        compared = [one for one in machines if one.job in on_sheet and one.unit not in neither]
        common.append(Common(rule, tuple(sorted(broken[rule])), len(compared), hours[rule]))
        tests += _tests(rule, compared, broken[rule])
    rates = false_discovery_rates([test.probability for test in tests])
    common.sort(key=lambda one: (-len(one.units), -one.hours, one.rule))
    return Systematic(tuple(common), _told(tests, rates), len(tests))


class _Machine(NamedTuple):
    """What the tests ask of one machine.

    Attributes:
        job: card and crop.   like_machine, like_job: what a machine must share with it to be compared.
        serial: as a key that puts serial numbers in order, empty for none.
    """

    unit: str
    job: tuple[str, str]
    like_machine: Like
    like_job: Like
    farm: str
    by: str
    card: str
    build_year: int | None
    serial: tuple[tuple[int, str], ...]
    serial_shown: str


def _machine(unit: Audited) -> _Machine:
    line = unit.line
    return _Machine(
        unit=line.unit,
        job=(line.card, line.crop),
        like_machine=(line.card, line.crop, line.header_kind),
        like_job=(line.crop, line.header_kind),
        farm=line.farm,
        by=line.by,
        card=line.card,
        build_year=line.build_year,
        serial=in_order(line.serial),
        serial_shown=line.serial,
    )


def _told(tests: Sequence[_Test], rates: Sequence[Fraction]) -> tuple[Concentration, ...]:
    """What passed, surest first; groups of the same broken machines stand as one."""
    passed = sorted(
        ((rate, test) for rate, test in zip(rates, tests, strict=True) if rate <= MOST_RATE),
        key=lambda pair: (pair[0], pair[1].probability, pair[1].rule, pair[1].group.by, pair[1].group.name),
    )
    alike: dict[tuple[str, tuple[str, ...]], list[tuple[Fraction, _Test]]] = defaultdict(list)
    for rate, test in passed:
        alike[test.rule, test.units].append((rate, test))
    told = []
    for (rule, units), found in alike.items():
        rate, first = found[0]
        groups = tuple(test.group for _, test in found)
        told.append(Concentration(rule, groups, *odds(first.tables), first.probability, rate, units))
    return tuple(told)


def _tests(rule: str, compared: Sequence[_Machine], broken: Set[str]) -> Iterator[_Test]:
    """Every test of one rule: each group that leaves someone outside."""
    alike = _Alike(compared, broken, _LIKE_MACHINE)
    yield from _of_groups(rule, "farm", compared, lambda one: one.farm, alike)
    yield from _of_groups(rule, "taken by", compared, lambda one: one.by, alike)
    yield from _of_groups(rule, "card", compared, lambda one: one.card, _Alike(compared, broken, _LIKE_JOB))
    for card in sorted({one.card for one in compared}):
        machines = [one for one in compared if one.card == card]
        years = [(one.build_year, one) for one in machines if one.build_year is not None]
        yield from _of_stretch(rule, "build year", years, broken, lambda one: str(one.build_year))
        serials = [(one.serial, one) for one in machines if one.serial]
        yield from _of_stretch(rule, "serial", serials, broken, lambda one: one.serial_shown)


def _of_groups(
    rule: str, by: str, compared: Sequence[_Machine], name_of: Callable[[_Machine], str], alike: _Alike
) -> Iterator[_Test]:
    groups: dict[str, list[_Machine]] = defaultdict(list)
    for one in compared:
        if name := name_of(one):
            groups[name].append(one)
    for name, members in sorted(groups.items()):
        if len(members) < len(compared):
            tables = alike.tables(members)
            yield _Test(rule, Group(by, name), tables, at_least_as_many(tables), alike.broken_of(members))


def _of_stretch(
    rule: str,
    by: str,
    keyed: Iterable[tuple[Key, _Machine]],
    broken: Set[str],
    shown: Callable[[_Machine], str],
) -> Iterator[_Test]:
    """The densest stretch along an order, if there is any."""
    keyed = sorted(keyed, key=lambda pair: (pair[0], pair[1].unit))
    found = _stretch([key for key, _ in keyed], [one.unit in broken for _, one in keyed])
    if found is not None:
        first, last, stretches = found
        alike = _Alike([one for _, one in keyed], broken, _LIKE_JOB)
        members = [one for _, one in keyed[first : last + 1]]
        tables = alike.tables(members)
        probability = min(Fraction(1), at_least_as_many(tables) * stretches)
        start, end = shown(members[0]), shown(members[-1])
        group = Group(by, start, "" if start == end else end, members[0].card)
        yield _Test(rule, group, tables, probability, alike.broken_of(members))


_LIKE_MACHINE: Callable[[_Machine], Like] = attrgetter("like_machine")
_LIKE_JOB: Callable[[_Machine], Like] = attrgetter("like_job")


class _Alike:
    """Machines in sets of such as can be compared, counted once for all groups."""

    def __init__(self, compared: Sequence[_Machine], broken: Set[str], like: Callable[[_Machine], Like]) -> None:
        self.broken, self.like = broken, like
        self.all = Counter(map(like, compared))
        self.faults = Counter(like(one) for one in compared if one.unit in broken)

    def tables(self, members: Sequence[_Machine]) -> tuple[Table, ...]:
        here = Counter(map(self.like, members))
        faults = Counter(self.like(one) for one in members if one.unit in self.broken)
        return tuple(Table(here[key], faults[key], self.all[key], self.faults[key]) for key in sorted(self.all))

    def broken_of(self, members: Sequence[_Machine]) -> tuple[str, ...]:
        return tuple(sorted(one.unit for one in members if one.unit in self.broken))


def in_order(serial: str) -> tuple[tuple[int, str], ...]:
    """A key that puts serial numbers in the order in which they count: digits by value, the rest by letter."""
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in re.findall(r"[0-9]+|[^0-9]+", serial))


def _stretch(keys: Sequence[Key], faults: Sequence[bool]) -> tuple[int, int, int] | None:
    """The stretch along an order in which faults are densest: its first and last machine, out of how many stretches.

    None where there is nothing to choose from. Machines of one value stand in one block.

    Args:
        keys: in order, one for each machine.   faults: whether each has the fault.
    """
    values = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    if len(values) < 2:
        return None
    blocks = min(len(values), _MOST_BLOCKS)
    block_of = [values[key] * blocks // len(values) for key in keys]
    size, count = [0] * blocks, [0] * blocks
    for block, fault in zip(block_of, faults, strict=True):
        size[block] += 1
        count[block] += fault
    machines, all_faults = len(keys), sum(faults)
    best, chosen = 0.0, None
    for first in range(blocks):
        inside = within = 0
        for last in range(first, blocks):
            inside, within = inside + size[last], within + count[last]
            if inside < machines and within * machines > all_faults * inside:
                gain = _likelihood(within, inside) + _likelihood(all_faults - within, machines - inside)
                if chosen is None or gain > best + 1e-9:
                    best, chosen = gain, (first, last)
    if chosen is None:
        return None
    first, last = block_of.index(chosen[0]), machines - 1 - block_of[::-1].index(chosen[1])
    return first, last, blocks * (blocks + 1) // 2 - 1


def _likelihood(faults: int, machines: int) -> float:
    """Logarithm of the greatest likelihood of so many faults on so many machines."""
    right = machines - faults
    return (faults * log(faults / machines) if faults else 0.0) + (right * log(right / machines) if right else 0.0)
