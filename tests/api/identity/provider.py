"""An organisation's sign-on over HTTP on this machine: the provider's side of OpenID Connect Core 1.0, section 3.1.

It keeps to the standards by its own reading of them and refuses what they have it refuse, so that a sign-in that it
lets through is a right one; a test tells it what to do wrong.
"""

from __future__ import annotations

import json
import secrets
import threading
import time
from base64 import b64decode, urlsafe_b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from html import escape
from http.server import ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, unquote_plus, urlencode, urlsplit

from joserfc import jws
from joserfc.jwk import RSAKey

from tests.api.exchange.serving import Asked

CLIENT, SECRET, AUDIENCE = "setup-audit", "kept:well+of%the/client", "https://audit.ridgeline.example"
FIRST, SECOND = (RSAKey.generate_key(2048, {"kid": kid}) for kid in ("first", "second"))


@dataclass
class Grant:
    """What a code stands for."""

    asked: dict[str, str]
    spent: bool = False


@dataclass
class Provider:
    """What it knows, and what it shall do.

    Attributes:
        metadata, claims, header, given: put over the usual ones; None takes one out.
        made, lasts: when ID tokens are made, s from now, and for how long.
        sends_back: put over what a browser is sent back with.
        asks_person: shows a page with a button instead of sending a browser back at once.
        answers: status and body of the token endpoint instead of the right ones.
        names_itself: by RFC 9207.
        seen: requests to the token endpoint.
    """

    url: str = ""
    secret: str = ""
    comes_back: str = "http://127.0.0.1:8000/sign-in/return"
    key: Any = field(default_factory=lambda: FIRST)
    published: list[Any] = field(default_factory=lambda: [FIRST])
    metadata: dict[str, Any] = field(default_factory=dict)
    claims: dict[str, Any] = field(default_factory=dict)
    header: dict[str, Any] = field(default_factory=dict)
    given: dict[str, Any] = field(default_factory=dict)
    made: float = 0.0
    lasts: float = 600.0
    sends_back: dict[str, Any] = field(default_factory=dict)
    names_itself: bool = False
    asks_person: bool = False
    answers: tuple[int, bytes] | None = None
    by_post: bool = False
    seen: list[dict[str, str]] = field(default_factory=list)
    grants: dict[str, Grant] = field(default_factory=dict)
    left: list[dict[str, str]] = field(default_factory=list)

    def environment(self, **changes: Any) -> dict[str, str]:
        """Settings by which a server trusts it."""
        settings = {
            "issuer": self.url, "audience": AUDIENCE, "organisation": "home", "roles_claim": "groups",
            "roles": {"harvest crew": "mechanic", "harvest lead": "owner"}, "client_id": CLIENT,
            "scopes": ["openid", "groups"], "client_secret": "env:CLIENT_SECRET" if self.secret else None,
        }  # fmt: skip
        return {"SETUP_AUDIT_SIGN_ON": json.dumps(whole(settings, changes)), "CLIENT_SECRET": self.secret}

    def about(self) -> dict[str, Any]:
        """Its metadata (OpenID Connect Discovery 1.0, section 3)."""
        usual = {
            "issuer": self.url, "jwks_uri": f"{self.url}/keys", "authorization_endpoint": f"{self.url}/authorize?x=1",
            "token_endpoint": f"{self.url}/token", "response_types_supported": ["code"],
            "subject_types_supported": ["public"], "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
            "authorization_response_iss_parameter_supported": self.names_itself,
        }  # fmt: skip
        return whole(usual, self.metadata)

    def authorize(self, asked: dict[str, str]) -> str | None:
        """Where a browser is sent back to; None where it must not be sent anywhere (RFC 6749, section 4.1.2.1)."""
        if asked.get("redirect_uri") != self.comes_back or asked.get("client_id") != CLIENT:
            return None
        right = (
            asked.get("response_type") == "code" and "openid" in asked.get("scope", "").split()
            and asked.get("code_challenge_method") == "S256" and len(asked.get("code_challenge", "")) == 43
            and len(asked.get("state", "")) >= 43 and len(asked.get("nonce", "")) >= 43 and asked.get("x") == "1"
        )  # fmt: skip
        code = secrets.token_urlsafe(24)
        self.grants[code] = Grant(asked)
        answer = {"code": code} if right else {"error": "invalid_request"}
        answer["state"] = asked.get("state", "")
        if self.names_itself:
            answer["iss"] = self.url
        return f"{self.comes_back}?{urlencode(whole(answer, self.sends_back))}"

    def token(self, form: dict[str, str], authorization: str) -> tuple[int, dict[str, Any]]:
        """What the token endpoint gives (RFC 6749, section 4.1.4 and 5.2; RFC 7636, section 4.6)."""
        if not self._is_client(form, authorization):
            return 401, {"error": "invalid_client"}
        grant = self.grants.get(form.get("code", ""))
        if grant is None or grant.spent or form.get("grant_type") != "authorization_code":
            return 400, {"error": "invalid_grant"}
        grant.spent = True
        challenge = base64url(sha256(form.get("code_verifier", "").encode("ascii")).digest())
        if challenge != grant.asked["code_challenge"] or form.get("redirect_uri") != grant.asked["redirect_uri"]:
            return 400, {"error": "invalid_grant"}
        access = secrets.token_urlsafe(24)
        given = {
            "access_token": access, "token_type": "Bearer", "expires_in": 600,
            "id_token": self.id_token(grant.asked["nonce"], access),
        }  # fmt: skip
        return 200, whole(given, self.given)

    def id_token(self, nonce: str, access: str) -> str:
        """An ID token (OpenID Connect Core 1.0, section 2)."""
        made = time.time() + self.made
        usual = {
            "iss": self.url, "aud": CLIENT, "sub": "ana", "iat": made, "exp": made + self.lasts, "nonce": nonce,
            "groups": ["harvest crew"], "at_hash": base64url(sha256(access.encode("ascii")).digest()[:16]),
        }  # fmt: skip
        header = whole({"alg": "RS256", "typ": "JWT", "kid": self.key.kid}, self.header)
        registry = jws.JWSRegistry(algorithms=[header["alg"]], strict_check_header=False)
        return jws.serialize_compact(header, json.dumps(whole(usual, self.claims)), self.key, registry=registry)

    def _is_client(self, form: dict[str, str], authorization: str) -> bool:
        """RFC 6749, section 2.3.1, and section 3.2.1 for a client without a secret."""
        if not self.secret:
            return form.get("client_id") == CLIENT and not authorization and "client_secret" not in form
        if self.by_post:
            return (form.get("client_id"), form.get("client_secret")) == (CLIENT, self.secret) and not authorization
        kind, _, pair = authorization.partition(" ")
        name, _, secret = b64decode(pair).decode("ascii").partition(":")
        return kind == "Basic" and unquote_plus(name) == CLIENT and unquote_plus(secret) == self.secret


