"""Decides from a request's headers who asks.

A token of ours is looked up by its hash. What was found counts for a second: a token that is revoked stops at once in
the process that revoked it (which calls ``forget`` once that is written), and within a second in every other process on
the same store.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from math import ceil
from typing import NamedTuple

from starlette.concurrency import run_in_threadpool

from api.identity.attempts import Attempts
from api.identity.bearer import Bearer
from api.identity.caller import AccessRefused, Caller, How, forbidden, unauthenticated
from api.identity.code_flow import CodeFlow, Stopped, Why
from api.identity.compact import MOST_BYTES
from api.identity.holder import NO_ORGANISATION, NoRole, holder
from api.identity.issuer import IssuerDown
from api.identity.rights import OF_UNITS, Role
from api.identity.session import Begun, Session
from api.identity.sign_on import SignOn
from api.identity.signed import NotGood
from api.identity.tokens import PREFIX, hash_of, is_secret
from api.lately import Lately
from api.store import ended_sessions, organisations
from api.store import tokens as rows
from api.store.database import Store
from api.store.tokens import Token

MOST_KNOWN = 1024
"""Tokens that are remembered."""
UNREADABLE = "what is stored of it can't be read; make another"
_BEARER = re.compile(r"bearer +([A-Za-z0-9._~+/-]+=*) *", re.ASCII | re.IGNORECASE)


class Holder(NamedTuple):
    """Who holds a token of ours.

    Attributes:
        latest: time on the organisation's record, s since 1970.
    """

    caller: Caller
    token: Token
    latest: float


class Identity:
    """Who asks, by tokens of ours and by an organisation's own sign-on.

    Args:
        bearer: checks tokens of a sign-on; None where there is none.
        flow: signs people in by it with a browser; None where they do not.
        clock: s since 1970.   ticks: seconds, only ever forward.
    """

    def __init__(
        self,
        store: Store,
        bearer: Bearer | None = None,
        clock: Callable[[], float] = time.time,
        ticks: Callable[[], float] = time.monotonic,
        flow: CodeFlow | None = None,
    ) -> None:
        self.flow = flow
        self._store, self._bearer, self._clock, self._ticks = store, bearer, clock, ticks
        self._attempts = Attempts(ticks)
        self._lately = Lately[Holder](MOST_KNOWN, ticks)

    def caller(self, authorization: Sequence[str], address: str) -> Caller:
        """Who sends these headers. Raises AccessRefused: 401, 403, 429 or 503; StoreUnavailable.

        Args:
            authorization: every Authorization header of the request.
            address: of the client; whoever sends one bad token after another from it is slowed. What was good a while
                ago is looked at all the same, so that one stranger behind a shared address does not lock out the rest.
        """
        if not authorization:
            raise unauthenticated("Send a token: Authorization: Bearer …", presented=False)
        secret = _presented(authorization)
        hashed = hash_of(secret)
        if hashed not in self._lately:
            self._must_not_wait(address)
        try:
            return self._own(secret, hashed) if secret.startswith(PREFIX) else self._signed_on(secret, hashed)
        except NotGood as error:
            self._attempts.failed(address)
            self._lately.drop(hashed)
            raise unauthenticated(f"The token opens nothing: {error}.") from error

    def caller_at_hand(self, authorization: Sequence[str]) -> Caller | None:
        """In an event loop: who holds a token of ours that was looked up a moment ago and is good still, else None."""
        if not authorization:
            return None
        try:
            hashed = hash_of(_presented(authorization))
            found = self._lately.at_hand(hashed, partial(self._holder, hashed))
            return None if found is None else self._live(found)
        except (AccessRefused, NotGood):
            return None

    async def caller_soon(self, authorization: Sequence[str], address: str) -> Caller:
        """In an event loop: whoever is not at hand. Raises as ``caller``."""
        look_up = partial(self.caller, authorization, address)
        if not any(PREFIX in sent for sent in authorization):  # of a sign-on nothing is kept that others could wait for
            return await run_in_threadpool(look_up)
        return await self._lately.soon(",".join(authorization), partial(self.caller_at_hand, authorization), look_up)

    def signed_in(self, begun: Begun, answer: Iterable[tuple[str, str]], address: str) -> tuple[Session, Caller]:
        """Who signed in with a browser. Raises Stopped; AccessRefused (429); StoreUnavailable.

        Args: as of ``CodeFlow.finish``, and ``address`` as of ``caller``.
        """
        if self.flow is None:
            raise Stopped(Why.NOT_OFFERED, "no client is set up")
        self._must_not_wait(address)
        try:
            session = self.flow.finish(begun, answer, self._clock())
        except Stopped as error:
            if error.why is not Why.DOWN:
                self._attempts.failed(address)
            raise
        try:
            return session, self._in(self.flow.sign_on, session)
        except NoRole as error:
            raise Stopped(Why.NO_ROLE, str(error)) from error

    def in_session(self, session: Session) -> Caller:
        """Who signed in with this browser before. Raises AccessRefused (401); StoreUnavailable."""
        if self.flow is None or self.flow.sign_on.issuer != session.issuer:
            raise unauthenticated("Your organisation's sign-on is not set up here any more.")
        if not self._clock() < session.until:
            raise unauthenticated("What your organisation's sign-on said has expired. Sign in again.")
        try:
            return self._in(self.flow.sign_on, session)
        except NoRole as error:
            raise unauthenticated(str(error)) from error

    def end_session(self, session: Session) -> None:
        """Ends a session, in every browser that holds its cookie. Raises StoreUnavailable."""
        try:
            caller = self.in_session(session)
        except AccessRefused:
            return
        with self._store.writing(caller.organisation, caller.who, self._clock()) as work:
            ended_sessions.end(work, session.id, session.until)

    def _in(self, sign_on: SignOn, session: Session) -> Caller:
        """Who somebody is who signed in. Raises NoRole; AccessRefused (401) for a session that was ended."""
        caller = holder(sign_on, session.words)
        with self._store.connection() as connection:
            if not organisations.is_there(connection, caller.organisation):
                raise NoRole(NO_ORGANISATION)
            if ended_sessions.is_ended(connection, caller.organisation, session.id):
                raise unauthenticated("You signed out. Sign in again.")
        return caller

    def _must_not_wait(self, address: str) -> None:
        """Raises AccessRefused (429) for an address that failed too often."""
        wait = self._attempts.wait(address)
        if wait > 0:
            after = {"Retry-After": str(ceil(wait))}
            raise AccessRefused(429, "Too many bad tokens", f"Wait {ceil(wait)} s before the next try.", after)

    def forget(self) -> None:
        """Look every token up anew; to be called when a change of a token has been written."""
        self._lately.forget()

    def _own(self, secret: str, hashed: str) -> Caller:
        """Who holds a token of ours. Raises NotGood."""
        if not is_secret(secret):
            raise NotGood("it is not complete, or mistyped")
        return self._live(self._lately.looked_up(hashed, partial(self._holder, hashed)))

    def _holder(self, hashed: str) -> Holder:
        """Who holds a token of ours by its record. Raises NotGood."""
        try:
            with self._store.connection() as connection:
                found = rows.of_hash(connection, hashed)
            if found is None:
                raise NotGood("there is no such token")
            token, latest = found
            role = Role(token.role)
        except ValueError as error:
            raise NotGood(UNREADABLE) from error
        if token.revoked is not None:
            raise NotGood("it was revoked")
        if token.units and role not in OF_UNITS:
            raise NotGood(UNREADABLE)
        units = frozenset(token.units)
        caller = Caller(token.organisation, f"token:{token.name}", frozenset({role}), units, How.TOKEN)
        return Holder(caller, token, latest)

    def _live(self, holder: Holder) -> Caller:
        """Who holds a token that has not expired. Raises NotGood."""
        if not holder.token.live(max(self._clock(), holder.latest)):  # a clock that is turned back revives nothing
            raise NotGood("it has expired")
        return holder.caller

    def _signed_on(self, text: str, hashed: str) -> Caller:
        """Who holds a token of the sign-on. Raises NotGood; AccessRefused."""
        if self._bearer is None:
            raise NotGood("it is none of this server's, and no other sign-on is set up")
        try:
            caller = self._bearer.caller(text, self._clock())
        except NoRole as error:
            raise forbidden(str(error)) from error
        except IssuerDown as error:
            detail = "Your organisation's sign-on can't be reached, so that nobody can tell who asks. Try again soon."
            raise AccessRefused(503, "Sign-on out of reach", detail, {"Retry-After": "10"}) from error
        with self._store.connection() as connection:
            if not organisations.is_there(connection, caller.organisation):
                raise forbidden(NO_ORGANISATION)
        self._lately.mention(hashed)
        return caller


def _presented(authorization: Sequence[str]) -> str:
    """The one token of a request's headers. Raises AccessRefused (401)."""
    if len(authorization) > 1:
        raise unauthenticated("Send one Authorization header, not several.")
    if len(authorization[0]) > MOST_BYTES:
        raise unauthenticated(f"The token is longer than {MOST_BYTES} characters.")
    found = _BEARER.fullmatch(authorization[0])
    if found is None:
        raise unauthenticated("Send the token as: Authorization: Bearer …")
    return found[1]
