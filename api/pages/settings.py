"""The organisation's terms for a start, what broken rules do, and who may come in."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Form, Request, Response

from api.identity.rights import Right, Role
from api.pages.asking import number, plain_of, with_header
from api.pages.door import must_be_own, pages_router, see
from api.pages.view import page
from api.routes import organisations, tokens
from api.routes.tokens import Owner
from api.routes.units import Reader

router = pages_router(prefix="/settings")

NUMBERS = ("most_hours", "most_days", "valid_for")
Text = Annotated[str, Form(max_length=2000)]


@router.get("")
def settings(request: Request, caller: Reader) -> Response:
    """Terms and tokens; an owner can change them."""
    return _page(request, caller, "")


@router.post("/terms")
def set_terms(
    request: Request, caller: Owner, edition: Text, hold_at: Text, most_hours: Text, most_days: Text, valid_for: Text
) -> Response:
    """Changes the terms; only the edition that was seen. What rules do stays."""
    must_be_own(request)
    numbers = dict(zip(NUMBERS, map(number, (most_hours, most_days, valid_for)), strict=True))
    effects = plain_of(organisations.organisation(request, caller))["effects"]
    body = json.dumps({"terms": {"hold_at": hold_at, **numbers}, "effects": effects}).encode()
    organisations.set_organisation(with_header(request, "if-match", edition), caller, body)
    return see("/settings")


@router.post("/tokens")
def make_token(request: Request, caller: Owner, name: Text, role: Text, units: Text = "", days: Text = "") -> Response:
    """Makes a token; its secret is on the answered page and nowhere else."""
    must_be_own(request)
    sent: dict[str, Any] = {"name": name, "role": role, "units": units.replace(",", " ").split()}
    sent |= {"days": number(days)} if days.strip() else {"days": None}
    made = plain_of(tokens.make_token(request, caller, json.dumps(sent).encode()))
    return _page(request, caller, made["secret"])


@router.post("/tokens/{token}/revoke")
def revoke_token(request: Request, caller: Owner, token: str) -> Response:
    """Ends a token at once."""
    must_be_own(request)
    tokens.revoke_token(request, token, caller, force=False)
    return see("/settings")


def _page(request: Request, caller: Reader, secret: str) -> Response:
    answer = organisations.organisation(request, caller)
    owner = caller.may(Right.ADMINISTER)
    listed: list[dict[str, Any]] = plain_of(tokens.list_tokens(request, caller))["items"] if owner else []
    return page(
        request, "settings.html", organisation=plain_of(answer), edition=answer.headers["etag"], secret=secret,
        tokens=listed, roles=[role.value for role in Role],
    )  # fmt: skip
