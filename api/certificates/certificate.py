"""The certificate of a cleared harvest start: what it says, how it is signed, how it is checked.

The names of RFC 7519 are used where it has one: ``iss``, ``sub`` (the unit), ``jti`` (the start), ``iat`` and ``exp``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.certificates import jws
from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey
from api.certificates.moment import CLOCKS_DIFFER, shown

KIND = "start-certificate+jwt"
"""The header's ``typ``."""
LONGEST = 31 * 86400
"""Longest time that a certificate is good for, s. So it is known when a key that signs no more is needed no more."""
MOST_TEXT = 300
"""Longest text of a claim, characters."""

_DIGEST = re.compile(r"[0-9a-f]{64}")
_REGISTERED = {"issuer": "iss", "unit": "sub", "start": "jti", "issued": "iat", "expires": "exp"}
_TEXTS = ("issuer", "organisation", "unit", "crop", "start", "setup")
_DIGESTS = ("setup_digest", "rulebook", "record_hash")
_NUMBERS = ("issued", "expires", "record_number")


@dataclass(frozen=True, slots=True)
class Claims:
    """What a certificate says. Texts are printable; digests and hashes are SHA-256 in lower hexadecimal digits.

    Attributes:
        issuer: the server's own address or name.
        crop, header_kind: the job; ``header_kind`` is '' where it is not known.
        start: id of the start on the organisation's record.
        setup, setup_digest: id and digest of the setup that was cleared.
        rulebook: digest of the rulebook that judged it.
        issued, expires: whole s since 1970; at most ``LONGEST`` apart.
        accepted: ids of the acceptances that it was cleared with.
        record_number, record_hash: the newest event of the organisation's record.
    """

    issuer: str
    organisation: str
    unit: str
    crop: str
    header_kind: str
    start: str
    setup: str
    setup_digest: str
    rulebook: str
    issued: int
    expires: int
    accepted: tuple[str, ...]
    record_number: int
    record_hash: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What a certificate must be for; None where it is not asked."""

    issuer: str | None = None
    organisation: str | None = None
    unit: str | None = None
    crop: str | None = None
    header_kind: str | None = None
    setup_digest: str | None = None
    rulebook: str | None = None


ANY = Expected()

_OTHER = {
    "issuer": (Flaw.OTHER_ISSUER, "It was issued by another server"),
    "organisation": (Flaw.FOR_ANOTHER_ORGANISATION, "It is for another organisation"),
    "unit": (Flaw.FOR_ANOTHER_UNIT, "It is for another unit"),
    "crop": (Flaw.FOR_ANOTHER_JOB, "It is for another crop"),
    "header_kind": (Flaw.FOR_ANOTHER_JOB, "It is for another kind of header"),
    "setup_digest": (Flaw.FOR_ANOTHER_SETUP, "It is for another setup"),
    "rulebook": (Flaw.OTHER_RULEBOOK, "It was judged by another rulebook"),
}


def sign(claims: Claims, key: SigningKey) -> str:
    """The certificate as compact JWS. Raises ValueError for claims that no reader would take."""
    wrong = _wrong(claims)
    if wrong:
        raise ValueError(f"no certificate can say this: {wrong}")
    text = jws.write(_content(claims), KIND, key)
    if len(text) > jws.MOST_BYTES:
        raise ValueError(f"the certificate would be longer than {jws.MOST_BYTES} characters")
    return text


def read(text: str, keys: Mapping[str, PublicKey], now: float, expected: Expected = ANY) -> Claims:
    """What a certificate says, once it is certain that it is good.

    Args:
        keys: the keys that are relied on, by id.
        now: s since 1970.

    Raises: NotGood.
    """
    claims = _claims(jws.read(text, KIND, keys).content)
    for name, (flaw, said) in _OTHER.items():
        wanted, found = getattr(expected, name), getattr(claims, name)
        if wanted is not None and wanted != found:
            raise NotGood(flaw, f"{said}: {found or 'none is named'}.")
    if not claims.issued <= now + CLOCKS_DIFFER:
        raise NotGood(
            Flaw.NOT_YET_VALID, f"It was issued later than now, at {shown(claims.issued)}; look at the clock."
        )
    if not now < claims.expires:
        raise NotGood(Flaw.EXPIRED, f"It expired at {shown(claims.expires)}.")
    return claims


def _content(claims: Claims) -> dict[str, Any]:
    return {_REGISTERED.get(name, name): getattr(claims, name) for name in Claims.__dataclass_fields__}


def _claims(content: Mapping[str, Any]) -> Claims:
    names = {_REGISTERED.get(name, name): name for name in Claims.__dataclass_fields__}
    if content.keys() != names.keys():
        raise NotGood(Flaw.MALFORMED, "It does not say exactly what a start certificate says.")
    said = {names[name]: value for name, value in content.items()}
    if isinstance(said["accepted"], list):
        said["accepted"] = tuple(said["accepted"])
    claims = Claims(**said)
    wrong = _wrong(claims)
    if wrong:
        raise NotGood(Flaw.MALFORMED, f"It says what no start certificate says: {wrong}.")
    return claims


def _wrong(claims: Claims) -> str:
    """What is not as it must be, '' for nothing. The claims may hold values of any type."""
    for name in _TEXTS:
        if not is_text(getattr(claims, name)):
            return f"its {name} is not a printable text of 1 to {MOST_TEXT} characters"
    if claims.header_kind != "" and not is_text(claims.header_kind):
        return f"its header kind is not a printable text of at most {MOST_TEXT} characters"
    for name in _DIGESTS:
        value = getattr(claims, name)
        if not isinstance(value, str) or not _DIGEST.fullmatch(value):
            return f"its {name.replace('_', ' ')} is not a SHA-256 digest"
    for name in _NUMBERS:
        value = getattr(claims, name)
        if type(value) is not int or value < 1:
            return f"its {name.replace('_', ' ')} is not a whole number above 0"
    if not claims.issued < claims.expires <= claims.issued + LONGEST:
        return f"it is not good for some time of at most {LONGEST // 86400} days"
    accepted = claims.accepted
    if not isinstance(accepted, tuple) or not all(map(is_text, accepted)) or len(set(accepted)) != len(accepted):
        return "what was accepted is not a list of different ids"
    return ""


def is_text(value: object) -> bool:
    """Whether a value can be shown on any terminal as it is: no control characters, nothing that turns text around."""
    return isinstance(value, str) and 0 < len(value) <= MOST_TEXT and value.isprintable()
