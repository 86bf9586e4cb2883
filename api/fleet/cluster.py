"""Blocks judged on a cluster of machines that runs Dask distributed. The only import of it.

A block goes to the scheduler with the text it holds, so that a block whose worker died is judged again elsewhere and no
worker needs the inputs' files. Workers unpickle what they are sent: a cluster belongs on a network that is trusted.
"""

from __future__ import annotations

import uuid
from collections import deque
from collections.abc import Iterable, Iterator
from typing import Any

import distributed
from distributed.scheduler import KilledWorker

from api.fleet.blocks import Block, Done, Job
from api.fleet.mapping import GaveUp, Judge

WAIT = 30.0
"""Longest wait for the scheduler and for a first worker, s."""


class Cluster:
    """On the workers of a scheduler.

    Args:
        address: of the scheduler, such as tcp://10.0.0.5:8786.
    """

    elsewhere = True

    def __init__(self, address: str) -> None:
        self.address = address

    def map(self, judge: Judge, job: Job, blocks: Iterable[Block]) -> Iterator[tuple[Block, Done]]:
        """Every block with what came of it, in order. Raises GaveUp."""
        connect: Any = distributed.Client
        try:
            client = connect(self.address, timeout=WAIT, set_as_default=False)
        except (OSError, ValueError) as error:
            raise GaveUp(f"the scheduler at {self.address} can't be reached: {error}") from None
        with client:
            try:
                client.wait_for_workers(1, timeout=WAIT)
            except TimeoutError:
                raise GaveUp(f"the scheduler at {self.address} has no workers") from None
            yield from self._in_order(client, judge, job, iter(blocks))

    def _in_order(self, client: Any, judge: Judge, job: Job, coming: Iterator[Block]) -> Iterator[tuple[Block, Done]]:
        run = uuid.uuid4().hex  # names of tasks only: two audits on one cluster must not share them
        waiting: deque[tuple[Block, Any]] = deque()
        while True:
            threads = sum(client.nthreads().values())
            while len(waiting) < 2 * max(threads, 1) and (block := next(coming, None)) is not None:
                task = client.submit(judge, job, block, key=f"fleet-{run}-{block.number}", pure=False)
                waiting.append((block, task))
            if not waiting:
                return
            block, task = waiting.popleft()
            try:
                done: Done = task.result()
            except KilledWorker:
                raise GaveUp(f"the workers died again and again over a block of {block.shown}") from None
            task.release()
            yield block, done
