"""Access tokens of an organisation's own sign-on: JWTs by RFC 9068."""

from __future__ import annotations

from api.identity.caller import Caller
from api.identity.holder import holder
from api.identity.issuer import Issuer
from api.identity.sign_on import SignOn
from api.identity.signed import ACCESS_TOKEN, ID_TOKEN, NotGood, audiences, check_issued, signed
from api.identity.words import words_of


class Bearer:
    """Checks the tokens of one sign-on."""

    def __init__(self, sign_on: SignOn, issuer: Issuer) -> None:
        self.sign_on, self.issuer = sign_on, issuer
        self._kinds = (*ACCESS_TOKEN, *(ID_TOKEN if sign_on.id_tokens else ()))

    def caller(self, text: str, now: float) -> Caller:
        """Who holds a token. Raises NotGood, NoRole, IssuerDown.

        Args:
            now: s since 1970.
        """
        claims = signed(text, self.issuer, self.sign_on.algorithms, self._kinds).claims
        check_issued(claims, self.sign_on, now)
        if self.sign_on.audience not in audiences(claims):
            raise NotGood("it is for another service")
        if "cnf" in claims:
            raise NotGood("it is bound to a key of its holder, which can't be checked here")
        return holder(self.sign_on, words_of(self.sign_on, claims))
