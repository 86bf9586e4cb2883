"""Signing in with a browser: the authorisation code flow of OpenID Connect Core 1.0, section 3.1, with PKCE.

By RFC 6749, section 4.1, RFC 7636 and RFC 9207, with the care that RFC 9700 asks for: S256 only, a state and a nonce
for each sign-in, redirection addresses that are compared whole, and an answer only from the issuer that was asked.
"""

from __future__ import annotations

import secrets
from base64 import b64encode
from collections.abc import Iterable
from enum import Enum
from hashlib import sha256
from hmac import compare_digest
from typing import Any
from urllib.parse import quote_plus, urlencode

from api.certificates.text import to_base64url
from api.identity.fetch import Asks, NotFetched
from api.identity.id_token import check_id_token
from api.identity.issuer import Issuer, IssuerDown
from api.identity.metadata import BASIC, POST, Metadata
from api.identity.session import Begun, Session
from api.identity.sign_on import SignOn
from api.identity.signed import LEEWAY, NotGood, WrongTime
from api.identity.words import words_of

RETURN = "/sign-in/return"
"""Path of this server that the issuer sends browsers back to."""
S256 = "S256"
RANDOM_BYTES = 32
"""Of state, nonce and verifier; RFC 7636, section 4.1, recommends as many, which are 43 characters."""
MOST_CODE = 4096
_ERRORS = frozenset({
    "invalid_request", "unauthorized_client", "access_denied", "unsupported_response_type", "invalid_scope",
    "server_error", "temporarily_unavailable", "interaction_required", "login_required", "account_selection_required",
    "consent_required", "invalid_request_uri", "invalid_request_object", "request_not_supported",
    "request_uri_not_supported", "registration_not_supported",
})  # fmt: skip
"""RFC 6749, section 4.1.2.1, and OpenID Connect Core 1.0, section 3.1.2.6. Any other is whoever's text, for no log."""


class Why(Enum):
    """Why nobody was signed in; a page says what to do."""

    NOT_BEGUN = "it was not begun in this browser, or too long ago"
    DENIED = "the issuer, or whoever sat before it, said no"
    REFUSED = "the issuer refused"
    NOT_OURS = "the answer is not to what was asked"
    SPENT = "the code was used before, or is too old"
    NOT_KNOWN = "the issuer does not know this server as its client"
    NOT_OFFERED = "the issuer does not offer what is needed"
    DOWN = "the issuer can't be reached, or answers with nonsense"
    CLOCK = "the ID token is of another time"
    NOT_GOOD = "the ID token is not good"
    NO_ROLE = "nothing that the issuer says is a role or an organisation here"
    TOO_LONG = "the issuer says more than a cookie can hold"


OUT_OF_ORDER = frozenset({Why.REFUSED, Why.NOT_KNOWN, Why.NOT_OFFERED, Why.DOWN, Why.CLOCK, Why.NOT_GOOD})
"""What whoever runs the server or the sign-on has to put right."""


class Stopped(Exception):
    """Nobody was signed in. The text is for the log: it holds nothing secret, and nothing out of a request."""

    def __init__(self, why: Why, detail: str = "") -> None:
        super().__init__(f"{why.value}: {detail}" if detail else why.value)
        self.why = why


