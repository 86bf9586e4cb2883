"""ID tokens, checked as OpenID Connect Core 1.0, section 3.1.3.7, says, and more strictly where it leaves a choice."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256, sha512
from hmac import compare_digest
from typing import Any

from api.certificates.text import to_base64url
from api.identity.issuer import Issuer
from api.identity.sign_on import SignOn
from api.identity.signed import ID_TOKEN, NotGood, audiences, check_issued, signed

_HASHES = {"RS256": sha256, "PS256": sha256, "ES256": sha256, "Ed25519": sha512}
"""The hash of a signature's algorithm, by which at_hash is made; Ed25519 signs with SHA-512 (RFC 8032, section 5.1)."""


def check_id_token(
    text: str, sign_on: SignOn, issuer: Issuer, nonce: str, access_token: str, now: float
) -> tuple[Mapping[str, Any], float]:
    """Claims of an ID token that the token endpoint gave, and when it expires.

    Args:
        nonce: of the sign-in that was begun.
        access_token: that came with it, '' for none.
        now: s since 1970.

    Raises: NotGood; IssuerDown.
    """
    found = signed(text, issuer, sign_on.algorithms, ID_TOKEN, vouched=True)
    claims = found.claims
    expires = check_issued(claims, sign_on, now)
    meant = audiences(claims)
    if sign_on.client not in meant:
        raise NotGood("it is for another client")
    if any(one not in (sign_on.client, sign_on.audience) for one in meant):
        raise NotGood("it is for others too, who are not known here")
    if len(meant) > 1 and "azp" not in claims:
        raise NotGood("it is for several, and does not say who asked for it")
    if "azp" in claims and claims["azp"] != sign_on.client:
        raise NotGood("another client asked for it")
    said = claims.get("nonce")
    if not isinstance(said, str) or not compare_digest(said.encode(), nonce.encode()):
        raise NotGood("it is of another sign-in")
    if "at_hash" in claims and claims["at_hash"] != half_hash(found.alg, access_token):
        raise NotGood("another access token came with it")
    return claims, expires


def half_hash(alg: str, text: str) -> str:
    """``at_hash`` of an access token (OpenID Connect Core 1.0, section 3.1.3.6)."""
    digest = _HASHES[alg](text.encode("ascii", "replace")).digest()
    return to_base64url(digest[: len(digest) // 2])
