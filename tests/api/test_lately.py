"""What was looked up a moment ago: how long it counts, and who looks."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NoReturn

import pytest

from api.lately import ANEW, GOOD_FOR, Lately

PATIENCE = 20.0
WHO = "ana"


@dataclass
class Source:
    """Gives 1, 2, 3 … once it may, and counts; ``ticks`` is its clock."""

    ticks: float = 0.0
    looks: int = 0
    may: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self.may.set()
        self.lately = Lately[int](3, lambda: self.ticks)

    def look(self) -> int:
        self.looks += 1
        found = self.looks
        assert self.may.wait(PATIENCE)
        return found

    def keep(self) -> int:
        return self.lately.looked_up(WHO, self.look)

    def at_hand(self) -> int | None:
        return self.lately.at_hand(WHO, self.look)

    async def ask(self) -> int:
        found = self.at_hand()
        return await self.lately.soon(WHO, self.at_hand, self.keep) if found is None else found


@pytest.fixture
def source() -> Source:
    return Source()


async def until(true: Callable[[], bool]) -> None:
    """Lets other threads work until something is true."""
    async with asyncio.timeout(PATIENCE):
        while not true():
            await asyncio.sleep(0.001)


def broken() -> NoReturn:
    raise OSError("out of order")


def test_a_look_up_counts_for_a_second_from_when_it_began(source: Source) -> None:
    def slow() -> int:
        source.ticks += 0.25
        return source.look()

    assert source.lately.looked_up(WHO, slow) == 1
    source.ticks = GOOD_FOR - 0.01
    assert source.lately.at_once(WHO) == source.keep() == 1
    source.ticks = GOOD_FOR
    assert source.lately.at_once(WHO) is None
    assert source.keep() == 2


def test_other_keys_are_others(source: Source) -> None:
    source.keep()
    assert source.lately.at_once("ben") is None
    assert source.lately.looked_up("ben", lambda: 7) == 7
    assert source.keep() == 1


def test_what_is_asked_all_the_time_is_looked_up_anew_in_good_time(source: Source) -> None:
    async def asking() -> None:
        assert await source.ask() == 1
        source.ticks = ANEW - 0.01
        assert source.at_hand() == 1
        await asyncio.sleep(0.02)
        assert source.looks == 1
        source.ticks, began = ANEW, ANEW
        source.may.clear()
        assert [source.at_hand() for _ in range(5)] == [1] * 5, "nobody waits for it"
        await until(lambda: source.looks == 2)
        source.may.set()
        await until(lambda: source.at_hand() == 2)
        source.ticks = began + ANEW - 0.01
        assert source.at_hand() == 2
        assert source.looks == 2, "one looks, however many ask"

    asyncio.run(asking())


def test_looking_anew_in_vain_is_told_when_what_was_found_counts_no_more(source: Source) -> None:
    async def asking() -> None:
        assert await source.ask() == 1
        source.ticks = ANEW
        assert source.lately.at_hand(WHO, broken) == 1
        await asyncio.sleep(0.02)
        assert source.at_hand() == 1
        source.ticks = GOOD_FOR
        assert source.at_hand() is None
        with pytest.raises(OSError, match="out of order"):
            await source.lately.soon(WHO, source.at_hand, broken)
        assert await source.ask() == 2

    asyncio.run(asking())


def test_of_those_who_ask_at_once_one_looks(source: Source) -> None:
    async def asking() -> list[int]:
        source.may.clear()
        asked = [asyncio.create_task(source.ask()) for _ in range(16)]
        await until(lambda: source.looks == 1)
        await asyncio.sleep(0.02)
        source.may.set()
        return await asyncio.gather(*asked)

    assert asyncio.run(asking()) == [1] * 16
    assert source.looks == 1


def test_where_one_looks_in_vain_or_goes_away_the_others_look_themselves(source: Source) -> None:
    async def asking() -> None:
        source.may.clear()
        for first in (source.lately.soon(WHO, source.at_hand, broken), source.ask()):
            gone, here = asyncio.create_task(first), [asyncio.create_task(source.ask()) for _ in range(3)]
            await asyncio.sleep(0)
            gone.cancel()
            with pytest.raises((OSError, asyncio.CancelledError)):
                await gone
            source.may.set()
            assert set(await asyncio.gather(*here)) <= set(range(1, source.looks + 1))
            source.ticks += GOOD_FOR
            source.may.clear()

    asyncio.run(asking())


def test_nobody_waits_for_another_event_loop(source: Source) -> None:
    async def asking() -> int:
        source.may.clear()
        here = asyncio.create_task(source.ask())
        await until(lambda: source.looks == 1)
        there = asyncio.to_thread(asyncio.run, source.ask())
        waiting = asyncio.create_task(there)
        await until(lambda: source.looks == 2)
        source.may.set()
        assert await waiting in (1, 2)
        return await here

    assert asyncio.run(asking()) in (1, 2)


def test_what_is_forgotten_while_it_is_looked_up_is_not_kept(source: Source) -> None:
    def late() -> int:
        source.lately.forget()
        return source.look()

    assert source.lately.looked_up(WHO, late) == 1
    assert WHO in source.lately
    assert source.lately.at_once(WHO) is None
    assert source.keep() == 2


def test_what_is_remembered_is_bounded(source: Source) -> None:
    for key in "abcdabcd":
        source.lately.looked_up(key, source.look)
    assert len(source.lately) == 3
    assert [key in source.lately for key in "abcd"] == [False, True, True, True]
    source.lately.mention("e")
    assert [key in source.lately for key in "bcde"] == [False, True, True, True]
    source.lately.drop("e")
    assert "e" not in source.lately