class CodeFlow:
    """Signs people in by one issuer.

    Args:
        sign_on: settings with a client.
        asks: asks the issuer.
        comes_back: address of this server that the issuer sends browsers back to.
    """

    def __init__(self, sign_on: SignOn, issuer: Issuer, asks: Asks, comes_back: str) -> None:
        self.sign_on, self.comes_back = sign_on, comes_back
        self._issuer, self._asks = issuer, asks

    def begin(self, next: str) -> tuple[Begun, str]:
        """A new sign-in, and the address at which the issuer begins it. Raises Stopped: DOWN or NOT_OFFERED."""
        found = self._metadata()
        if not found.authorization or not found.token:
            raise Stopped(Why.NOT_OFFERED, "its metadata lacks a usable authorization_endpoint or token_endpoint")
        if found.challenges is not None and S256 not in found.challenges:
            raise Stopped(Why.NOT_OFFERED, "it takes no PKCE challenge of S256")
        state, nonce, verifier = (secrets.token_urlsafe(RANDOM_BYTES) for _ in range(3))
        begun = Begun(state, nonce, verifier, next)
        asked = {
            "response_type": "code", "client_id": self.sign_on.client, "redirect_uri": self.comes_back,
            "scope": " ".join(self.sign_on.scopes), "state": begun.state, "nonce": begun.nonce,
            "code_challenge": challenge(begun.verifier), "code_challenge_method": S256,
        }  # fmt: skip
        return begun, f"{found.authorization}{'&' if '?' in found.authorization else '?'}{urlencode(asked)}"

    def finish(self, begun: Begun, answer: Iterable[tuple[str, str]], now: float) -> Session:
        """Who signed in. Raises Stopped.

        Args:
            begun: as the browser that brings the answer was given it.
            answer: names and values that the issuer sent the browser back with.
            now: s since 1970.
        """
        code = self._code(begun, list(answer))
        given = self._given(begun, code)
        access = given.get("access_token", "")
        id_token = given.get("id_token")
        kind = given.get("token_type")
        if not isinstance(id_token, str) or not isinstance(access, str) or str(kind).lower() != "bearer":
            raise Stopped(Why.NOT_GOOD, "the token endpoint gave no ID token, or no token type of Bearer")
        try:
            claims, expires = check_id_token(id_token, self.sign_on, self._issuer, begun.nonce, access, now)
            words = words_of(self.sign_on, claims)
        except WrongTime as error:
            raise Stopped(Why.CLOCK, str(error)) from error
        except NotGood as error:
            raise Stopped(Why.NOT_GOOD, str(error)) from error
        except IssuerDown as error:
            raise Stopped(Why.DOWN, str(error)) from error
        return Session(secrets.token_urlsafe(16), self.sign_on.issuer, words, expires + LEEWAY)

    def leaves_by(self) -> str:
        """Address at which a person can sign out at the issuer too; '' if it has none, or can't say now.

        By OpenID Connect RP-Initiated Logout 1.0, section 2, without a hint: the issuer asks the person.
        """
        try:
            found = self._issuer.metadata().end_session
        except IssuerDown:
            return ""
        asked = urlencode({"client_id": self.sign_on.client})
        return f"{found}{'&' if '?' in found else '?'}{asked}" if found else ""

    def _metadata(self) -> Metadata:
        try:
            return self._issuer.metadata()
        except IssuerDown as error:
            raise Stopped(Why.DOWN, str(error)) from error

    def _code(self, begun: Begun, answer: list[tuple[str, str]]) -> str:
        """The code of an answer to this sign-in. Raises Stopped."""
        found = dict(answer)
        if len(found) != len(answer):
            raise Stopped(Why.NOT_OURS, "a parameter comes twice")  # RFC 6749, section 3.1
        if not compare_digest(found.get("state", "").encode(), begun.state.encode()):
            raise Stopped(Why.NOT_OURS, "the state is another")
        if found.get("iss", self.sign_on.issuer) != self.sign_on.issuer:
            raise Stopped(Why.NOT_OURS, "another issuer answers")  # RFC 9207, section 2.4
        if "iss" not in found and self._metadata().names_itself:
            raise Stopped(Why.NOT_OURS, "the issuer says that it names itself, and does not")
        if (error := found.get("error")) is not None:
            if error == "access_denied":
                raise Stopped(Why.DENIED)
            raise Stopped(Why.REFUSED, error if error in _ERRORS else "with an error that no standard has")
        code = found.get("code", "")
        if not code or len(code) > MOST_CODE or not code.isascii() or not code.isprintable():
            raise Stopped(Why.NOT_OURS, "there is no code that can be one")
        return code

    def _given(self, begun: Begun, code: str) -> dict[str, Any]:
        """What the token endpoint gives for a code (RFC 6749, section 4.1.3). Raises Stopped."""
        found = self._metadata()
        form = {
            "grant_type": "authorization_code", "code": code, "redirect_uri": self.comes_back,
            "code_verifier": begun.verifier,
        }  # fmt: skip
        headers = self._shows_itself(found, form)
        try:
            status, given = self._asks.post(found.token, form, headers)
        except NotFetched as error:
            raise Stopped(Why.DOWN, str(error)) from error
        if not isinstance(given, dict):
            raise Stopped(Why.DOWN, "the token endpoint answers with no object")
        if status == 200:
            return given
        if given.get("error") == "invalid_grant":
            raise Stopped(Why.SPENT)
        if given.get("error") in ("invalid_client", "unauthorized_client"):
            raise Stopped(Why.NOT_KNOWN)
        raise Stopped(Why.REFUSED, f"its token endpoint, with status {status}")

    def _shows_itself(self, found: Metadata, form: dict[str, str]) -> dict[str, str]:
        """Headers by which the client shows who it is, or the same put into the form (RFC 6749, section 2.3.1)."""
        client, secret = self.sign_on.client, self.sign_on.secret
        if secret and BASIC in found.shows_secret:
            pair = f"{quote_plus(client)}:{quote_plus(secret)}"
            return {"Authorization": f"Basic {b64encode(pair.encode('ascii')).decode('ascii')}"}
        form["client_id"] = client
        if secret and POST not in found.shows_secret:
            raise Stopped(Why.NOT_OFFERED, f"it takes a client's secret neither by {BASIC} nor by {POST}")
        if secret:
            form["client_secret"] = secret
        return {}


def challenge(verifier: str) -> str:
    """The S256 challenge of a verifier (RFC 7636, section 4.2)."""
    return to_base64url(sha256(verifier.encode("ascii")).digest())
