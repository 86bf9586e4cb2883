"""Tokens that an issuer signed, read with the care that RFC 8725 asks for; what they open is for others to say."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from joserfc import jws
from joserfc.errors import JoseError

from api.identity.compact import MOST_BYTES, Malformed, read_compact
from api.identity.issuer import Issuer, NoKey
from api.identity.sign_on import SignOn

LEEWAY = 60.0
"""Seconds by which the issuer's clock and ours may differ."""
MOST_KID = 256
MOST_TIME = 2.0**53

ACCESS_TOKEN = ("at+jwt", "application/at+jwt")
"""Types of an access token (RFC 9068, section 4)."""
ID_TOKEN = ("jwt", "")
"""Types of an ID token, '' where it has none."""

_OWN_KEYS = ("jwk", "jku", "x5u")
"""Where a token would bring its own key; an issuer found by its metadata has no use for these."""
_CHECKED = ("RS256", "PS256", "ES256", "Ed25519")


class NotGood(Exception):
    """A token opens nothing, and why, in words that are safe to send back."""


class WrongTime(NotGood):
    """It has expired, or is not valid yet: true, or one of two clocks is wrong."""


@dataclass(frozen=True, slots=True)
class Signed:
    """What an issuer signed; ``alg`` has the newer name of an algorithm."""

    alg: str
    claims: Mapping[str, Any]


class _Registry(jws.JWSRegistry):
    """Knows EdDSA by its newer name only (RFC 9864): for an Ed25519 key the signature is the same."""

    max_header_length = max_payload_length = max_signature_length = MOST_BYTES

    def get_alg(self, name: str) -> Any:
        return super().get_alg(_newer(name))


def signed(
    text: str, issuer: Issuer, algorithms: Collection[str], kinds: Collection[str], vouched: bool = False
) -> Signed:
    """What the issuer signed. Raises NotGood, IssuerDown.

    Args:
        algorithms: that are taken.
        kinds: types that are taken, in small letters.
        vouched: the issuer itself handed it over.
    """
    try:
        compact = read_compact(text)
        alg, kid = _of_header(compact.header, algorithms, kinds)
        key = issuer.key_for(kid, alg, vouched)
    except (Malformed, NoKey) as error:
        raise NotGood(str(error)) from error
    try:
        jws.deserialize_compact(text, key, registry=_Registry(algorithms=_CHECKED, strict_check_header=False))
    except (JoseError, ValueError, TypeError) as error:
        raise NotGood("its signature is wrong") from error
    return Signed(alg, compact.claims)


def _of_header(header: Mapping[str, Any], algorithms: Collection[str], kinds: Collection[str]) -> tuple[str, str]:
    """Algorithm and key id. Raises NotGood."""
    alg, kid, kind = header.get("alg"), header.get("kid", ""), header.get("typ", "")
    if not isinstance(alg, str) or alg not in algorithms:
        raise NotGood("its signature is of a kind that is not taken here")
    if "crit" in header or "b64" in header:
        raise NotGood("it asks for something that is not understood here")
    if any(name in header for name in _OWN_KEYS):
        raise NotGood("it brings its own key")
    if not isinstance(kind, str) or kind.lower() not in kinds:
        wanted = "not an access token (its type is not at+jwt)" if ACCESS_TOKEN[0] in kinds else "not an ID token"
        raise NotGood(f"it is {wanted}")
    if not isinstance(kid, str) or len(kid) > MOST_KID:
        raise NotGood("its key id can't be read")
    return _newer(alg), kid


def check_issued(claims: Mapping[str, Any], sign_on: SignOn, now: float) -> float:
    """When a token expires, s since 1970. Raises NotGood for one of someone else, or of another time."""
    if claims.get("iss") != sign_on.issuer:
        raise NotGood("it is of another issuer")
    made, expires = _time(claims, "iat"), _time(claims, "exp")
    if not now < expires + LEEWAY:
        raise WrongTime("it has expired")
    if made > now + LEEWAY or ("nbf" in claims and _time(claims, "nbf") > now + LEEWAY):
        raise WrongTime("it is not valid yet")
    if not expires - made <= sign_on.longest:
        raise NotGood("it was made to live longer than is allowed here")
    return expires


def audiences(claims: Mapping[str, Any]) -> list[object]:
    """Whom a token is for (RFC 7519, section 4.1.3)."""
    found = claims.get("aud")
    return found if isinstance(found, list) else [found]


def _newer(alg: str) -> str:
    return "Ed25519" if alg == "EdDSA" else alg


def _time(claims: Mapping[str, Any], name: str) -> float:
    """A NumericDate (RFC 7519, section 2) as s since 1970. Raises NotGood."""
    found = claims.get(name)
    if isinstance(found, bool) or not isinstance(found, (int, float)) or not 0 <= found <= MOST_TIME:
        raise NotGood(f"its time '{name}' is missing or can't be read")
    return float(found)
