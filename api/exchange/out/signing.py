"""Signatures of what is sent to webhooks, and the secrets that make them.

Source: Standard Webhooks 1.0.0, spec/standard-webhooks.md, "Signature scheme". The signed bytes are the id, the time of
the attempt and the body, joined by full stops. ``v1`` is HMAC-SHA256 with a secret that both sides know; ``v1a`` is
Ed25519, which the receiver checks with a public key.
"""

from __future__ import annotations

import hmac
import os
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from api.certificates.keys import NONCE_BYTES, WrongSecret

SECRET_BYTES = 32
"""Of either secret; the standard asks for 24 to 64."""
_PURPOSE = b"setup-audit webhook secret "


@dataclass(frozen=True, slots=True)
class Secret:
    """The two secrets of a webhook: one shared, and the seed of a private key."""

    shared: bytes
    seed: bytes

    @property
    def text(self) -> str:
        """The shared one as its receiver needs it."""
        return f"whsec_{b64encode(self.shared).decode()}"

    @property
    def public(self) -> str:
        """What checks the signatures of the private key."""
        public = Ed25519PrivateKey.from_private_bytes(self.seed).public_key()
        return f"whpk_{b64encode(public.public_bytes_raw()).decode()}"


def make() -> Secret:
    """A new pair of secrets."""
    return Secret(os.urandom(SECRET_BYTES), os.urandom(SECRET_BYTES))


def seal(secret: Secret, of: str, server_secret: bytes) -> bytes:
    """Both under AES-256-GCM, bound to whom they are of: nonce, then text and tag."""
    nonce = os.urandom(NONCE_BYTES)
    return nonce + AESGCM(server_secret).encrypt(nonce, secret.shared + secret.seed, _PURPOSE + of.encode())


def unseal(sealed: bytes, of: str, server_secret: bytes) -> Secret:
    """What was sealed. Raises WrongSecret."""
    try:
        opened = AESGCM(server_secret).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], _PURPOSE + of.encode())
    except (InvalidTag, ValueError):
        raise WrongSecret(
            f"The server's secret does not open the secret of webhook {of}. Put the secret back that it was sealed "
            "with, or make the webhook a new one."
        ) from None
    return Secret(opened[:SECRET_BYTES], opened[SECRET_BYTES:])


def headers(id: str, at: int, body: bytes, secrets: Sequence[Secret]) -> dict[str, str]:
    """The headers of one attempt.

    Args:
        id: of the event, the same at every attempt.   at: when it is sent, whole s since 1970.
        secrets: every one that signs now.
    """
    signed = f"{id}.{at}.".encode() + body
    signatures = [f"v1,{b64encode(hmac.digest(one.shared, signed, sha256)).decode()}" for one in secrets]
    for one in secrets:
        found = Ed25519PrivateKey.from_private_bytes(one.seed).sign(signed)
        signatures.append(f"v1a,{b64encode(found).decode()}")
    return {"webhook-id": id, "webhook-timestamp": str(at), "webhook-signature": " ".join(signatures)}
