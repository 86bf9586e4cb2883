"""What an issuer says of itself (OpenID Connect Discovery 1.0, section 3; RFC 8414, section 2)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from api.identity.fetch import NotFetched, why_not_fetch

BASIC, POST = "client_secret_basic", "client_secret_post"
"""Ways in which a client with a secret shows it (OpenID Connect Core 1.0, section 9)."""


@dataclass(frozen=True, slots=True)
class Metadata:
    """What is used of it.

    Attributes:
        keys: address of the key set.
        authorization, token, end_session: addresses; '' where there is none that may be used.
        challenges: transformations of PKCE that are taken; None where it does not say.
        shows_secret: ways of a client to show its secret at the token endpoint.
        names_itself: answers to a sign-in name the issuer (RFC 9207).
    """

    keys: str
    authorization: str = ""
    token: str = ""
    end_session: str = ""
    challenges: tuple[str, ...] | None = None
    shows_secret: tuple[str, ...] = (BASIC,)
    names_itself: bool = False


def find_metadata(issuer: str, fetch: Callable[[str], object]) -> Metadata:
    """The first metadata that an issuer has. Raises NotFetched.

    Args:
        fetch: a JSON document by its address; raises NotFetched.
    """
    parts = urlsplit(issuer)
    path = parts.path.rstrip("/")
    root = f"{parts.scheme}://{parts.netloc}"
    places = (
        f"{root}{path}/.well-known/openid-configuration",
        f"{root}/.well-known/oauth-authorization-server{path}",  # RFC 8414, section 3.1
    )
    why = NotFetched("no metadata")
    for place in places:
        try:
            return _read(issuer, place, fetch(place))
        except NotFetched as error:
            why = error
    raise why


def _read(issuer: str, place: str, found: object) -> Metadata:
    if not isinstance(found, dict) or found.get("issuer") != issuer:  # RFC 8414, section 3.3
        raise NotFetched(f"{place} is the metadata of another issuer")
    keys = found.get("jwks_uri")
    if (bad := _why_not(issuer, keys)) is not None:
        raise NotFetched(f"{place}: jwks_uri: {bad}")
    challenges = _words(found, "code_challenge_methods_supported")
    shows = _words(found, "token_endpoint_auth_methods_supported")
    return Metadata(
        str(keys),
        _address(issuer, found, "authorization_endpoint"),
        _address(issuer, found, "token_endpoint"),
        _address(issuer, found, "end_session_endpoint"),
        challenges=challenges,
        shows_secret=(BASIC,) if shows is None else shows,  # what RFC 8414 has for an issuer that does not say
        names_itself=found.get("authorization_response_iss_parameter_supported") is True,
    )


def _address(issuer: str, found: dict[str, Any], name: str) -> str:
    url = found.get(name)
    return "" if _why_not(issuer, url) else str(url)


def _why_not(issuer: str, url: object) -> str | None:
    """Why an address of the metadata must not be used."""
    bad = why_not_fetch(url) if isinstance(url, str) else "it is missing"
    if bad is None and issuer.startswith("https://") and not str(url).startswith("https://"):
        bad = "it leaves https"
    return bad


def _words(found: dict[str, Any], name: str) -> tuple[str, ...] | None:
    listed = found.get(name)
    return tuple(one for one in listed if isinstance(one, str)) if isinstance(listed, list) else None
