"""Addresses from which calendars show visits, holds, what is due and what runs out. For owners."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Form, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import plain_of
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import teller_of
from api.pages.view import page, view_of
from api.routes import calendar as doors
from api.routes.calendar import FeedId
from api.routes.tokens import Owner

router = pages_router(prefix="/settings/calendars")

Text = Annotated[str, Form(max_length=2000)]


@router.get("")
def calendars(request: Request, caller: Owner) -> Response:
    """Every address without its secret, and the form that makes one."""
    return _page(request, caller)


@router.post("")
def make(request: Request, caller: Owner, name: Text, units: Text = "", technician: Text = "") -> Response:
    """Makes an address; it is on the answered page and nowhere else."""
    must_be_own(request)
    sent = {"name": name.strip(), "units": units.replace(",", " ").split(), "technician": technician.strip()}
    try:
        made = plain_of(doors.make_one(request, caller, json.dumps(sent).encode()))
    except Refusal as error:
        if error.status not in (409, 422):
            raise
        return _page(request, caller, error.status, sent, teller_of(view_of(request)).refusal(error.detail))
    return _page(request, caller, address=made["address"])


@router.post("/{feed}/revoke")
def revoke(request: Request, caller: Owner, feed: FeedId) -> Response:
    """Ends an address at once."""
    must_be_own(request)
    doors.revoke_feed(request, caller, feed)
    return see("/settings/calendars")


def _page(
    request: Request, caller: Caller, status: int = 200, sent: dict[str, Any] | None = None, wrong: str = "",
    address: str = "",
) -> Response:  # fmt: skip
    return page(
        request, "settings-calendars.html", status, feeds=plain_of(doors.list_feeds(request, caller))["items"],
        sent=sent or {"name": "", "units": [], "technician": ""}, wrong=wrong, address=address,
    )  # fmt: skip
