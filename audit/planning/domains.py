"""Which values of some quantities fit together: sets of values, thinned out until each has partners in every demand.

Values of a quantity are numbered, and a set of them is an integer with a bit for each. What a demand says is looked up
row by row when it is first needed, so that most of a large table is never made (generalised arc consistency: Mackworth,
Consistency in networks of relations, 1977).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product
from math import prod

from audit.nouns.quantity import Sided, Value
from audit.planning.choice import Demand

_MOST_ROWS = 2
"""Rows of a demand that are looked through to thin out values; where there are more, it waits until fewer are left."""

Sets = list[int]
"""By place of a quantity, the set of its values that are left."""

Picked = dict[int, Value | Sided]
"""By place of a quantity, one value."""


class _Table:
    """What one demand says of numbered values: rows are sets of values of one quantity, by those of the others."""

    def __init__(self, demand: Demand, scope: tuple[int, ...], values: Sequence[Sequence[Value | Sided]]) -> None:
        self.demand, self.scope = demand, scope
        self.values = [values[place] for place in scope]
        self.rows: dict[tuple[bool, int, tuple[int, ...]], int] = {}

    def row(self, cured: bool, last: int, others: tuple[int, ...]) -> int:
        """Values of the quantity at place ``last`` that suit the single values of the others."""
        key = cured, last, others
        found = self.rows.get(key)
        if found is None:
            holds, excused = self.demand.holds, self.demand.excused
            rest = iter(others)
            picked = [None if at == last else some[next(rest)] for at, some in enumerate(self.values)]
            found, bit = 0, 1
            for value in self.values[last]:
                picked[last] = value
                row = tuple(picked)
                if holds(row) and (cured or excused(row)):
                    found |= bit
                bit <<= 1
            self.rows[key] = found
        return found

    def thin(self, cured: bool, sets: Sets) -> Sequence[int] | None:
        """Takes out values without partners; returns the quantities that lost some, None if one has none left."""
        scope = self.scope
        if len(scope) == 2:  # most demands, and most of these with one quantity decided
            one, two = sets[scope[0]], sets[scope[1]]
            if not one & (one - 1):
                return self.cut(sets, scope[1], self.row(cured, 1, (one.bit_length() - 1,)))
            if not two & (two - 1):
                return self.cut(sets, scope[0], self.row(cured, 0, (two.bit_length() - 1,)))
            if one.bit_count() > _MOST_ROWS < two.bit_count():
                return ()
        counts = [sets[place].bit_count() for place in scope]
        most = max(counts)
        rows = prod(counts) // most
        if rows > _MOST_ROWS:
            return ()
        last = counts.index(most)
        others = [place for at, place in enumerate(scope) if at != last]
        if rows == 1:
            single = tuple([sets[place].bit_length() - 1 for place in others])
            return self.cut(sets, scope[last], self.row(cured, last, single))
        allowed, found, kept = sets[scope[last]], 0, [0] * len(others)
        for chosen in product(*[numbers(sets[place]) for place in others]):
            row = self.row(cured, last, chosen) & allowed
            if row:
                found |= row
                for at, number in enumerate(chosen):
                    kept[at] |= 1 << number
        if not found:
            return None
        changed = []
        for place, left in zip((scope[last], *others), (found, *kept), strict=True):
            if sets[place] != left:
                sets[place] = left
                changed.append(place)
        return changed

    def cut(self, sets: Sets, place: int, allowed: int) -> Sequence[int] | None:
        """Leaves one quantity only what is allowed; returns it if it lost some, None if nothing is left."""
        left = sets[place] & allowed
        if left == sets[place]:
            return ()
        if not left:
            return None
        sets[place] = left
        return (place,)


class Domains:
    """Sets of values of some quantities under some demands.

    Args:
        values: by quantity, those that bits stand for, in order of preference.
        demands: on two quantities or more, all among these.
        tick: called once for each piece of work; may raise to end it.

    Attributes:
        place: of each quantity in a list of sets.
        around: by place, the set of the demands on the quantity.
        parts: quantities that demands tie together, with the set of these demands.   part_of: number of each place's.
    """

    def __init__(
        self, values: Mapping[str, Sequence[Value | Sided]], demands: Sequence[Demand], tick: Callable[[], None]
    ) -> None:
        self.tick = tick
        self.place = {name: place for place, name in enumerate(values)}
        self.values = [*values.values()]
        self.tables = [
            _Table(demand, tuple([self.place[name] for name in demand.scope]), self.values) for demand in demands
        ]
        self.around = [0] * len(values)
        for number, table in enumerate(self.tables):
            for place in table.scope:
                self.around[place] |= 1 << number
        self.parts = _parts(len(values), self.tables, self.around)
        self.part_of = {place: part for part, (places, _) in enumerate(self.parts) for place in places}
        self.picked: dict[tuple[int, tuple[int, ...], int], Picked | None] = {}

    def thinned(self, sets: Sets, cured: int, todo: int) -> Sets | None:
        """The sets without values that have no partners; None if nothing is left of one.

        Args:
            cured: demands that need no cure, or have one.
            todo: demands to look at first.
        """
        sets = sets.copy()
        while todo:
            self.tick()
            low = todo & -todo
            todo ^= low
            number = low.bit_length() - 1
            changed = self.tables[number].thin(bool(cured & low), sets)
            if changed is None:
                return None
            for place in changed:
                todo |= self.around[place] & ~low
        return sets

    def row(self, part: int, sets: Sets, cured: int) -> Picked | None:
        """One value of each quantity of a part such that its demands hold, the first that do; None if none do."""
        places, tables = self.parts[part]
        key = part, tuple([sets[place] for place in places]), cured & tables
        if key not in self.picked:
            self.picked[key] = self._pick(places, sets, cured)
        return self.picked[key]

    def _pick(self, places: Sequence[int], sets: Sets, cured: int) -> Picked | None:
        stack = [(sets, 0)]
        while stack:
            loose, todo = stack.pop()
            top = self.thinned(loose, cured, todo)
            if top is None:
                continue
            place = next((place for place in places if top[place] & (top[place] - 1)), None)
            if place is None:
                return {place: self.values[place][top[place].bit_length() - 1] for place in places}
            first = top[place] & -top[place]
            for some in (top[place] ^ first, first):
                branch = top.copy()
                branch[place] = some
                stack.append((branch, self.around[place]))
        return None


def _parts(count: int, tables: Sequence[_Table], around: Sequence[int]) -> list[tuple[list[int], int]]:
    """Quantities that demands tie together, those with most demands first, and the set of these demands."""
    left, found = set(range(count)), []
    while left:
        grown = [min(left)]
        mask = 0
        for place in grown:
            for number in numbers(around[place] & ~mask):
                grown += [other for other in tables[number].scope if other not in grown]
            mask |= around[place]
        left -= set(grown)
        found.append((sorted(grown, key=lambda place: (-around[place].bit_count(), place)), mask))
    return found


def numbers(some: int) -> list[int]:
    """Numbers of the values in a set."""
    found = []
    while some:
        low = some & -some
        found.append(low.bit_length() - 1)
        some ^= low
    return found
