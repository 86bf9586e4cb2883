"""Access tokens of an organisation's own sign-on: JWTs by RFC 9068, checked with the care that RFC 8725 asks for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joserfc import jws
from joserfc.errors import JoseError

from api.identity.caller import Caller, How
from api.identity.compact import MOST_BYTES, Malformed, read_compact
from api.identity.issuer import Issuer, NoKey
from api.identity.rights import Role
from api.identity.sign_on import SignOn, Way

LEEWAY = 60.0
"""Seconds by which the issuer's clock and ours may differ."""
MOST_SUBJECT = 200
MOST_KID = 256
MOST_TIME = 2.0**53

_OWN_KEYS = ("jwk", "jku", "x5u")
"""Where a token would bring its own key; an issuer found by its metadata has no use for these."""
_TYPES = ("at+jwt", "application/at+jwt")
_ID_TYPES = ("jwt", "")


class NotGood(Exception):
    """A token opens nothing, and why, in words that are safe to send back."""


class NoRole(Exception):
    """The token is good, but nothing of what it says is a role or an organisation here."""


class _Registry(jws.JWSRegistry):
    """Knows EdDSA by its newer name only (RFC 9864): for an Ed25519 key the signature is the same."""

    max_header_length = max_payload_length = max_signature_length = MOST_BYTES

    def get_alg(self, name: str) -> Any:
        return super().get_alg(_newer(name))


class Bearer:
    """Checks the tokens of one sign-on.

    Args:
        issuer: gives its keys; fetched from its own address if not given.
    """

    def __init__(self, sign_on: SignOn, issuer: Issuer | None = None) -> None:
        self.sign_on = sign_on
        self.issuer = issuer or Issuer(sign_on.issuer)

    def caller(self, text: str, now: float) -> Caller:
        """Who holds a token. Raises NotGood, NoRole, IssuerDown.

        Args:
            now: s since 1970.
        """
        try:
            claims = self._signed(text)
        except (Malformed, NoKey) as error:
            raise NotGood(str(error)) from error
        self._check(claims, now)
        return Caller(
            self._organisation(claims), f"sign-on:{_subject(claims)}", self._roles(claims), frozenset(), How.SIGN_ON
        )

    def _signed(self, text: str) -> dict[str, Any]:
        """Claims that the issuer signed. Raises Malformed, NoKey, NotGood, IssuerDown."""
        compact = read_compact(text)
        header = compact.header
        alg, kid = header.get("alg"), header.get("kid", "")
        if not isinstance(alg, str) or alg not in self.sign_on.algorithms:
            raise NotGood("its signature is of a kind that is not taken here")
        if "crit" in header or "b64" in header:
            raise NotGood("it asks for something that is not understood here")
        if any(name in header for name in _OWN_KEYS):
            raise NotGood("it brings its own key")
        kind = header.get("typ", "")
        if not isinstance(kind, str) or kind.lower() not in (*_TYPES, *(_ID_TYPES if self.sign_on.id_tokens else ())):
            raise NotGood("it is not an access token (its type is not at+jwt)")
        if not isinstance(kid, str) or len(kid) > MOST_KID:
            raise NotGood("its key id can't be read")
        key = self.issuer.key_for(kid, _newer(alg))
        try:
            jws.deserialize_compact(text, key, registry=_Registry(algorithms=_CHECKED, strict_check_header=False))
        except (JoseError, ValueError, TypeError) as error:
            raise NotGood("its signature is wrong") from error
        return compact.claims

    def _check(self, claims: Mapping[str, Any], now: float) -> None:
        """Raises NotGood for a token of or for someone else, or of another time."""
        if claims.get("iss") != self.sign_on.issuer:
            raise NotGood("it is of another issuer")
        audience = claims.get("aud")
        if self.sign_on.audience not in (audience if isinstance(audience, list) else [audience]):
            raise NotGood("it is for another service")
        if "cnf" in claims:
            raise NotGood("it is bound to a key of its holder, which can't be checked here")
        made, expires = _time(claims, "iat"), _time(claims, "exp")
        if not now < expires + LEEWAY:
            raise NotGood("it has expired")
        if made > now + LEEWAY or ("nbf" in claims and _time(claims, "nbf") > now + LEEWAY):
            raise NotGood("it is not valid yet")
        if not expires - made <= self.sign_on.longest:
            raise NotGood("it was made to live longer than is allowed here")

    def _organisation(self, claims: Mapping[str, Any]) -> str:
        if self.sign_on.organisation:
            return self.sign_on.organisation
        found = _at(claims, self.sign_on.organisation_claim)
        if not isinstance(found, str) or found not in self.sign_on.organisations:
            raise NoRole("Your sign-on names no organisation that is known here. Ask who runs this server.")
        return self.sign_on.organisations[found]

    def _roles(self, claims: Mapping[str, Any]) -> frozenset[Role]:
        found = _at(claims, self.sign_on.roles_claim)
        words = found if isinstance(found, list) else found.split() if isinstance(found, str) else []
        known = self.sign_on.roles
        roles = frozenset(known[word] for word in words if isinstance(word, str) and word in known)
        if not roles:
            raise NoRole("Your sign-on gives you no role here. Ask who looks after your organisation's sign-on.")
        return roles


_CHECKED = ("RS256", "PS256", "ES256", "Ed25519")


def _newer(alg: str) -> str:
    return "Ed25519" if alg == "EdDSA" else alg


def _subject(claims: Mapping[str, Any]) -> str:
    found = claims.get("sub")
    if not isinstance(found, str) or not 0 < len(found) <= MOST_SUBJECT or not found.isprintable():
        raise NotGood("it does not say whose it is")
    return found


def _time(claims: Mapping[str, Any], name: str) -> float:
    """A NumericDate (RFC 7519, section 2) as s since 1970. Raises NotGood."""
    found = claims.get(name)
    if isinstance(found, bool) or not isinstance(found, (int, float)) or not 0 <= found <= MOST_TIME:
        raise NotGood(f"its time '{name}' is missing or can't be read")
    return float(found)


def _at(claims: Mapping[str, Any], way: Way) -> object:
    found: object = claims
    for name in way:
        found = found.get(name) if isinstance(found, dict) else None
    return found
