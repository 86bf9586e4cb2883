"""An issuer of tokens: what it says of itself, and the public keys that are found by that."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any

from joserfc.errors import JoseError
from joserfc.jwk import ECKey, OKPKey, RSAKey

from api.identity.fetch import NotFetched
from api.identity.metadata import Metadata, find_metadata

FRESH = 600.0
"""Seconds after which keys are fetched again."""
KEPT = 3600.0
"""Seconds that keys still count while the issuer can't be reached; then no token is taken."""
RETRY = 10.0
"""Seconds between two tries while the issuer can't be reached."""
UNKNOWN = 60.0
"""Seconds between two fetches that were only asked for by unknown key ids: anybody can make those up."""
QUEUE = 5.0
"""Seconds to wait for a fetch that another request has begun, where there are no keys yet."""
MOST_KEYS = 100
LEAST_BITS, MOST_BITS = 2048, 4096

_NEEDED = {"RSA": ("kty", "n", "e"), "EC": ("kty", "crv", "x", "y"), "OKP": ("kty", "crv", "x")}
_KINDS = {"RS256": "RSA", "PS256": "RSA", "ES256": "EC", "Ed25519": "OKP"}
_PRIVATE = frozenset({"d", "p", "q", "dp", "dq", "qi", "oth", "k"})

PublicKey = RSAKey | ECKey | OKPKey


class NoKey(Exception):
    """The issuer has no key that a token could be signed with, and why."""


class IssuerDown(Exception):
    """What the issuer says of itself, or its keys, can't be had now, so that nobody can be known by it."""


@dataclass(frozen=True, slots=True)
class IssuerKey:
    """A key of the issuer; ``kid`` and ``alg`` are '' where it does not say."""

    kid: str
    alg: str
    key: PublicKey

    def suits(self, alg: str) -> bool:
        """Whether it is of the kind that an algorithm needs, and not kept for another one."""
        return self.key.key_type == _KINDS[alg] and self.alg in ("", alg)


class Issuer:
    """An issuer whose metadata and keys are fetched when they are needed.

    Args:
        url: its name, exactly as its tokens and its metadata give it.
        fetch: a JSON document by its address; raises NotFetched.
        clock: seconds, only ever forward.
    """

    def __init__(self, url: str, fetch: Callable[[str], object], clock: Callable[[], float] = time.monotonic) -> None:
        self.url = url
        self._fetch, self._clock = fetch, clock
        self._keys: tuple[IssuerKey, ...] = ()
        self._metadata: Metadata | None = None
        self._fetched = self._tried = float("-inf")
        self._fetching = Lock()

    def metadata(self) -> Metadata:
        """What it says of itself. Raises IssuerDown."""
        return self._have()

    def key_for(self, kid: str, alg: str, vouched: bool = False) -> PublicKey:
        """The key that a token says it is signed with. Raises NoKey, IssuerDown.

        Args:
            kid: '' where the token names none; then only one key may suit.
            alg: Ed25519 also where the token has its older name, EdDSA.
            vouched: the issuer itself handed the token over, so an unknown key is a new one, which is fetched at once.
        """
        self._have()
        try:
            return _the_one(self._keys, kid, alg)
        except NoKey:
            if not self._refresh(0.0 if vouched else UNKNOWN):
                raise
        return _the_one(self._keys, kid, alg)

    def _have(self) -> Metadata:
        """Fetches what is no longer fresh. Raises IssuerDown where what there is must not count any more."""
        if self._clock() - self._fetched > FRESH:
            self._refresh(RETRY)
        if self._metadata is None or self._clock() - self._fetched > KEPT:
            raise IssuerDown(f"metadata and keys of {self.url} can't be fetched")
        return self._metadata

    def _refresh(self, pause: float) -> bool:
        """Fetches metadata and keys unless that was tried within the pause; who has keys waits for no other's fetch."""
        none_yet = self._clock() - self._fetched > KEPT
        if not self._fetching.acquire(timeout=QUEUE if none_yet else 0):
            return False
        try:
            if self._clock() - self._tried < pause:
                return False
            self._tried = self._clock()
            found = find_metadata(self.url, self._fetch)
            self._keys, self._metadata = read_keys(self._fetch(found.keys)), found
            self._fetched = self._clock()
            return True
        except NotFetched:
            self._tried = self._clock()  # it may have taken as long as the pause to find out that nobody answers
            return False
        finally:
            self._fetching.release()


def read_keys(document: object) -> tuple[IssuerKey, ...]:
    """Keys of a JWK Set (RFC 7517) that a signature can be checked with. Raises NotFetched if there is none.

    Others are passed over, as its section 5 has it: of an unknown kind, for encryption, too short, or not public.
    """
    listed = document.get("keys") if isinstance(document, dict) else None
    if not isinstance(listed, list) or len(listed) > MOST_KEYS:
        raise NotFetched("the key set can't be read")
    found = tuple(key for one in listed if isinstance(one, dict) and (key := _key(one)) is not None)
    if not found:
        raise NotFetched("the key set has no key that can be used")
    return found


def _key(plain: Mapping[str, Any]) -> IssuerKey | None:
    kid, alg, kind = plain.get("kid", ""), plain.get("alg", ""), plain.get("kty")
    if not all(isinstance(one, str) for one in (kid, alg, kind)) or kind not in _NEEDED or _PRIVATE & plain.keys():
        return None
    operations = plain.get("key_ops", ["verify"])
    if plain.get("use", "sig") != "sig" or not isinstance(operations, list) or "verify" not in operations:
        return None
    needed = {name: plain.get(name) for name in _NEEDED[kind]}
    try:
        return IssuerKey(kid, "Ed25519" if alg == "EdDSA" else alg, _public(kind, needed))
    except (JoseError, ValueError, TypeError, KeyError):
        return None


def _public(kind: str, needed: Mapping[str, Any]) -> PublicKey:
    """A key of a kind and size that we take. Raises JoseError, ValueError, TypeError, KeyError."""
    if kind == "RSA":
        if not LEAST_BITS - 8 <= len(str(needed["n"])) * 6 <= MOST_BITS + 16:  # before anything is computed with it
            raise ValueError("an RSA modulus of an unusual size")
        key = RSAKey.import_key(dict(needed))
        if not LEAST_BITS <= key.public_key.key_size <= MOST_BITS:
            raise ValueError("an RSA modulus of an unusual size")
        return key
    if needed["crv"] != {"EC": "P-256", "OKP": "Ed25519"}[kind]:
        raise ValueError("a curve that we do not take")
    return ECKey.import_key(dict(needed)) if kind == "EC" else OKPKey.import_key(dict(needed))


def _the_one(keys: tuple[IssuerKey, ...], kid: str, alg: str) -> PublicKey:
    """The one key of an id that suits an algorithm. Raises NoKey for none, and for several that differ."""
    found = {one.key.thumbprint(): one.key for one in keys if one.suits(alg) and (not kid or one.kid == kid)}
    if len(found) > 1:
        raise NoKey("the issuer has several keys of this id" if kid else "it does not say which of several keys")
    if not found:
        raise NoKey("the issuer has no such key")
    return next(iter(found.values()))
