"""What a browser that signs in by an organisation's own sign-on is given to keep, sealed: before, and after."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from api.identity.words import Words


@dataclass(frozen=True, slots=True)
class Begun:
    """A sign-in that was begun in a browser and must be ended in the same one.

    Attributes:
        state: comes back with the issuer's answer (RFC 6749, section 10.12).
        nonce: comes back in the ID token (OpenID Connect Core 1.0, section 3.1.2.1).
        verifier: shows the issuer that whoever brings the code began it (RFC 7636).
        next: path of this server to go on to.
    """

    state: str
    nonce: str
    verifier: str
    next: str


@dataclass(frozen=True, slots=True)
class Session:
    """Who signed in.

    It holds what the issuer said, not what that meant here, so that settings hold as soon as they are changed.

    Attributes:
        until: s since 1970.
    """

    id: str
    issuer: str
    words: Words
    until: float


def written(one: Begun | Session) -> str:
    """As JSON text."""
    return json.dumps(asdict(one), separators=(",", ":"))


def read_begun(text: str) -> Begun:
    """What ``written`` wrote."""
    return Begun(**json.loads(text))


def read_session(text: str) -> Session:
    """What ``written`` wrote."""
    plain = json.loads(text)
    words = plain.pop("words")
    return Session(**plain, words=Words(words["subject"], words["organisation"], tuple(words["roles"])))
