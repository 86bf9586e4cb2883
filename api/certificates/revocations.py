"""The list of starts that were cleared and are so no longer, signed so that a terminal can carry it.

Anyone may fetch the list, so it tells nobody whose starts it is about: a start stands there as a hash of organisation
and id, which only a holder of the certificate can compute.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

from api.certificates import jws
from api.certificates.certificate import Claims, is_text
from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey
from api.certificates.moment import CLOCKS_DIFFER, shown
from api.certificates.text import json_object, plain_json

KIND = "revoked-starts+jwt"
"""The header's ``typ``."""
MOST_BYTES = 4 * 1024 * 1024
"""Longest list that is read."""
GOOD_FOR = 86400
"""Seconds for which a list is relied on: a day, as long as a certificate is good where nobody says otherwise."""
MEMBER = "revoked_starts"
"""The one member of the document that carries the signed list."""

_CLAIMS = {"iss", "iat", "exp", "starts", "compromised"}
_MARK = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Revocations:
    """What the server holds no longer true at a time.

    Attributes:
        made: whole s since 1970.
        starts: when each start was revoked, whole s since 1970, by ``mark``; those whose certificates have expired
            anyway may be missing.
        compromised: ids of keys that are no longer secret.
        good_for: s from then on; who relies on it later does not know what was revoked since.
    """

    issuer: str
    made: int
    starts: Mapping[str, int]
    compromised: tuple[str, ...] = ()
    good_for: int = GOOD_FOR

    @property
    def until(self) -> int:
        """When the list is to be fetched again at the latest, whole s since 1970."""
        return self.made + self.good_for

    def revoked(self, claims: Claims) -> int | None:
        """When a certificate's start was revoked, None if the list does not say so."""
        return self.starts.get(mark(claims.organisation, claims.start))

    def keys_left(self, keys: Mapping[str, PublicKey]) -> dict[str, PublicKey]:
        """The same keys, marked as compromised where the list says so."""
        return {id: PublicKey(id, key.public, key.compromised or id in self.compromised) for id, key in keys.items()}


def mark(organisation: str, start: str) -> str:
    """What a start is called in the list: 32 hexadecimal digits of SHA-256 over both ids, which JSON keeps apart."""
    return sha256(plain_json({"organisation": organisation, "start": start})).hexdigest()[:32]


def sign(revocations: Revocations, key: SigningKey) -> str:
    """The list as a JSON document. Raises ValueError for one that no reader would take."""
    wrong = _wrong(revocations)
    if wrong:
        raise ValueError(f"no list of revoked starts can say this: {wrong}")
    content = {
        "iss": revocations.issuer,
        "iat": revocations.made,
        "exp": revocations.until,
        "starts": dict(revocations.starts),
        "compromised": list(revocations.compromised),
    }
    return plain_json({MEMBER: jws.write(content, KIND, key)}).decode()


def read(text: bytes, keys: Mapping[str, PublicKey], now: float, most_age: float | None = None) -> Revocations:
    """The list of a document, once it is certain that the server signed it, and not too long ago.

    Args:
        most_age: s that it may be old, where whoever checks does not keep to the list's own limit.

    Raises: NotGood.
    """
    if len(text) > MOST_BYTES:
        raise NotGood(Flaw.TOO_LARGE, f"It is longer than {MOST_BYTES // 1024 // 1024} MiB, the most that is read.")
    try:
        document = json_object(text)
    except ValueError as error:
        raise NotGood(Flaw.MALFORMED, f"It is no list of revoked starts: {error}.") from None
    signed = document.get(MEMBER)
    if document.keys() != {MEMBER} or not isinstance(signed, str):
        raise NotGood(Flaw.MALFORMED, f"It is no list of revoked starts: it does not hold exactly '{MEMBER}'.")
    found = jws.read(signed, KIND, keys, MOST_BYTES)
    content = found.content
    if content.keys() != _CLAIMS or not isinstance(content["compromised"], list):
        raise NotGood(Flaw.MALFORMED, "It does not say exactly what a list of revoked starts says.")
    if not (_is_moment(content["iat"]) and _is_moment(content["exp"]) and content["exp"] > content["iat"]):
        raise NotGood(Flaw.MALFORMED, "When it was made and until when it is good are not two times in order.")
    revocations = Revocations(
        content["iss"],
        content["iat"],
        content["starts"],
        tuple(content["compromised"]),
        content["exp"] - content["iat"],
    )
    wrong = _wrong(revocations)
    if wrong:
        raise NotGood(Flaw.MALFORMED, f"It says what no list of revoked starts says: {wrong}.")
    if found.key in revocations.compromised:
        raise NotGood(Flaw.COMPROMISED_KEY, "It calls the key compromised that signed it.")
    if not revocations.made <= now + CLOCKS_DIFFER:
        raise NotGood(
            Flaw.NOT_YET_VALID, f"It was made later than now, at {shown(revocations.made)}; look at the clock."
        )
    until = revocations.until if most_age is None else revocations.made + most_age
    if not now < until:
        raise NotGood(
            Flaw.EXPIRED,
            f"It is too old: made at {shown(revocations.made)}, it was good until {shown(until)}, and nobody knows "
            "what was revoked since; fetch it again.",
        )
    return revocations


def _wrong(revocations: Revocations) -> str:
    """What is not as it must be, '' for nothing. The list may hold values of any type."""
    if not is_text(revocations.issuer):
        return "its issuer is not a printable text"
    if not _is_moment(revocations.made):
        return "when it was made is not a whole number above 0"
    if not _is_moment(revocations.good_for):
        return "how long it is good is not a whole number above 0"
    if not isinstance(revocations.starts, Mapping) or not all(map(_MARK.fullmatch, revocations.starts)):
        return "its starts are not listed by their marks"
    if not all(map(_is_moment, revocations.starts.values())):
        return "when a start was revoked is not a whole number above 0"
    if not all(map(is_text, revocations.compromised)):
        return "its compromised keys are not a list of ids"
    return ""


def _is_moment(value: object) -> bool:
    return type(value) is int and value > 0
