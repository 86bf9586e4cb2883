"""Signing on and off in a browser."""

from __future__ import annotations

import time
from typing import Annotated

from fastapi import Form, Request, Response

from api.errors import Refusal
from api.identity.browser import GOOD_FOR, Browsers, TooLong, cookie_name
from api.identity.caller import AccessRefused
from api.identity.door import Identity
from api.pages.door import keep, must_be_own, own_path, pages_router, see
from api.pages.view import page

router = pages_router()


@router.get("/sign-in")
def ask(request: Request, next: str = "/") -> Response:
    """Where to put a token."""
    return page(request, "sign-in.html", next=own_path(next), wrong="")


@router.post("/sign-in")
def sign_in(
    request: Request, token: Annotated[str, Form(max_length=8000)] = "", next: Annotated[str, Form()] = "/"
) -> Response:
    """Remembers a token that opens something."""
    must_be_own(request)
    identity: Identity | None = request.app.state.identity
    browsers: Browsers | None = request.app.state.browsers
    if identity is None or browsers is None:
        raise Refusal(404, "Not found", "This server keeps no record, so nobody signs on.")
    address = request.client.host if request.client else ""
    try:
        identity.caller([f"Bearer {token.strip()}"] if token.strip() else [], address)
        cookie = browsers.sealed(token.strip(), time.time())
    except AccessRefused as error:
        return page(request, "sign-in.html", error.status, error.headers, next=own_path(next), wrong=str(error))
    except TooLong:
        wrong = "This token is too long for a browser to keep. Ask for a token of this server."
        return page(request, "sign-in.html", 422, next=own_path(next), wrong=wrong)
    answer = see(own_path(next))
    keep(request, answer, cookie_name(request), cookie, GOOD_FOR, hidden=True)
    return answer


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Forgets the token in this browser."""
    must_be_own(request)
    answer = see("/sign-in")
    keep(request, answer, cookie_name(request), "", 0, hidden=True)
    return answer
