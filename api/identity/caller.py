"""Who asks: what routes and commands are told of them, and the refusals that they get instead."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, FastAPI, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from starlette.concurrency import run_in_threadpool

from api.errors import Problem, Refusal
from api.identity.browser import Browsers, cookie_name, from_own_page
from api.identity.rights import Right, Role, rights_of
from api.identity.session import Session

if TYPE_CHECKING:
    from api.identity.door import Identity

REALM = 'Bearer realm="setup audit"'
SCHEME = HTTPBearer(
    scheme_name="token",
    auto_error=False,
    description="A token of this server, or an access token of the organisation's own sign-on.",
)


class How(Enum):
    """How a caller showed who they are."""

    TOKEN = "token"
    SIGN_ON = "sign-on"
    COMMAND_LINE = "command line"


@dataclass(frozen=True, slots=True)
class Caller:
    """Someone who showed who they are.

    Attributes:
        who: as the record names them: ``token:<name>``, ``sign-on:<subject>`` or ``command line``.
        units: ids of the only units they may see and change; empty for all.
    """

    organisation: str
    who: str
    roles: frozenset[Role]
    units: frozenset[str]
    how: How
    rights: frozenset[Right] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "rights", rights_of(self.roles))

    def may(self, right: Right) -> bool:
        """Whether one of their roles brings this right."""
        return right in self.rights

    def sees(self, unit: str) -> bool:
        """Whether a unit is there for them. One that is not must be answered like one that does not exist."""
        return not self.units or unit in self.units


class AccessRefused(Refusal):
    """A refusal with headers that say how to ask better."""

    def __init__(self, status: int, title: str, detail: str, headers: Mapping[str, str]) -> None:
        super().__init__(status, title, detail)
        self.headers = dict(headers)


def unauthenticated(detail: str, presented: bool = True) -> AccessRefused:
    """401 with the challenge of RFC 6750, section 3; ``presented`` where there was a token, and it was no good."""
    challenge = f'{REALM}, error="invalid_token"' if presented else REALM
    return AccessRefused(401, "Not signed on", detail, {"WWW-Authenticate": challenge})


def forbidden(detail: str) -> AccessRefused:
    """403 for someone who is known and may not do this."""
    return AccessRefused(403, "Not allowed", detail, {"WWW-Authenticate": f'{REALM}, error="insufficient_scope"'})


def for_all_units(caller: Caller, why: str) -> Caller:
    """The caller, who is not kept to some units. Raises AccessRefused (403) with the reason."""
    if caller.units:
        raise forbidden(f"{why}; your token is for some.")
    return caller


def must(caller: Caller, right: Right) -> None:
    """Raises AccessRefused (403, saying which) if a right is missing."""
    if not caller.may(right):
        held = " and ".join(sorted(role.value for role in caller.roles)) or "nobody's role"
        raise forbidden(f"This needs the right to {right.value}, which {held} does not bring. Ask an owner.")


def caller_of(request: Request, _: Annotated[HTTPAuthorizationCredentials | None, Security(SCHEME)]) -> Caller:
    """Who asks. Raises AccessRefused: 401 for nobody, 429 for too many bad tokens, 503 where nobody can tell."""
    identity, shown = _asked(request)
    if isinstance(shown, Session):
        return _told(request, identity.in_session(shown))
    return _told(request, identity.caller(shown, _address(request)))


async def caller_soon(request: Request) -> Caller:
    """The same in an event loop, which waits only where the store must be asked."""
    identity, shown = _asked(request)
    if isinstance(shown, Session):
        return _told(request, await run_in_threadpool(identity.in_session, shown))
    found = identity.caller_at_hand(shown)
    return _told(request, await identity.caller_soon(shown, _address(request)) if found is None else found)


async def _caller(request: Request, _: Annotated[HTTPAuthorizationCredentials | None, Security(SCHEME)]) -> Caller:
    return await caller_soon(request)


@cache
def needs(right: Right) -> Callable[[Caller], Awaitable[Caller]]:
    """A dependency that gives the caller, who has this right; the same one for the same right."""

    # async, as anything else is handed to another thread and back, which takes longer than this
    async def caller_with_right(caller: Annotated[Caller, Depends(_caller)]) -> Caller:
        must(caller, right)
        return caller

    return caller_with_right


def _asked(request: Request) -> tuple[Identity, list[str] | Session]:
    """Who tells who asks, and what they showed. Raises AccessRefused (403); Refusal (404)."""
    identity: Identity | None = request.app.state.identity
    if identity is None:
        raise Refusal(404, "Not found", "This server keeps no record, so there is nothing here.")
    return identity, _shown(request)


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


def _told(request: Request, caller: Caller) -> Caller:
    """Writes down who asks, for the log and for what is judged by the organisation's own rulebook."""
    request.state.caller = caller
    return caller


def _shown(request: Request) -> list[str] | Session:
    """The Authorization headers, or what a signed-on browser's cookie stands for. Raises AccessRefused (403)."""
    sent = [value.decode("latin-1") for name, value in request.scope["headers"] if name == b"authorization"]
    if sent:
        return sent
    found = shown_by_browser(request)
    if found is None:
        return []
    if not from_own_page(request):
        raise forbidden("This came from a page of another site. Open this server's own page, and do it there.")
    return found if isinstance(found, Session) else [f"Bearer {found}"]


def shown_by_browser(request: Request) -> str | Session | None:
    """What a signed-on browser's cookie holds: a token, or who signed in by the organisation's own sign-on."""
    browsers: Browsers | None = request.app.state.browsers
    cookie = request.cookies.get(cookie_name(request))
    return browsers.opened(cookie, time.time()) if browsers is not None and cookie else None


def add_identity(app: FastAPI, identity: Identity | None, browsers: Browsers | None = None) -> None:
    """Make an app ask who is there, and its refusals say how to ask better; None where there is nothing to ask for."""
    app.state.identity, app.state.browsers = identity, browsers

    @app.exception_handler(AccessRefused)
    async def refused(_: Request, error: AccessRefused) -> Problem:
        answer = Problem(error.status, error.title, error.detail)
        answer.headers.update(error.headers)
        return answer
