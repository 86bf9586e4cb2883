"""What the claims of a sign-on mean here: whose they are, of which organisation, in which roles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.identity.caller import Caller, How
from api.identity.sign_on import SignOn, Way
from api.identity.signed import NotGood

MOST_SUBJECT = 200


class NoRole(Exception):
    """Who signed on is known, but nothing of what is said of them is a role or an organisation here."""


@dataclass(frozen=True, slots=True)
class Words:
    """What an issuer says of somebody, in its own words.

    Attributes:
        organisation: '' where it names none, or the settings name one for all.
        roles: those of its words that the settings know.
    """

    subject: str
    organisation: str
    roles: tuple[str, ...]


def words_of(sign_on: SignOn, claims: Mapping[str, Any]) -> Words:
    """What claims say that may be of use. Raises NotGood if they do not say whose they are."""
    organisation = _at(claims, sign_on.organisation_claim) if sign_on.organisation_claim else ""
    found = _at(claims, sign_on.roles_claim)
    words = found if isinstance(found, list) else found.split() if isinstance(found, str) else []
    roles = dict.fromkeys(word for word in words if isinstance(word, str) and word in sign_on.roles)
    return Words(_subject(claims), organisation if isinstance(organisation, str) else "", tuple(roles))


def caller_of_words(sign_on: SignOn, words: Words) -> Caller:
    """Who somebody is here, by the settings as they are now. Raises NoRole."""
    organisation = sign_on.organisation or sign_on.organisations.get(words.organisation)
    if organisation is None:
        raise NoRole("Your sign-on names no organisation that is known here. Ask who runs this server.")
    roles = frozenset(sign_on.roles[word] for word in words.roles if word in sign_on.roles)
    if not roles:
        raise NoRole("Your sign-on gives you no role here. Ask who looks after your organisation's sign-on.")
    return Caller(organisation, f"sign-on:{words.subject}", roles, frozenset(), How.SIGN_ON)


def _subject(claims: Mapping[str, Any]) -> str:
    found = claims.get("sub")
    if not isinstance(found, str) or not 0 < len(found) <= MOST_SUBJECT or not found.isprintable():
        raise NotGood("it does not say whose it is")
    return found


def _at(claims: Mapping[str, Any], way: Way) -> object:
    found: object = claims
    for name in way:
        found = found.get(name) if isinstance(found, dict) else None
    return found
