"""The organisation's terms for a start."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Depends, Request, Response
from starlette.datastructures import FormData

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import form_of, number, plain_of, with_header, written
from api.pages.changed import Field, changed_meanwhile
from api.pages.door import must_be_own, pages_router, see
from api.pages.view import View, page, view_of
from api.routes import organisations as doors
from api.routes.tokens import Owner
from api.routes.units import Reader
from audit.nouns.risk import Level

router = pages_router(prefix="/settings/terms")

NUMBERS = ("most_hours", "most_days", "valid_for")
LEVELS = tuple(level.name.lower() for level in Level)


@router.get("")
def terms(request: Request, caller: Reader) -> Response:
    """The terms; an owner can change them."""
    return _page(request, caller, [])


@router.post("")
def set_terms(request: Request, caller: Owner, form: Annotated[FormData, Depends(form_of)]) -> Response:
    """Changes the terms; only the edition that was seen, else their owner decides field by field. What rules do stays.

    Starts that were revoked are told of on the page that is answered.
    """
    must_be_own(request)
    found = plain_of(doors.organisation(request, caller))
    numbers = {name: number(str(form.get(name, ""))) for name in NUMBERS}
    sent = {"terms": {"hold_at": str(form.get("hold_at", "")), **numbers}, "effects": found["effects"]}
    try:
        seen = with_header(request, "if-match", str(form.get("edition", "")))
        gone = plain_of(doors.set_organisation(seen, caller, json.dumps(sent).encode()))["revoked_starts"]
    except Refusal as error:
        if error.status != 412:
            raise
        answer, view = doors.organisation(request, caller), view_of(request)
        now = plain_of(answer)
        return changed_meanwhile(
            request, caller, view, form, _fields(view, now["terms"]), subject=f"organisation/{now['id']}",
            title=view.language.say("When a start is held"), edition=answer.headers["etag"], done="/settings/terms",
        )  # fmt: skip
    return _page(request, caller, gone) if gone else see("/settings/terms")


def _fields(view: View, now: dict[str, Any]) -> list[Field]:
    say = view.language.say
    labels = {
        "most_hours": say("Engine hours after which a new setup is needed"),
        "most_days": say("Days after which a new setup is needed"),
        "valid_for": say("Hours that a cleared start counts"),
    }
    return [
        Field("hold_at", say("Lowest level that holds"), now["hold_at"], {one: say(one) for one in LEVELS}),
        *(Field(name, label, written(now[name]), measure=True) for name, label in labels.items()),
    ]


def _page(request: Request, caller: Caller, gone: list[str]) -> Response:
    answer = doors.organisation(request, caller)
    found = plain_of(answer)
    return page(
        request, "settings-terms.html", fields=_fields(view_of(request), found["terms"]), levels=LEVELS,
        edition=answer.headers["etag"], gone=gone,
    )  # fmt: skip
