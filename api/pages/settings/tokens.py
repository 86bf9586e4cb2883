"""Who may come in, and what they may do. For owners."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Form, Request, Response

from api.identity.rights import Role
from api.pages.asking import number, plain_of
from api.pages.door import must_be_own, pages_router, see
from api.pages.view import page
from api.routes import tokens as doors
from api.routes.tokens import Owner

router = pages_router(prefix="/settings/tokens")

Text = Annotated[str, Form(max_length=2000)]


@router.get("")
def tokens(request: Request, caller: Owner) -> Response:
    """Every token, and the form that makes one."""
    return _page(request, caller, "")


@router.post("")
def make_token(request: Request, caller: Owner, name: Text, role: Text, units: Text = "", days: Text = "") -> Response:
    """Makes a token; its secret is on the answered page and nowhere else."""
    must_be_own(request)
    sent: dict[str, Any] = {"name": name, "role": role, "units": units.replace(",", " ").split()}
    sent |= {"days": number(days)} if days.strip() else {"days": None}
    made = plain_of(doors.make_token(request, caller, json.dumps(sent).encode()))
    return _page(request, caller, made["secret"])


@router.post("/{token}/revoke")
def revoke_token(request: Request, caller: Owner, token: str) -> Response:
    """Ends a token at once."""
    must_be_own(request)
    doors.revoke_token(request, token, caller, force=False)
    return see("/settings/tokens")


def _page(request: Request, caller: Owner, secret: str) -> Response:
    return page(
        request, "settings-tokens.html", secret=secret, tokens=plain_of(doors.list_tokens(request, caller))["items"],
        roles=[role.value for role in Role],
    )  # fmt: skip
