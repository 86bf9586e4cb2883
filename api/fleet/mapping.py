"""Blocks judged in order: in this process, in several of this machine, or on a cluster.

Each way takes blocks and gives every one back with what came of it, in the order in which they came, with a bounded
number under way. What a block gives depends on the block and the job alone, so all ways give the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol

from api.fleet.blocks import Block, Done, Job

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
