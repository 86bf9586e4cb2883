"""Why there is no plan: the smallest set of rules, locks and as-found values that cannot hold together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from audit.nouns.plan import Conflict, Lock
from audit.planning.correction import Case, Stuck

T = TypeVar("T")
Element = int | Lock | str
"""A question's number, a lock, or a quantity that nothing moves."""


def conflict_of(case: Case, stuck: Stuck, out_of_time: Callable[[], bool]) -> Conflict:
    """The conflict of a setup that cannot be corrected."""
    worksheet = case.worksheet
    questions = stuck.asked
    inputs = {name for number in questions for name in worksheet.probes[number].inputs}
    fixed = sorted(name for name in inputs if not case.may_change(name) and case.found[name] is not None)
    elements: list[Element] = [*questions, *case.locks, *fixed]

    def feasible(kept: frozenset[Element]) -> bool:
        numbers = [element for element in kept if isinstance(element, int)]
        locks = [element for element in kept if isinstance(element, Lock)]
        freed = frozenset(name for name in fixed if name not in kept)
        freer = Case(worksheet, case.found, locks, case.given, freed)
        solution = freer.solve(numbers, out_of_time, closed=False)
        return solution is not None and (freer.most is None or solution.cost[0] <= freer.most)

    core = smallest_conflict(_infeasible_part(case, questions, elements, feasible), feasible)
    rules = [worksheet.sheet.questions[element] for element in core if isinstance(element, int)]
    return Conflict(
        tuple((question.rule.id, question.on) for question in rules),
        tuple(element for element in case.locks if element in core),
        tuple((name, case.found[name]) for name in fixed if name in core),
        tuple(releases(case, out_of_time)),
    )


def _infeasible_part(
    case: Case, questions: Sequence[int], elements: Sequence[Element], feasible: Callable[[frozenset[Element]], bool]
) -> Sequence[Element]:
    """The elements with only those questions that depend on each other and can't hold; all where no such part is."""
    probes = case.worksheet.probes
    left = list(questions)
    parts: list[list[int]] = []
    while left:
        part, grown = [left.pop(0)], True
        names = set(probes[part[0]].inputs)
        while grown:
            more = [number for number in left if not names.isdisjoint(probes[number].inputs)]
            grown = bool(more)
            part += more
            left = [number for number in left if number not in more]
            names.update(name for number in more for name in probes[number].inputs)
        parts.append(sorted(part))
    others = [element for element in elements if not isinstance(element, int)]
    for part in sorted(parts, key=len):
        if not feasible(frozenset([*part, *others])):
            return [*part, *others]
    return elements


def releases(case: Case, out_of_time: Callable[[], bool]) -> list[tuple[Lock, ...]]:
    """Smallest sets of locks, none containing another, whose release opens a plan.

    Where a set of locks stands in the way, one of those that do so together must be given up: each is tried in turn
    (Reiter, A theory of diagnosis from first principles, 1987).
    """

    def stuck(kept: Sequence[Lock]) -> bool:
        freer = Case(case.worksheet, case.found, kept, case.given, case.freed)
        return isinstance(freer.correct(out_of_time), Stuck)

    if stuck(()):
        return []
    found: list[frozenset[Lock]] = []
    seen: set[frozenset[Lock]] = set()
    level: list[frozenset[Lock]] = [frozenset()]
    while level:
        deeper: list[frozenset[Lock]] = []
        for released in level:
            if any(smaller <= released for smaller in found):
                continue
            kept = [lock for lock in case.locks if lock not in released]
            if not stuck(kept):
                found.append(released)
                continue
            for lock in list(kept):
                fewer = [other for other in kept if other != lock]
                if stuck(fewer):
                    kept = fewer
            for lock in kept:
                more = released | {lock}
                if more not in seen:
                    seen.add(more)
                    deeper.append(more)
        level = deeper
    return [tuple(lock for lock in case.locks if lock in some) for some in found]


def smallest_conflict(elements: Sequence[T], feasible: Callable[[frozenset[T]], bool]) -> frozenset[T]:
    """A set of elements that is infeasible and of which no smaller set is, by size.

    Each round takes a smallest set that meets every correction set found so far. If it is feasible, it is grown until
    nothing can be added, and what is left out is the next correction set; else it is the answer. A set that meets them
    all is never larger than the smallest conflict, so the first infeasible one is smallest (Ignatiev, Previti, Liffiton
    and Marques-Silva, Smallest MUS extraction with minimal hitting set dualization, 2015).

    Args:
        feasible: whether a set can hold together; taking elements away never makes a set infeasible.
    """
    everything = frozenset(elements)
    if feasible(everything):
        raise ValueError("there is no conflict")
    corrections: list[frozenset[T]] = []
    while True:
        chosen = _smallest_hitting(elements, corrections)
        if not feasible(chosen):
            return chosen
        grown = chosen
        for element in elements:
            if element not in grown and feasible(grown | {element}):
                grown |= {element}
        corrections.append(everything - grown)


def _smallest_hitting(elements: Sequence[T], sets: Sequence[frozenset[T]]) -> frozenset[T]:
    """A smallest set that has an element of each set; the first one by the order of the elements."""

    def search(chosen: frozenset[T], size: int) -> frozenset[T] | None:
        missed = next((some for some in sets if not some & chosen), None)
        if missed is None:
            return chosen
        if len(chosen) == size:
            return None
        for element in elements:
            if element in missed:
                found = search(chosen | {element}, size)
                if found is not None:
                    return found
        return None

    for size in range(len(elements) + 1):
        found = search(frozenset(), size)
        if found is not None:
            return found
    raise ValueError("an empty set can't be hit")
