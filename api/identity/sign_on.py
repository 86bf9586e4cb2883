"""Settings of an organisation's own sign-on, from a TOML file or, as JSON, from the environment.

    issuer = "https://sign-on.ridgeline.example"
    audience = "https://audit.ridgeline.example"
    organisation = "ridgeline"          # for all; or by a claim of theirs:
    # organisation_claim = "org"
    # organisations = {"Ridgeline Growers" = "ridgeline"}
    roles_claim = "groups"              # a list is a way in: ["realm", "groups"]
    roles = {"harvest crew" = "mechanic", "harvest lead" = "approver"}
    algorithms = ["RS256"]              # all of ours if not given
    id_tokens = false                   # also take tokens of type JWT, not only at+jwt (RFC 9068)
    longest_hours = 24                  # a token made to live longer is refused, as nobody can end it before
    client_id = "setup-audit"           # lets people sign in with a browser; without it only programs bring tokens
    client_secret = "file:/etc/setup-audit/client-secret"   # or env:NAME; none for a public client
    scopes = ["openid", "groups"]       # what a sign-in asks for; ["openid"] if not given

What stands in no table opens nothing.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path
from typing import Any

from api.certificates.text import read_json
from api.identity.fetch import why_not_fetch
from api.identity.kept import NotKept, kept, why_not_kept
from api.identity.rights import Role
from audit.nearest import did_you_mean

VARIABLE = "SETUP_AUDIT_SIGN_ON"
"""Environment variable that holds the settings as JSON, or the name of a file of them."""
ALGORITHMS = ("RS256", "PS256", "ES256", "Ed25519", "EdDSA")
"""Signatures with a public key only: with a shared secret whoever checks tokens could make them."""
KEYS = (
    "issuer", "audience", "organisation", "organisation_claim", "organisations", "roles_claim", "roles", "algorithms",
    "id_tokens", "longest_hours", "client_id", "client_secret", "scopes",
)  # fmt: skip
OPENID = "openid"
"""The scope that asks for an ID token (OpenID Connect Core 1.0, section 3.1.2.1)."""
_CLIENT = re.compile(r"[\x21-\x7e]{1,200}")
_SCOPE = re.compile(r"[\x21\x23-\x5b\x5d-\x7e]{1,100}")  # RFC 6749, section 3.3

Way = tuple[str, ...]
"""Names that lead to a claim, outermost first."""


class BadSettings(Exception):
    """Settings that can't be used; ``problems`` says everything that is wrong."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class SignOn:
    """Whose tokens are taken, and what their claims mean here.

    Attributes:
        organisation: of everybody, '' where a claim names it.
        organisations, roles: from the issuer's words to ours; what is not in them opens nothing.
        longest: most seconds from when a token was made to when it expires.
        client: as which the issuer knows this server where people sign in with a browser; '' where they do not.
        secret: of the client; '' for a public one.
    """

    issuer: str
    audience: str
    organisation: str
    organisation_claim: Way
    organisations: Mapping[str, str]
    roles_claim: Way
    roles: Mapping[str, Role]
    algorithms: tuple[str, ...] = ALGORITHMS
    id_tokens: bool = False
    longest: float = 24 * 3600.0
    client: str = ""
    secret: str = field(default="", repr=False)
    scopes: tuple[str, ...] = (OPENID,)


def sign_on_of(environment: Mapping[str, str], file: Path | None = None) -> SignOn | None:
    """The settings of a file, else of the environment; None where neither has any. Raises BadSettings."""
    text = environment.get(VARIABLE, "").strip()
    if file is None and text.startswith("{"):
        try:
            return read_settings(read_json(text.encode()), environment)
        except ValueError as error:
            raise BadSettings([f"{VARIABLE} is not JSON: it {error}"]) from error
    if file is None and not text:
        return None
    path = file or Path(text)
    try:
        return read_settings(tomllib.loads(path.read_text(encoding="utf-8")), environment)
    except (OSError, ValueError) as error:
        raise BadSettings([f"{path}: {error}"]) from error


