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

from audit.fleet.chance import Table, at_least_as_many, false_discovery_rates, odds
from audit.fleet.units import Audited, Fleet

MOST_RATE = Fraction(1, 20)
"""False discovery rate up to which a concentration is told."""
_MOST_BLOCKS = 60
"""Serial numbers of one card are cut into at most so many equal blocks, and stretches begin and end with blocks."""

Asked = Mapping[tuple[str, str], Set[str]]
"""Rules that are on the check sheet of a card (first) for a crop (second)."""


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
    tests: list[_Test] = []
    common: list[Common] = []
    for rule in sorted(rule for rule, units in broken.items() if len(units) > 1):
        compared = [
            unit
            for unit in fleet.units
            if rule in asked.get((unit.line.card, unit.line.crop), ())
            and (unit.line.unit in broken[rule] or unit.line.unit not in unknown[rule])
        ]
        common.append(Common(rule, tuple(sorted(broken[rule])), len(compared), hours[rule]))
        tests += _tests(rule, compared, broken[rule])
    rates = false_discovery_rates([test.probability for test in tests])
    common.sort(key=lambda one: (-len(one.units), -one.hours, one.rule))
    return Systematic(tuple(common), _told(tests, rates), len(tests))


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


def _tests(rule: str, compared: Sequence[Audited], broken: Set[str]) -> Iterator[_Test]:
    """Every test of one rule: each group that leaves someone outside."""
    for by, name_of, like in _GROUPINGS:
        groups: dict[str, set[str]] = defaultdict(set)
        for unit in compared:
            if name := name_of(unit):
                groups[name].add(unit.line.unit)
        for name, members in sorted(groups.items()):
            if len(members) < len(compared):
                tables = _tables(compared, members, broken, like)
                units = tuple(sorted(members & broken))
                yield _Test(rule, Group(by, name), tables, at_least_as_many(tables), units)
    cards = sorted({unit.line.card for unit in compared})
    for card in cards:
        machines = [unit for unit in compared if unit.line.card == card]
        for by, key_of, shown in _ORDERS:
            found = _stretch(machines, broken, key_of)
            if found is not None:
                first, last, members, stretches = found
                tables = _tables(machines, members, broken, _like_job)
                probability = min(Fraction(1), at_least_as_many(tables) * stretches)
                group = Group(by, shown(first), "" if shown(first) == shown(last) else shown(last), card)
                yield _Test(rule, group, tables, probability, tuple(sorted(members & broken)))


def _like_machine(unit: Audited) -> tuple[str, ...]:
    return unit.line.card, unit.line.crop, unit.line.header_kind


def _like_job(unit: Audited) -> tuple[str, ...]:
    return unit.line.crop, unit.line.header_kind


_GROUPINGS: tuple[tuple[str, Callable[[Audited], str], Callable[[Audited], tuple[str, ...]]], ...] = (
    ("farm", lambda unit: unit.line.farm, _like_machine),
    ("taken by", lambda unit: unit.line.by, _like_machine),
    ("card", lambda unit: unit.line.card, _like_job),
)
_ORDERS: tuple[tuple[str, Callable[[Audited], object], Callable[[Audited], str]], ...] = (
    ("build year", lambda unit: unit.line.build_year, lambda unit: str(unit.line.build_year)),
    ("serial", lambda unit: in_order(unit.line.serial) or None, lambda unit: unit.line.serial),
)


def _tables(
    compared: Iterable[Audited], members: Set[str], broken: Set[str], like: Callable[[Audited], tuple[str, ...]]
) -> tuple[Table, ...]:
    counts: dict[tuple[str, ...], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for unit in compared:
        count, here, is_broken = counts[like(unit)], unit.line.unit in members, unit.line.unit in broken
        for place, true in enumerate((here, here and is_broken, True, is_broken)):
            count[place] += true
    return tuple(Table(*counts[key]) for key in sorted(counts))


def in_order(serial: str) -> tuple[tuple[int, str], ...]:
    """A key that puts serial numbers in the order in which they count: digits by value, the rest by letter."""
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in re.findall(r"[0-9]+|[^0-9]+", serial))


def _stretch(
    machines: Sequence[Audited], broken: Set[str], key_of: Callable[[Audited], object]
) -> tuple[Audited, Audited, set[str], int] | None:
    """The stretch along an order in which the fault is densest: first and last machine, its units, out of how many.

    None where there is nothing to choose from. Machines of one value stand in one block.
    """
    keyed = [(key, unit) for unit in machines if (key := key_of(unit)) is not None]
    keyed.sort(key=lambda pair: (pair[0], pair[1].line.unit))
    values = list(dict.fromkeys(key for key, _ in keyed))
    if len(values) < 2:
        return None
    block_of = {value: place * min(len(values), _MOST_BLOCKS) // len(values) for place, value in enumerate(values)}
    size, faults = Counter[int](), Counter[int]()
    for key, unit in keyed:
        size[block_of[key]] += 1
        faults[block_of[key]] += unit.line.unit in broken
    blocks, all_faults = len(size), faults.total()
    best, chosen = 0.0, None
    for first in range(blocks):
        inside = count = 0
        for last in range(first, blocks):
            inside, count = inside + size[last], count + faults[last]
            if inside < len(keyed) and count * len(keyed) > all_faults * inside:
                gain = _likelihood(count, inside) + _likelihood(all_faults - count, len(keyed) - inside)
                if chosen is None or gain > best + 1e-9:
                    best, chosen = gain, (first, last)
    if chosen is None:
        return None
    within = [unit for key, unit in keyed if chosen[0] <= block_of[key] <= chosen[1]]
    return within[0], within[-1], {unit.line.unit for unit in within}, blocks * (blocks + 1) // 2 - 1


def _likelihood(faults: int, machines: int) -> float:
    """Logarithm of the greatest likelihood of so many faults on so many machines."""
    share = faults / machines
    return sum(count * log(part) for count, part in ((faults, share), (machines - faults, 1 - share)) if count)
