"""Public keys as a JWK Set (RFC 7517): what the server publishes and a terminal carries along."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from api.certificates.jws import ALGORITHM
from api.certificates.keys import PublicKey, jwk_of, public_key
from api.certificates.text import json_object

MOST_BYTES = 256 * 1024
"""Longest JWK Set that is read."""


class BadKeySet(Exception):
    """A text is no JWK Set that can be relied on, and why."""


def jwks(keys: Iterable[PublicKey]) -> dict[str, Any]:
    """The JWK Set of keys; a compromised one is left out."""
    listed = [
        {**jwk_of(key.public), "kid": key.id, "alg": ALGORITHM, "use": "sig"} for key in keys if not key.compromised
    ]
    return {"keys": listed}


def read_jwks(text: bytes) -> dict[str, PublicKey]:
    """The Ed25519 keys of a JWK Set by id. Keys of other kinds or for other uses are passed over (RFC 7517, 5).

    Raises: BadKeySet.
    """
    if len(text) > MOST_BYTES:
        raise BadKeySet(f"it is longer than {MOST_BYTES // 1024} KiB")
    try:
        listed = json_object(text).get("keys")
    except ValueError as error:
        raise BadKeySet(str(error)) from None
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise BadKeySet("it has no list of keys")
    found: dict[str, PublicKey] = {}
    for jwk in listed:
        key = _read(jwk)
        if key is None:
            continue
        if key.id in found:
            raise BadKeySet(f"key {key.id} stands twice")
        found[key.id] = key
    if not found:
        raise BadKeySet("it has no key that signs certificates")
    return found


def _read(jwk: Mapping[str, Any]) -> PublicKey | None:
    if any(name in jwk for name in ("d", "k", "p", "q")):
        raise BadKeySet("it holds a private key; such a file must not be carried about")
    if jwk.get("kty") != "OKP" or jwk.get("crv") != "Ed25519" or jwk.get("use", "sig") != "sig":
        return None
    try:
        key = public_key(jwk)
    except ValueError as error:
        raise BadKeySet(f"a key can't be read: {error}") from None
    if jwk.get("kid") != key.id:
        raise BadKeySet("a key's 'kid' is not its RFC 7638 thumbprint, so one of them was changed")
    return key
