"""Signing keys: Ed25519 pairs, their names, and the private half sealed for storage."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from api.certificates.text import from_base64url, json_object, plain_json, to_base64url

KEY_BYTES = 32
"""Length of either half of an Ed25519 key (RFC 8032, 5.1.5)."""
NONCE_BYTES = 12
"""What AES-GCM takes best (NIST SP 800-38D, 5.2.1.1)."""
_PURPOSE = b"setup-audit signing key "


class WrongSecret(Exception):
    """A sealed key does not open: it was sealed with another secret, for another key, or was changed."""


@dataclass(frozen=True, slots=True)
class PublicKey:
    """The half that checks.

    Attributes:
        id: RFC 7638 thumbprint.
        compromised: somebody else may know the private half, so nothing that it signed counts.
    """

    id: str
    public: Ed25519PublicKey
    compromised: bool = False


@dataclass(frozen=True, slots=True)
class SigningKey:
    """The half that signs; ``id`` is the thumbprint of the other."""

    id: str
    private: Ed25519PrivateKey

    @property
    def public(self) -> PublicKey:
        return PublicKey(self.id, self.private.public_key())


def make() -> SigningKey:
    """A new pair, whose id can be written on a command line: one that begins with a dash is taken for an option."""
    while True:
        private = Ed25519PrivateKey.generate()
        id = thumbprint(jwk_of(private.public_key()))
        if not id.startswith("-"):
            return SigningKey(id, private)


def jwk_of(public: Ed25519PublicKey) -> dict[str, str]:
    """What a JWK of the key must have (RFC 8037, 2)."""
    return {"kty": "OKP", "crv": "Ed25519", "x": to_base64url(public.public_bytes_raw())}


def public_key(jwk: Mapping[str, object], compromised: bool = False) -> PublicKey:
    """The key of an OKP JWK on Ed25519; its id is computed, not read. Raises ValueError."""
    if jwk.get("kty") != "OKP" or jwk.get("crv") != "Ed25519":
        raise ValueError("it is no Ed25519 key")
    public = Ed25519PublicKey.from_public_bytes(_half(jwk, "x"))
    return PublicKey(thumbprint(jwk_of(public)), public, compromised)


def thumbprint(jwk: Mapping[str, str]) -> str:
    """RFC 7638: base64url of SHA-256 over the members that a JWK of the kind must have, sorted, without spaces.

    Args:
        jwk: those members and no others.
    """
    return to_base64url(sha256(plain_json(jwk)).digest())


def seal(key: SigningKey, secret: bytes) -> bytes:
    """The private JWK under AES-256-GCM, bound to the key's id: nonce, then text and tag."""
    jwk = {**jwk_of(key.private.public_key()), "d": to_base64url(key.private.private_bytes_raw())}
    nonce = os.urandom(NONCE_BYTES)
    return nonce + AESGCM(secret).encrypt(nonce, plain_json(jwk), _PURPOSE + key.id.encode())


def unseal(sealed: bytes, key_id: str, secret: bytes) -> SigningKey:
    """The key that was sealed under this id. Raises WrongSecret."""
    try:
        opened = AESGCM(secret).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], _PURPOSE + key_id.encode())
        jwk = json_object(opened)
        private = Ed25519PrivateKey.from_private_bytes(_half(jwk, "d"))
        found = public_key(jwk)
    except (InvalidTag, ValueError):
        raise WrongSecret(
            f"The server's secret does not open signing key {key_id}. Put the secret back that it was sealed with, or "
            "let another key sign: setup-audit keys rotate."
        ) from None
    if found.id != key_id or found.public != private.public_key():
        raise WrongSecret(f"What is sealed as signing key {key_id} is another key.")
    return SigningKey(key_id, private)


def _half(jwk: Mapping[str, object], name: str) -> bytes:
    text = jwk.get(name)
    some = from_base64url(text) if isinstance(text, str) else b""
    if len(some) != KEY_BYTES:
        raise ValueError(f"'{name}' is not {KEY_BYTES} bytes of base64url")
    return some
