"""Compact JWS (RFC 7515) with Ed25519 only, read strictly.

There is one way to write what is signed here, so everything else is refused: other algorithms, keys that a text brings
along (RFC 8725, 3.1 and 3.10), header parameters that are not ours, base64url with padding or with bits to spare, JSON
with repeated keys or with numbers that programs read differently. What was signed is looked into only once the
signature is right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidSignature

from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey
from api.certificates.text import compact_parts, json_object, plain_json, to_base64url

ALGORITHM = "Ed25519"
"""The name that RFC 9864 gives; it says the curve too."""
ALGORITHMS = (ALGORITHM, "EdDSA")
"""Names that are read: the second is what RFC 8037 called the same signature before, and our keys are on one curve."""
MOST_BYTES = 16 * 1024
"""Longest text that is read where the reader asks for nothing else."""
SIGNATURE_BYTES = 64

_OWN_KEYS = ("jwk", "jku", "x5u", "x5c", "x5t", "x5t#S256")
_HEADER = {"alg", "kid", "typ"}


@dataclass(frozen=True, slots=True)
class Signed:
    """What was signed, and the id of the key that signed it."""

    content: Mapping[str, Any]
    key: str


def write(content: Mapping[str, Any], kind: str, key: SigningKey) -> str:
    """Signs JSON.

    Args:
        content: JSON of objects, arrays, texts and whole numbers.
        kind: the header's ``typ``; a text of one kind is never taken for another (RFC 8725, 3.11).
    """
    header = {"alg": ALGORITHM, "kid": key.id, "typ": kind}
    text = f"{to_base64url(plain_json(header))}.{to_base64url(plain_json(content))}"
    return f"{text}.{to_base64url(key.private.sign(text.encode('ascii')))}"


def read(text: str, kind: str, keys: Mapping[str, PublicKey], most: int = MOST_BYTES) -> Signed:
    """What was signed, once it is certain that one of the keys signed it.

    Args:
        kind: the ``typ`` that it must have.
        keys: the keys that are relied on, by id.
        most: longest text, characters.

    Raises: NotGood.
    """
    if len(text) > most:
        raise NotGood(Flaw.TOO_LARGE, f"It is longer than {most} characters, the most that is read.")
    try:
        head, content, signature = compact_parts(text)
        header = json_object(head)
    except ValueError as error:
        raise NotGood(Flaw.MALFORMED, f"It is damaged or was never whole: {error}.") from None
    key = _key(header, kind, keys)
    if len(signature) != SIGNATURE_BYTES or not _is_signed(text.rpartition(".")[0], signature, key):
        raise NotGood(Flaw.WRONG_SIGNATURE, "The signature is wrong: it was changed after signing, or it is forged.")
    try:
        return Signed(json_object(content), key.id)
    except ValueError as error:
        raise NotGood(Flaw.MALFORMED, f"What was signed can't be read: {error}.") from None


def named_key(text: str) -> str:
    """Id of the key that a text of our own says it was signed with; nothing is checked. Raises ValueError, KeyError."""
    return str(json_object(compact_parts(text)[0])["kid"])


def _key(header: Mapping[str, Any], kind: str, keys: Mapping[str, PublicKey]) -> PublicKey:
    """The key that a header names, if everything else in it is as it must be."""
    if "crit" in header:
        raise NotGood(Flaw.CRITICAL_HEADER, "It calls for an extension ('crit'); there are none here.")
    own = [name for name in _OWN_KEYS if name in header]
    if own:
        raise NotGood(Flaw.OWN_KEY, f"It brings its own key along ('{own[0]}'); anyone can do that.")
    if header.get("alg") not in ALGORITHMS:
        raise NotGood(Flaw.WRONG_ALGORITHM, f"It is not signed with {ALGORITHM}, and nothing else is relied on.")
    if header.get("typ") != kind:
        raise NotGood(Flaw.WRONG_TYPE, f"It is something else than was asked for ({kind}).")
    if header.keys() != _HEADER:
        raise NotGood(Flaw.MALFORMED, "Its header does not hold exactly alg, kid and typ.")
    key = keys.get(header["kid"]) if isinstance(header["kid"], str) else None
    if key is None:
        raise NotGood(
            Flaw.UNKNOWN_KEY,
            "The key that signed it is not among those relied on: fetch the server's keys again; if it is not "
            "there either, it is forged or the key was withdrawn.",
        )
    if key.compromised:
        raise NotGood(Flaw.COMPROMISED_KEY, "The key that signed it is no longer secret; nothing it signed counts.")
    return key


def _is_signed(text: str, signature: bytes, key: PublicKey) -> bool:
    try:
        key.public.verify(signature, text.encode("ascii"))
    except InvalidSignature:
        return False
    return True
