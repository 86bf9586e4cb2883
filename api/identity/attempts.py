"""Slows whoever tries one bad token after another."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from ipaddress import IPv6Address, ip_address
from threading import Lock

AT_ONCE = 20
"""Failed attempts that an address may make without pause."""
EVERY = 3.0
"""Seconds after which one more is let in."""
MOST_ADDRESSES = 4096


class Attempts:
    """Failed attempts by client address, as a leaky bucket for each; of most addresses nothing is remembered.

    An IPv6 client can use any address of its /64, so these count as one.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic, most: int = MOST_ADDRESSES) -> None:
        self._clock, self._most = clock, most
        self._empty_at: OrderedDict[str, float] = OrderedDict()
        self._lock = Lock()

    def wait(self, address: str) -> float:
        """Seconds until the next attempt of an address is let in, 0 for now."""
        with self._lock:
            left = self._empty_at.get(_group(address), 0.0) - self._clock()
        return max(0.0, left - (AT_ONCE - 1) * EVERY)

    def failed(self, address: str) -> None:
        """Counts a failed attempt."""
        group, now = _group(address), self._clock()
        with self._lock:
            self._empty_at[group] = max(self._empty_at.get(group, now), now) + EVERY
            self._empty_at.move_to_end(group)
            if len(self._empty_at) > self._most:
                self._empty_at.popitem(last=False)


def _group(address: str) -> str:
    """What counts as one client."""
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:  # a socket file, or a test
        return address[:64]
    if isinstance(found, IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return f"{int(found) >> 64:x}/64"
    return str(found)
