"""What each rule does if it is broken, and how often it is in the fleet."""

from __future__ import annotations

import json
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Form, Query, Request, Response

from api.identity.caller import Caller
from api.pages.asking import plain_of
from api.pages.door import must_be_own, pages_router, see
from api.pages.view import page, view_of
from api.routes import rulebooks as doors
from api.routes.rulebooks import Owner, Reader, RuleId
from audit.nouns.clearance import Effect

router = pages_router(prefix="/settings/rules")

EFFECTS = tuple(effect.value for effect in Effect)
LOWERED, BROKEN = "lowered", "broken"
"""Which rules may be asked for beside all of a part."""
Word = Annotated[str, Query(max_length=80)]


@router.get("")
def rules(request: Request, caller: Reader, pack: Word = "", only: Word = "") -> Response:
    """Every rule in force with what it does, those of one part or kind if asked for."""
    return _page(request, caller, pack, only, [])


@router.post("/{rule}")
def set_effect(
    request: Request, caller: Owner, rule: RuleId, effect: Annotated[str, Form(max_length=20)],
    pack: Annotated[str, Form(max_length=80)] = "", only: Annotated[str, Form(max_length=80)] = "",
) -> Response:  # fmt: skip
    """Says what a rule does from now on; starts that were revoked are told of on the page that is answered."""
    must_be_own(request)
    answer = plain_of(doors.set_effect(request, caller, rule, json.dumps({"effect": effect}).encode()))
    if answer["revoked_starts"]:
        return _page(request, caller, pack, only, answer["revoked_starts"])
    return see(f"/settings/rules?{urlencode({'pack': pack, 'only': only})}#{rule}")


def _page(request: Request, caller: Caller, pack: str, only: str, gone: list[str]) -> Response:
    found, say = plain_of(doors.rules_in_force(request, caller)), view_of(request).language.say
    every: list[dict[str, Any]] = [{**one, "title": say(one["title"])} for one in found["rules"]]
    shown = [
        one for one in every
        if pack in ("", one["pack"])
        and (only != LOWERED or one["effect"] != Effect.HOLDS.value)
        and (only != BROKEN or one["fleet"]["broken"])
    ]  # fmt: skip
    shown.sort(key=lambda one: (one["pack"], one["title"]))
    return page(
        request, "settings-rules.html", rules=shown, of=len(every), packs=sorted({one["pack"] for one in every}),
        pack=pack, only=only, effects=EFFECTS, gone=gone, setups=found["setups"], not_read=found["not_read"],
    )  # fmt: skip
