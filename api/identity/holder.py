"""Who somebody is here, by what their issuer says of them."""

from __future__ import annotations

from api.identity.caller import Caller, How
from api.identity.sign_on import SignOn
from api.identity.words import Words

NO_ORGANISATION = "Your sign-on names no organisation that is known here. Ask who runs this server."


class NoRole(Exception):
    """Who signed on is known, but nothing of what is said of them is a role or an organisation here."""


def holder(sign_on: SignOn, words: Words) -> Caller:
    """Who somebody is, by the settings as they are now. Raises NoRole."""
    organisation = sign_on.organisation or sign_on.organisations.get(words.organisation)
    if organisation is None:
        raise NoRole(NO_ORGANISATION)
    roles = frozenset(sign_on.roles[word] for word in words.roles if word in sign_on.roles)
    if not roles:
        raise NoRole("Your sign-on gives you no role here. Ask who looks after your organisation's sign-on.")
    return Caller(organisation, f"sign-on:{words.subject}", roles, frozenset(), How.SIGN_ON)
