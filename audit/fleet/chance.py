"""Is a fault commoner in one group than chance would have it? Exact tests in whole numbers and fractions.

Sources:
    Fisher, R. A.: The Design of Experiments. Oliver & Boyd, 1935, chapter II (the exact test).
    Mehta, C. R.; Patel, N. R.; Gray, R.: Computing an exact confidence interval for the common odds ratio in several
    2 x 2 contingency tables. Journal of the American Statistical Association 80 (1985) (the sum over tables).
    Benjamini, Y.; Hochberg, Y.: Controlling the false discovery rate. Journal of the Royal Statistical Society B 57
    (1995) (many tests at once).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import comb
from typing import NamedTuple


class Table(NamedTuple):
    """Machines that are alike but for the group: a 2 x 2 table by its margins.

    Attributes:
        here, broken_here: machines of the group, and those of them with the fault.
        all, broken: the same with the rest counted in.
    """

    here: int
    broken_here: int
    all: int
    broken: int


def at_least_as_many(tables: Sequence[Table]) -> Fraction:
    """Probability that the group has so many faults or more if the group makes no difference.

    With all margins of every table given, faults in the group are hypergeometric; the sum over tables is their
    convolution. One table gives Fisher's exact test, one-sided.

    Worked example, the lady tasting tea: 8 cups, 4 with milk first, all 4 picked out, gives 1/70.
        >>> at_least_as_many([Table(4, 4, 8, 4)])
        Fraction(1, 70)
    """
    ways, fixed, total = [1], 0, 1
    if all(table.broken_here == max(0, table.here - table.all + table.broken) for table in tables):
        return Fraction(1)  # as few as there can be
    for table in tables:
        least = max(0, table.here - (table.all - table.broken))
        most = min(table.here, table.broken)
        fixed += least
        if least == most:  # nothing is left to chance
            continue
        here = [
            comb(table.broken, faults) * comb(table.all - table.broken, table.here - faults)
            for faults in range(least, most + 1)
        ]
        ways = _convolved(ways, here)
        total *= comb(table.all, table.here)
    seen = sum(table.broken_here for table in tables) - fixed
    return Fraction(sum(ways[seen:]), total)


def false_discovery_rates(probabilities: Sequence[Fraction]) -> list[Fraction]:
    """For each test the smallest false discovery rate at which the step-up procedure would call it, in the same order.

    q of the i-th smallest p of m = min over j >= i of p_j m / j, at most 1.
    """
    order = sorted(range(len(probabilities)), key=lambda place: probabilities[place])
    rates = [Fraction(1)] * len(probabilities)
    least = Fraction(1)
    for rank in range(len(order), 0, -1):
        least = min(least, probabilities[order[rank - 1]] * len(order) / rank)
        rates[order[rank - 1]] = least
    return rates


def _convolved(one: list[int], other: list[int]) -> list[int]:
    out = [0] * (len(one) + len(other) - 1)
    for place, first in enumerate(one):
        for further, second in enumerate(other):
            out[place + further] += first * second
    return out


def odds(tables: Sequence[Table]) -> tuple[int, int, int, int]:
    """Broken here, machines here, broken elsewhere, machines elsewhere, over all tables."""
    here, broken_here = sum(table.here for table in tables), sum(table.broken_here for table in tables)
    every, broken = sum(table.all for table in tables), sum(table.broken for table in tables)
    return broken_here, here, broken - broken_here, every - here