def base64url(some: bytes) -> str:
    """RFC 4648, section 5, without padding."""
    return urlsafe_b64encode(some).rstrip(b"=").decode("ascii")


def whole(usual: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """What is usual with something put over it; None takes it out."""
    return {name: value for name, value in {**usual, **over}.items() if value is not None}


@contextmanager
def providing(**knobs: Any) -> Iterator[Provider]:
    """A provider at work; by its name a site of its own beside a server at 127.0.0.1."""
    provider = Provider(**knobs)

    class Handler(Asked):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            asked = {name: values[0] for name, values in parse_qs(parts.query).items()}
            if parts.path == "/.well-known/openid-configuration":
                self._json(200, provider.about())
            elif parts.path == "/keys":
                self._json(200, {"keys": [key.as_dict(private=False) for key in provider.published]})
            elif parts.path == "/authorize" and provider.asks_person and "yes" not in asked:
                self._page(
                    f'<h1>Sign on</h1><form><input type="hidden" name="yes" value="1">{hidden(asked)}<button>Yes</button></form>'
                )
            elif parts.path == "/authorize" and (there := provider.authorize(asked)) is not None:
                self.answer(302, b"", Location=there)
            elif parts.path == "/leave":
                provider.left.append(asked)
                self._page("<h1>Signed out</h1>")
            else:
                self._json(404, {})

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode("ascii")
            form = {name: values[0] for name, values in parse_qs(body, keep_blank_values=True).items()}
            provider.seen.append(form)
            status, given = provider.token(form, self.headers.get("Authorization", ""))
            self.answer(*(provider.answers or (status, json.dumps(given).encode())))

        def _json(self, status: int, document: Any) -> None:
            self.answer(status, json.dumps(document).encode())

        def _page(self, body: str) -> None:
            text = f'<!doctype html><html lang="en"><title>Sign-on</title><link rel="icon" href="data:,">{body}'
            self.answer(200, text.encode(), **{"Content-Type": "text/html; charset=utf-8"})

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    provider.url = f"http://localhost:{server.server_address[1]}"
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def hidden(asked: dict[str, str]) -> str:
    """What was asked, to be sent again with a button."""
    return "".join(
        f'<input type="hidden" name="{escape(name)}" value="{escape(value)}">' for name, value in asked.items()
    )
