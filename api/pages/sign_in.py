"""Signing on and off in a browser: with a token, or by the organisation's own sign-on."""

from __future__ import annotations

import time
from typing import Annotated
from urllib.parse import quote

from fastapi import Form, Request, Response

from api.errors import Refusal
from api.identity.browser import (
    BEGUN_FOR,
    GOOD_FOR,
    Browsers,
    TooLong,
    begun_cookie_name,
    begun_cookies,
    cookie_name,
)
from api.identity.caller import AccessRefused, shown_by_browser
from api.identity.code_flow import OUT_OF_ORDER, RETURN, CodeFlow, Stopped, Why
from api.identity.door import Identity
from api.identity.session import Session
from api.pages.door import SIGN_IN, keep, must_be_own, own_path, pages_router, see
from api.pages.view import page

router = pages_router()

MOST_BEGUN = 4
"""Sign-ins that may be under way in one browser; another one forgets them all, so that headers stay short."""
MOST_NEXT = 1000
"""Characters of a path to go on to that a cookie keeps."""
_STATUS = {Why.DOWN: 503, Why.DENIED: 403, Why.NO_ROLE: 403}
_PRIVATE = {"Referrer-Policy": "no-referrer"}
"""Of a page whose own address holds a code."""


@router.get("/sign-in")
def ask(request: Request, next: str = "/", left: str = "") -> Response:
    """Where to put a token, or go to the organisation's own sign-on; ``left`` says that somebody just came from it."""
    return _asked(request, next, left=bool(left))


@router.post("/sign-in")
def sign_in(
    request: Request, token: Annotated[str, Form(max_length=8000)] = "", next: Annotated[str, Form()] = "/"
) -> Response:
    """Remembers a token that opens something."""
    must_be_own(request)
    identity, browsers = _at_work(request)
    try:
        identity.caller([f"Bearer {token.strip()}"] if token.strip() else [], _address(request))
        cookie = browsers.sealed(token.strip(), time.time())
    except AccessRefused as error:
        return _asked(request, next, error.status, error.headers, wrong=str(error))
    except TooLong:
        wrong = "This token is too long for a browser to keep. Ask for a token of this server."
        return _asked(request, next, 422, wrong=wrong)
    answer = see(own_path(next))
    keep(request, answer, cookie_name(request), cookie, GOOD_FOR, hidden=True)
    return answer


@router.get("/sign-in/organisation")
def begin(request: Request, next: str = "/") -> Response:
    """Leads a browser to the organisation's own sign-on.

    By a link, as a browser lets no form of ours lead to another host (form-action). Nobody is led there by another
    site, which would sign people in without their doing.
    """
    _, browsers = _at_work(request)
    flow = _flow(request)
    if flow is None or request.headers.get("sec-fetch-site", "") in ("cross-site", "same-site"):
        return see(f"{SIGN_IN}?next={quote(own_path(next), safe='')}")
    onward = own_path(next)
    try:
        begun, there = flow.begin(onward if len(onward) <= MOST_NEXT else "/")
    except Stopped as error:
        return _stopped(request, error, onward)
    answer = see(there)
    before = begun_cookies(request)
    for name in before if len(before) >= MOST_BEGUN else ():
        keep(request, answer, name, "", 0, hidden=True, returning=True)
    name = begun_cookie_name(request, begun.state)
    keep(request, answer, name, browsers.begun_sealed(begun, time.time()), BEGUN_FOR, hidden=True, returning=True)
    return answer


@router.get(RETURN)
def finish(request: Request) -> Response:
    """Where the organisation's own sign-on sends a browser back to: signs on whoever began it in the same browser.

    The answer is a page that goes on by itself, as a browser that another site led here would not send the cookie
    (SameSite=Strict) along if it were led on at once.
    """
    identity, browsers = _at_work(request)
    if not request.query_params:  # by the form that changes the language of a page that stood here
        return see(SIGN_IN)
    name, now = begun_cookie_name(request, request.query_params.get("state", "")), time.time()
    begun = browsers.begun_opened(request.cookies.get(name, ""), now)
    if begun is None:
        return _stopped(request, Stopped(Why.NOT_BEGUN), "/")
    try:
        session, caller = identity.signed_in(begun, request.query_params.multi_items(), _address(request))
        cookie = browsers.sealed(session, now)
    except Stopped as error:
        answer = _stopped(request, error, begun.next)
    except TooLong:
        answer = _stopped(request, Stopped(Why.TOO_LONG), begun.next)
    except AccessRefused as error:
        answer = page(request, "sign-in-stopped.html", error.status, error.headers | _PRIVATE, why="", next=begun.next)
    else:
        request.state.caller = caller
        answer = page(request, "sign-in-done.html", 200, _PRIVATE, next=begun.next)
        left = max(1, min(GOOD_FOR, int(session.until - now)))
        keep(request, answer, cookie_name(request), cookie, left, hidden=True)
    keep(request, answer, name, "", 0, hidden=True, returning=True)
    return answer


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Forgets the token in this browser; ends the session of who signed in by the organisation's own sign-on."""
    must_be_own(request)
    identity, _ = _at_work(request)
    shown = shown_by_browser(request)
    if isinstance(shown, Session):
        identity.end_session(shown)
        answer = see(f"{SIGN_IN}?left=organisation")
    else:
        answer = see(SIGN_IN)
    keep(request, answer, cookie_name(request), "", 0, hidden=True)
    return answer


def _asked(
    request: Request, next: str, status: int = 200, headers: dict[str, str] | None = None, wrong: str = "",
    left: bool = False,
) -> Response:  # fmt: skip
    flow = _flow(request)
    leaves_by = flow.leaves_by() if flow is not None and left else ""
    return page(
        request, "sign-in.html", status, headers,
        next=own_path(next), wrong=wrong, organisation=flow is not None, left=left, leaves_by=leaves_by,
    )  # fmt: skip


def _stopped(request: Request, error: Stopped, next: str) -> Response:
    """A page that says why nobody was signed on; what somebody has to put right stands in the log too."""
    if error.why in OUT_OF_ORDER:
        request.state.trouble = f"sign-on: {error}"
    things = {"why": error.why.name, "next": next, "address": request.app.state.desk.address}
    return page(request, "sign-in-stopped.html", _STATUS.get(error.why, 400), _PRIVATE, **things)


def _at_work(request: Request) -> tuple[Identity, Browsers]:
    """Who knows people, and seals what browsers keep. Raises Refusal (404) where there is no record."""
    identity: Identity | None = request.app.state.identity
    browsers: Browsers | None = request.app.state.browsers
    if identity is None or browsers is None:
        raise Refusal(404, "Not found", "This server keeps no record, so nobody signs on.")
    return identity, browsers


def _flow(request: Request) -> CodeFlow | None:
    identity: Identity | None = request.app.state.identity
    return None if identity is None else identity.flow


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
