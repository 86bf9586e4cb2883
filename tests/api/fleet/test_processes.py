"""Blocks come back in order whatever the processes do, and a bounded number is under way."""

from __future__ import annotations

import os
import signal
import time
from collections import Counter
from collections.abc import Iterator
from multiprocessing import active_children
from pathlib import Path
from typing import Any

import pytest

from api.fleet.blocks import Block, Done, Job, Piece, Seal
from api.fleet.mapping import GaveUp
from api.fleet.processes import MOST_DEATHS, UNDER_WAY, Local

JOB = Job("", (), "high", False)
LARGE = 3_000_000
"""Bytes that go into no pipe at once."""


def blocks_of(count: int, payload: bytes = b"") -> Iterator[Block]:
    for number in range(count):
        yield Block(number, f"input-{number}", 1, Piece("items", (payload,), 1, 1), Seal(0, 0, ""), 0)


def said(number: int, more: bytes = b"") -> Done:
    return Done(str(number).encode() + more, b"", b"", Counter({"held": number}))


def tells(_: Job, block: Block) -> Done:
    return said(block.number)


def is_slow_at_some(_: Job, block: Block) -> Done:
    time.sleep(0.3 if block.number % 7 == 0 else 0.0)
    return said(block.number)


def tells_much(_: Job, block: Block) -> Done:
    return said(block.number, block.piece.payload[0])


def tells_who(_: Job, __: Block) -> Done:
    time.sleep(0.05)
    return said(os.getpid())


class Wrong(Exception):
    """Can be sent, but not received."""

    def __init__(self, one: str, other: str) -> None:
        super().__init__(f"{one} and {other}")


def is_wrong(_: Job, __: Block) -> Done:
    raise Wrong("this", "that")


class Dies:
    """At some blocks, as often as told."""

    def __init__(self, folder: Path, times: dict[int, int]) -> None:
        self.folder, self.times = folder, times

    def __call__(self, _: Job, block: Block) -> Done:
        for number in range(self.times.get(block.number, 0)):
            path = self.folder / f"{block.number}-{number}"
            if not path.exists():
                path.touch()
                os.kill(os.getpid(), signal.SIGKILL)
        return said(block.number, b"." * LARGE)


@pytest.fixture(autouse=True)
def none_is_left() -> Iterator[None]:
    before = set(active_children())
    yield
    assert set(active_children()) <= before


@pytest.mark.parametrize("judge", [tells, is_slow_at_some])
def test_blocks_come_in_order(judge: Any) -> None:
    found = list(Local(3).map(judge, JOB, blocks_of(40)))
    assert [block.number for block, _ in found] == list(range(40))
    assert [done for _, done in found] == [said(number) for number in range(40)]


def test_what_is_larger_than_a_pipe_goes_both_ways() -> None:
    text = bytes(LARGE)
    found = list(Local(2).map(tells_much, JOB, blocks_of(12, text)))
    assert [done for _, done in found] == [said(number, text) for number in range(12)]


def test_a_bounded_number_is_under_way() -> None:
    read = 0

    def reading() -> Iterator[Block]:
        nonlocal read
        for block in blocks_of(60):
            read += 1
            yield block

    most = 0
    for block, _ in Local(2).map(is_slow_at_some, JOB, reading()):
        most = max(most, read - block.number)
    assert 2 < most <= 2 * UNDER_WAY


def test_no_more_processes_than_there_is_work_for() -> None:
    assert len({done.units for _, done in Local(8).map(tells_who, JOB, blocks_of(3))}) == 3
    assert list(Local(8).map(tells_who, JOB, blocks_of(0))) == []


def test_each_block_may_cost_some_deaths(tmp_path: Path) -> None:
    """Even if more die in all than one block may cost."""
    deadly = Dies(tmp_path, {0: MOST_DEATHS - 1, 1: MOST_DEATHS - 1, 5: 1})
    found = [done for _, done in Local(2).map(deadly, JOB, blocks_of(8))]
    assert found == [said(number, b"." * LARGE) for number in range(8)]
    assert len(list(tmp_path.iterdir())) == 2 * MOST_DEATHS - 1


def test_the_block_that_kills_is_named(tmp_path: Path) -> None:
    with pytest.raises(GaveUp, match=f"died {MOST_DEATHS} times over a block of input-5"):
        list(Local(2).map(Dies(tmp_path, {5: MOST_DEATHS}), JOB, blocks_of(8)))


def test_an_error_that_cannot_be_sent_is_told_in_words() -> None:
    with pytest.raises(RuntimeError, match="Wrong: this and that") as found:
        list(Local(2).map(is_wrong, JOB, blocks_of(4)))
    assert "in is_wrong" in found.value.__notes__[0]


def test_processes_end_when_nobody_wants_more() -> None:
    coming = Local(2).map(tells, JOB, blocks_of(100))
    before = set(active_children())
    next(coming)
    assert len(set(active_children()) - before) == 2
    coming.close()  # type: ignore[attr-defined]  # an iterator here, a generator in truth
