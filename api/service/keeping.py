"""What was worked out is kept, up to so many of the last used."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Made = TypeVar("Made")


class Kept(Generic[Key, Made]):
    """Things by key, for several threads. Two that ask for one at once may both make it.

    Args:
        most: how many are kept.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._kept: OrderedDict[Key, Made] = OrderedDict()
        self._lock = Lock()

    def find(self, key: Key) -> Made | None:
        """What is kept, None for nothing."""
        with self._lock:
            return self._kept.get(key)

    def __getitem__(self, key: Key) -> Made:
        """What is kept. Raises KeyError for nothing."""
        with self._lock:
            self._kept.move_to_end(key)
            return self._kept[key]

    def get(self, key: Key, make: Callable[[], Made]) -> Made:
        """What is kept, made first if it is not there; the lock is not held meanwhile."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
        return made
