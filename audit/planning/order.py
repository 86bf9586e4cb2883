"""Puts the tasks of a plan in order: what comes first comes first, and the machine is walked round once.

The work falls into blocks by the state of the machine: stopped, running, at work in the crop. Counted from the end, a
task stands in the last block in which it can still be done before whatever must follow it, so that the engine is
started and stopped as seldom as the order allows. Within a block the stations follow each other as on the walk round.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from audit.nouns.quantity import When
from audit.planning.tasks import Task, Tasks, numbers

_FROM_THE_END = (When.AT_WORK, When.RUNNING, When.STOPPED)


def in_order(
    tasks: Tasks, chosen: int, follows: Mapping[str, str], shared: Mapping[str, frozenset[str]],
    stations: tuple[str, ...],
) -> list[int]:  # fmt: skip
    """Numbers of the chosen tasks in the order in which they are done.

    Args:
        follows: by event, the event that must be recorded after it.
        shared: by reading, the settings that it is read at: it is taken after they are moved.
        stations: in walk-round order.
    """
    members = list(numbers(chosen))
    later = _edges(tasks, members, follows, shared)
    blocks = _blocks(tasks, members, later)
    waiting = dict.fromkeys(members, 0)
    for number in members:
        for other in later[number]:
            waiting[other] += 1
    place = {station: rank for rank, station in enumerate(stations)}
    done: list[int] = []
    at = -1
    for block in sorted(set(blocks.values()), reverse=True):
        left = {number for number in members if blocks[number] == block}
        while left:
            ready = [number for number in left if not waiting[number]]
            if not ready:
                raise ValueError("procedures wait for each other in a circle")

            def key(number: int, at: int = at) -> tuple[bool, int, bool, bool, tuple[str, str]]:
                task = tasks.all[number]
                rank = place.get(task.station, -1)
                return rank < at, rank, task.taking, bool(task.affects()), task.key  # shields are opened first

            number = min(ready, key=key)
            at = place.get(tasks.all[number].station, -1)
            left.remove(number)
            done.append(number)
            for other in later[number]:
                waiting[other] -= 1
        at = -1
    return done


def _edges(
    tasks: Tasks, members: list[int], follows: Mapping[str, str], shared: Mapping[str, frozenset[str]]
) -> dict[int, set[int]]:
    """By task, those that must come after it."""
    later: dict[int, set[int]] = {number: set() for number in members}
    recorders: dict[str, list[int]] = {}
    looks: list[tuple[int, Task]] = []
    for number in members:
        task = tasks.all[number]
        for key in task.before:
            later[tasks.number[key]].add(number)
        for other in (*(tasks.number[key] for key in task.after), *(tasks.takers[name] for name in task.takes)):
            if other in later:
                later[number].add(other)
        for event in task.records:
            recorders.setdefault(event, []).append(number)
        if task.taking:
            looks.append((number, task))
    for first, second in follows.items():
        for number in recorders.get(first, ()):
            later[number].update(other for other in recorders.get(second, ()) if other != number)
    for number, task in looks:
        name = task.key[1]
        for other in members:
            if other != number and not tasks.all[other].taking:
                affects = tasks.all[other].affects()
                if name in affects or not shared.get(name, frozenset()).isdisjoint(tasks.all[other].moves):
                    later[other].add(number)
    for number in members:  # what follows one task is done in the order in which it is named
        named = [tasks.number[key] for key in tasks.all[number].after if tasks.number[key] in later]
        for one, two in pairwise(named):
            if not _leads(later, two, one):
                later[one].add(two)
    return later


def _leads(later: Mapping[int, set[int]], start: int, end: int) -> bool:
    seen, stack = set(), [start]
    while stack:
        number = stack.pop()
        if number == end:
            return True
        if number not in seen:
            seen.add(number)
            stack += later[number]
    return False


def _blocks(tasks: Tasks, members: list[int], later: Mapping[int, set[int]]) -> dict[int, int]:
    """Block of each task, counted from the end."""
    found: dict[int, int] = {}

    def block(number: int, behind: tuple[int, ...]) -> int:
        if number in behind:
            raise ValueError(f"procedures wait for each other in a circle: {tasks.all[number].key}")
        if number not in found:
            at = max((block(other, (*behind, number)) for other in later[number]), default=0)
            while _FROM_THE_END[at % len(_FROM_THE_END)] is not tasks.all[number].when:
                at += 1
            found[number] = at
        return found[number]

    for number in members:
        block(number, ())
    return found
