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

What stands in no table opens nothing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from api.certificates.text import read_json
from api.identity.fetch import why_not_fetch
from api.identity.rights import Role
from audit.nearest import did_you_mean

VARIABLE = "SETUP_AUDIT_SIGN_ON"
"""Environment variable that holds the settings as JSON, or the name of a file of them."""
ALGORITHMS = ("RS256", "PS256", "ES256", "Ed25519", "EdDSA")
"""Signatures with a public key only: with a shared secret whoever checks tokens could make them."""
KEYS = (
    "issuer", "audience", "organisation", "organisation_claim", "organisations", "roles_claim", "roles", "algorithms",
    "id_tokens", "longest_hours",
)  # fmt: skip

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


def sign_on_of(environment: Mapping[str, str], file: Path | None = None) -> SignOn | None:
    """The settings of a file, else of the environment; None where neither has any. Raises BadSettings."""
    text = environment.get(VARIABLE, "").strip()
    if file is None and text.startswith("{"):
        try:
            return read_settings(read_json(text.encode()))
        except ValueError as error:
            raise BadSettings([f"{VARIABLE} is not JSON: it {error}"]) from error
    if file is None and not text:
        return None
    path = file or Path(text)
    try:
        return read_settings(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError) as error:
        raise BadSettings([f"{path}: {error}"]) from error


def read_settings(plain: object) -> SignOn:
    """Settings from plain values. Raises BadSettings with all that is wrong."""
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
    if problems:
        raise BadSettings(problems)
    return SignOn(
        issuer, audience, organisation, claim, organisations, way, roles, tuple(algorithms), bool(id_tokens),
        hours * 3600.0,
    )  # fmt: skip


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
