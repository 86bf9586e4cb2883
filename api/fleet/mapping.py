"""Blocks judged in order: in this process, in several of this machine, or on a cluster.

Each way takes blocks and gives every one back with what came of it, in the order in which they came, with a bounded
number under way. What a block gives depends on the block and the job alone, so all ways give the same.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Protocol

from api.fleet.blocks import Block, Done, Job
from api.fleet.stretches import Changed, without_text

MOST_DEATHS = 3
"""How often the processes may die over one block before the audit gives up."""

Judge = Callable[[Job, Block], Done]


class GaveUp(RuntimeError):
    """Processes that work at an audit died, again and again if others could do their work, or can't be reached."""


class Mapper(Protocol):
    """A way of judging blocks.

    Attributes:
        elsewhere: other processes judge.
    """

    elsewhere: bool

    def map(self, judge: Judge, job: Job, blocks: Iterable[Block]) -> Iterator[tuple[Block, Done]]:
        """Every block with what came of it, in order. Raises GaveUp."""
        ...


class Here:
    """In this process, one block after the other."""

    elsewhere = False

    def map(self, judge: Judge, job: Job, blocks: Iterable[Block]) -> Iterator[tuple[Block, Done]]:
        for block in blocks:
            yield block, judge(job, block)


class Local:
    """In several processes of this machine; if one dies, its blocks are judged again."""

    elsewhere = True

    def __init__(self, processes: int) -> None:
        self.processes = processes

    def map(self, judge: Judge, job: Job, blocks: Iterable[Block]) -> Iterator[tuple[Block, Done]]:
        coming = iter(blocks)
        waiting: deque[tuple[Block, Future[Done]]] = deque()
        pool = self._pool()
        deaths = 0
        try:
            while True:
                try:
                    while len(waiting) < 2 * self.processes and (block := next(coming, None)) is not None:
                        waiting.append((block, Future()))  # kept first: submitting fails where a process has died
                        waiting[-1] = block, pool.submit(judge, job, without_text(block))
                    if not waiting:
                        return
                    block, future = waiting[0]
                    try:
                        done = future.result()
                    except Changed:
                        done = pool.submit(judge, job, block).result()
                except BrokenProcessPool:
                    deaths += 1
                    if deaths == MOST_DEATHS:
                        raise GaveUp(
                            f"the processes died {deaths} times over a block of {waiting[0][0].shown}"
                        ) from None
                    pool.shutdown(wait=True, cancel_futures=True)
                    pool = self._pool()
                    waiting = deque((block, pool.submit(judge, job, without_text(block))) for block, _ in waiting)
                    continue
                waiting.popleft()
                deaths = 0
                yield block, done
        finally:
            pool.shutdown(wait=True, cancel_futures=True)

    def _pool(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(self.processes, mp_context=get_context("spawn"))
