"""What was looked up a moment ago and counts for a second, so that a busy server looks once a second.

While it is asked all the time nobody waits for a look-up: what has counted for half its time is looked up anew in
another thread. After a pause one of those who ask for the same looks it up, and the others wait for that.
"""

from __future__ import annotations

import asyncio
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from threading import Lock
from typing import Generic, TypeVar

from starlette.concurrency import run_in_threadpool

T = TypeVar("T")
R = TypeVar("R")

GOOD_FOR = 1.0
"""Seconds that a look-up counts, from when it began."""
ANEW = 0.5
"""Seconds after which it is looked up anew, if somebody asks."""


@dataclass(slots=True)
class _Found(Generic[T]):
    value: T
    at: float
    anew: bool = False


class Lately(Generic[T]):
    """What was looked up, by key. Of those that were not looked up for longest nothing is remembered.

    Args:
        most: keys that are remembered.
        ticks: seconds, only ever forward.
    """

    def __init__(self, most: int, ticks: Callable[[], float] = time.monotonic) -> None:
        self.most = most
        self._ticks = ticks
        self._found: OrderedDict[str, _Found[T] | None] = OrderedDict()
        self._waiting: dict[tuple[asyncio.AbstractEventLoop, str], asyncio.Event] = {}
        self._forgotten = 0
        self._lock = Lock()

    def __contains__(self, key: str) -> bool:
        """Whether a key was found a while ago, be it that what was found counts no more."""
        return key in self._found

    def __len__(self) -> int:
        return len(self._found)

    def at_once(self, key: str) -> T | None:
        """What was found and still counts, else None."""
        found = self._found.get(key)
        return found.value if found is not None and self._ticks() - found.at < GOOD_FOR else None

    def at_hand(self, key: str, look_up: Callable[[], T]) -> T | None:
        """The same in an event loop, where it is looked up anew in good time."""
        found = self._found.get(key)
        if found is None or (age := self._ticks() - found.at) >= GOOD_FOR:
            return None
        if age >= ANEW and not found.anew:
            found.anew = True
            asyncio.get_running_loop().run_in_executor(None, self._look_anew, key, look_up)
        return found.value

    def looked_up(self, key: str, look_up: Callable[[], T]) -> T:
        """What still counts, else what is looked up now. Raises whatever ``look_up`` raises."""
        found = self.at_once(key)
        return self._look(key, look_up) if found is None else found

    async def soon(self, key: str, at_hand: Callable[[], R | None], look_up: Callable[[], R]) -> R:
        """What is not at hand: looked up in another thread, by one at a time of those who ask for the same.

        Args:
            at_hand: asks ``at_hand`` for it, once another has looked.
            look_up: keeps what it finds. Raises for one who asks only, so that the others then look themselves.
        """
        asked = asyncio.get_running_loop(), key
        if (other := self._waiting.get(asked)) is not None:
            await other.wait()
            if (found := at_hand()) is not None:
                return found
        mine = self._waiting[asked] = asyncio.Event()
        try:
            return await run_in_threadpool(look_up)
        finally:
            mine.set()
            if self._waiting.get(asked) is mine:
                del self._waiting[asked]

    def mention(self, key: str) -> None:
        """Remembers a key alone."""
        self._keep(key, None, self._forgotten)

    def drop(self, key: str) -> None:
        """Remembers a key no more."""
        with self._lock:
            self._found.pop(key, None)

    def forget(self) -> None:
        """Remembers the keys alone: everything is looked up anew, what is being looked up now included."""
        with self._lock:
            self._forgotten += 1
            self._found = OrderedDict.fromkeys(self._found)

    def _look(self, key: str, look_up: Callable[[], T]) -> T:
        forgotten, at = self._forgotten, self._ticks()
        value = look_up()
        self._keep(key, _Found(value, at), forgotten)
        return value

    def _look_anew(self, key: str, look_up: Callable[[], T]) -> None:
        with suppress(Exception):  # it is met again, and told, by whoever asks when the last look-up counts no more
            self._look(key, look_up)

    def _keep(self, key: str, found: _Found[T] | None, forgotten: int) -> None:
        with self._lock:
            self._found[key] = found if forgotten == self._forgotten else None
            self._found.move_to_end(key)
            if len(self._found) > self.most:
                self._found.popitem(last=False)
