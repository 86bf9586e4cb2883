"""What an issuer says of somebody, as far as the settings know what to make of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.identity.sign_on import SignOn, Way
from api.identity.signed import NotGood

MOST_SUBJECT = 200


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
