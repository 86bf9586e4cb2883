"""How often someone may ask: so many requests in a window of time, spent evenly or in a burst."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from hashlib import sha256
from ipaddress import IPv6Address, ip_address
from math import ceil

_ROUNDING = 1e-5
"""Seconds by which sums of many parts of a window may be off, on a clock that has run for years."""


@dataclass(frozen=True, slots=True)
class Rate:
    """``quota`` requests in ``window`` seconds. Raises ValueError if either is not above 0."""

    name: str
    quota: int
    window: int

    def __post_init__(self) -> None:
        if self.quota < 1 or self.window < 1:
            raise ValueError(f"a rate needs at least 1 request in 1 s, not {self.quota} in {self.window} s")


@dataclass(frozen=True, slots=True)
class Charge:
    """What one request cost.

    Attributes:
        left: requests that could follow at once.
        full: s until the whole quota is there again.
        wait: s until the next request is taken; 0 if this one was.
    """

    rate: Rate
    left: int
    full: int
    wait: int


class Spending:
    """Who has spent how much of a rate, by key; of the longest idle ones nothing is remembered.

    Generic cell rate algorithm, ITU-T Recommendation I.371, annex A (virtual scheduling): one number for each key, the
    time at which the quota would be whole again.
    """

    def __init__(self, rate: Rate, most_keys: int) -> None:
        self.rate, self.most_keys = rate, most_keys
        self._whole: OrderedDict[bytes, float] = OrderedDict()

    def __len__(self) -> int:
        return len(self._whole)

    def charge(self, key: bytes, now: float) -> Charge:
        """Takes one request of a key out of its quota, if it is there.

        Args:
            now: s, of a clock that never goes back.
        """
        window, each = self.rate.window, self.rate.window / self.rate.quota
        whole = max(self._whole.pop(key, now), now) + each
        over = whole - now - window
        if over > _ROUNDING:
            self._whole[key] = whole - each
            return Charge(self.rate, 0, _up(whole - each - now), max(_up(over), 1))
        self._whole[key] = whole
        if len(self._whole) > self.most_keys:
            self._whole.popitem(last=False)
        return Charge(self.rate, int((_ROUNDING - over) / each), _up(whole - now), 0)


def _up(seconds: float) -> int:
    # by half of what is let pass, so that whoever waits as long as was said is let in whatever the sums were rounded to
    return ceil(seconds - _ROUNDING / 2)


def key_of_token(authorization: bytes) -> bytes:
    """Stands for a token without holding it."""
    return sha256(authorization).digest()


def key_of_address(host: str) -> bytes:
    """Stands for a client: an IPv4 address, or the /64 that an IPv6 client usually has to itself."""
    try:
        address = ip_address(host)
    except ValueError:
        return host.encode()[:64]
    if isinstance(address, IPv6Address):
        mapped = address.ipv4_mapped
        return address.packed[:8] if mapped is None else mapped.packed
    return address.packed


def fields(charges: list[Charge]) -> list[tuple[bytes, bytes]]:
    """What the client is told of its quotas, by the IETF draft "RateLimit header fields for HTTP" (httpapi group)."""
    policy = ", ".join(f'"{one.rate.name}";q={one.rate.quota};w={one.rate.window}' for one in charges)
    left = ", ".join(f'"{one.rate.name}";r={one.left};t={one.full}' for one in charges)
    return [(b"ratelimit-policy", policy.encode()), (b"ratelimit", left.encode())]