def read_settings(plain: object, environment: Mapping[str, str]) -> SignOn:
    """Settings from plain values. Raises BadSettings with all that is wrong.

    Args:
        environment: may hold the client's secret.
    """
    if not isinstance(plain, dict):
        raise BadSettings(["the settings must be a table"])
    problems = [f"'{key}' is not known. {did_you_mean(key, KEYS)}".strip() for key in plain if key not in KEYS]
    issuer, audience = (_text(plain, key, problems) for key in ("issuer", "audience"))
    if issuer and (why := why_not_fetch(issuer)):
        problems.append(f"'issuer': {why}")
    organisations = _words(plain, "organisations", problems)
    claim = _way(plain, "organisation_claim", problems)
    by_claim = bool(claim and organisations)
    if ("organisation" in plain) == by_claim or bool(claim) != bool(organisations):
        problems.append("give either 'organisation', or both 'organisation_claim' and 'organisations'")
    organisation = _text(plain, "organisation", problems) if "organisation" in plain else ""
    way = _way(plain, "roles_claim", problems)
    words = _words(plain, "roles", problems)
    roles = {theirs: _role(ours, problems) for theirs, ours in words.items()}
    if not way or not roles:
        problems.append("'roles_claim' and 'roles' are needed: who has no role may do nothing")
    algorithms = plain.get("algorithms", list(ALGORITHMS))
    if not isinstance(algorithms, list) or not algorithms or any(one not in ALGORITHMS for one in algorithms):
        problems.append(f"'algorithms' must be some of {', '.join(ALGORITHMS)}")
        algorithms = []
    id_tokens = plain.get("id_tokens", False)
    if not isinstance(id_tokens, bool):
        problems.append("'id_tokens' must be true or false")
    hours = plain.get("longest_hours", 24)
    if isinstance(hours, bool) or not isinstance(hours, (int, float)) or not isfinite(hours) or not 0 < hours <= 744:
        problems.append("'longest_hours' must lie above 0 and be at most 744")
        hours = 24
    client, secret, scopes = _client(plain, environment, problems)
    if problems:
        raise BadSettings(problems)
    return SignOn(
        issuer, audience, organisation, claim, organisations, way, roles, tuple(algorithms), bool(id_tokens),
        hours * 3600.0, client, secret, scopes,
    )  # fmt: skip


def _client(
    plain: Mapping[str, Any], environment: Mapping[str, str], problems: list[str]
) -> tuple[str, str, tuple[str, ...]]:
    """As which client, with which secret and for which scopes people sign in."""
    client, where, scopes = plain.get("client_id", ""), plain.get("client_secret", ""), plain.get("scopes", [OPENID])
    secret = ""
    if not isinstance(client, str) or ("client_id" in plain and not _CLIENT.fullmatch(client)):
        problems.append("'client_id' must be 1 to 200 printable ASCII characters without blanks")
    elif not client and ("client_secret" in plain or "scopes" in plain):
        problems.append("'client_secret' and 'scopes' are of use only with a 'client_id'")
    if not isinstance(where, str) or ("client_secret" in plain and why_not_kept(where)):
        problems.append(f"'client_secret': {why_not_kept(str(where))}")
    elif where:
        try:
            secret = kept(where, environment)
        except NotKept as error:
            problems.append(f"'client_secret': {error}")
    if not isinstance(scopes, list) or not all(isinstance(one, str) and _SCOPE.fullmatch(one) for one in scopes):
        problems.append("'scopes' must be a list of words")
    elif OPENID not in scopes:
        problems.append(f"'scopes' must have '{OPENID}' among them")
    return str(client), secret, tuple(scopes) if isinstance(scopes, list) else ()


def _text(plain: Mapping[str, Any], key: str, problems: list[str]) -> str:
    found = plain.get(key)
    if isinstance(found, str) and found.strip():
        return found
    problems.append(f"'{key}' is missing" if found is None else f"'{key}' must be a text")
    return ""


def _way(plain: Mapping[str, Any], key: str, problems: list[str]) -> Way:
    found = plain.get(key, [])
    way = [found] if isinstance(found, str) else found
    if not isinstance(way, list) or not all(isinstance(name, str) and name for name in way):
        problems.append(f"'{key}' must be the name of a claim, or a list of names that lead to it")
        return ()
    return tuple(way)


def _words(plain: Mapping[str, Any], key: str, problems: list[str]) -> dict[str, str]:
    found = plain.get(key, {})
    if not isinstance(found, dict) or not all(isinstance(ours, str) and ours for ours in found.values()):
        problems.append(f"'{key}' must be a table from their words to ours")
        return {}
    return found


def _role(word: str, problems: list[str]) -> Role:
    try:
        return Role(word)
    except ValueError:
        known = [role.value for role in Role]
        problems.append(f"'{word}' is no role here. {did_you_mean(word, known, 'Roles: ' + ', '.join(known) + '.')}")
        return Role.READER
