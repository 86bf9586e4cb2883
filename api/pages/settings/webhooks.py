"""Webhooks: other systems that are told what happens, how they fare, and what did not reach them. For owners."""

from __future__ import annotations

import json
from secrets import token_urlsafe
from typing import Annotated, Any, Literal

from fastapi import Depends, Form, Request, Response
from starlette.datastructures import FormData

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import form_of, keyed, number, plain_of, with_header
from api.pages.changed import Field, changed_meanwhile
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import teller_of
from api.pages.view import page, view_of
from api.routes import webhooks as doors
from api.routes.desk import Before, tag
from api.routes.tokens import Owner
from api.routes.webhooks import WebhookId
from api.store.event_kinds import EVERY

router = pages_router(prefix="/settings/webhooks")

MOST = 50
"""Deliveries on a page."""
Text = Annotated[str, Form(max_length=2000)]
State = Literal["", "waiting", "delivered", "dead"]


@router.get("")
def webhooks(request: Request, caller: Owner) -> Response:
    """Every webhook with how it fares, and the form that makes one."""
    return _list(request, caller)


@router.post("")
def make(request: Request, caller: Owner, form: Annotated[FormData, Depends(form_of)]) -> Response:
    """Makes a webhook; its secret is on the answered page and nowhere else. What was refused comes back filled in."""
    must_be_own(request)
    sent = {"name": str(form.get("name", "")).strip(), **_said(form)}
    try:
        made = plain_of(doors.make_webhook(request, caller, json.dumps(sent).encode()))
    except Refusal as error:
        if error.status not in (409, 422):
            raise
        return _list(request, caller, error.status, sent, _why(request, error))
    return _one(request, caller, made["id"], made=made)


@router.get("/{webhook}")
def one(request: Request, caller: Owner, webhook: WebhookId, state: State = "", before: Before = None) -> Response:
    """One webhook: what it is told of, and what was sent or waits."""
    return _one(request, caller, webhook, state=state, before=before)


@router.post("/{webhook}")
def change(
    request: Request, caller: Owner, webhook: WebhookId, form: Annotated[FormData, Depends(form_of)]
) -> Response:
    """Changes what it is told of and where; only the edition that was seen, else its owner decides field by field."""
    must_be_own(request)
    now = plain_of(doors.get_webhook(request, caller, webhook))
    sent = {**_said(form), "enabled": form.get("enabled", "yes" if now["enabled"] else "no") == "yes"}
    try:
        _put(request, caller, webhook, str(form.get("edition", "")), sent)
    except Refusal as error:
        if error.status == 422:
            return _one(request, caller, webhook, status=422, sent=sent, wrong=_why(request, error))
        if error.status != 412:
            raise
        return changed_meanwhile(
            request, caller, view_of(request), {**form, **_lists(form)}, _fields(request, now),
            subject=f"webhook/{webhook}", title=now["name"], edition=tag(now["edition"]),
            done=f"/settings/webhooks/{webhook}",
        )  # fmt: skip
    return see(f"/settings/webhooks/{webhook}")


@router.post("/{webhook}/pause")
def pause(request: Request, caller: Owner, webhook: WebhookId, edition: Text, enabled: Text) -> Response:
    """Sends nothing for a while, what happens waits; or goes on with all that waits."""
    must_be_own(request)
    now = plain_of(doors.get_webhook(request, caller, webhook))
    sent = {"address": now["address"], "kinds": now["kinds"], "units": now["units"], "enabled": enabled == "yes"}
    _put(request, caller, webhook, edition, sent)
    return see(f"/settings/webhooks/{webhook}")


@router.post("/{webhook}/secrets")
def renew(request: Request, caller: Owner, webhook: WebhookId, overlap: Text) -> Response:
    """Makes another secret; it is on the answered page and nowhere else."""
    must_be_own(request)
    body = json.dumps({"overlap_hours": number(overlap)}).encode()
    return _one(request, caller, webhook, made=plain_of(doors.renew_secret(request, caller, webhook, body)))


@router.post("/{webhook}/replays")
def replay(
    request: Request, caller: Owner, webhook: WebhookId, key: Annotated[str, Form(pattern=r"^[A-Za-z0-9_-]{1,64}$")],
    delivery: Annotated[int | None, Form(ge=1, le=2**31 - 1)] = None, since: Text = "",
) -> Response:  # fmt: skip
    """Sends again: one delivery, all since the beginning of a day (UTC), or all that are dead."""
    must_be_own(request)
    what: dict[str, Any] = {"dead": True}
    if delivery is not None:
        what = {"delivery": delivery}
    elif since:
        what = {"since": f"{since}T00:00:00Z"}
    answer = plain_of(doors.replay(keyed(request, key), caller, webhook, json.dumps(what).encode()))
    return _one(request, caller, webhook, again=answer["again"])


@router.post("/{webhook}/end")
def end(request: Request, caller: Owner, webhook: WebhookId, edition: Text) -> Response:
    """Sends nothing more, for ever."""
    must_be_own(request)
    doors.end_webhook(with_header(request, "if-match", edition), caller, webhook)
    return see("/settings/webhooks")


def _said(form: FormData) -> dict[str, Any]:
    """What a form says of where and of what; the lists, in order, may come as several fields or one with blanks."""
    lists = _lists(form)
    return {"address": str(form.get("address", "")).strip(), **{name: text.split() for name, text in lists.items()}}


def _lists(form: FormData) -> dict[str, str]:
    found = {name: " ".join(map(str, form.getlist(name))) for name in ("kinds", "units")}
    return {name: " ".join(sorted(text.replace(",", " ").split())) for name, text in found.items()}


def _put(request: Request, caller: Caller, webhook: str, edition: str, sent: dict[str, Any]) -> None:
    doors.change_webhook(with_header(request, "if-match", edition), caller, webhook, json.dumps(sent).encode())


def _why(request: Request, error: Refusal) -> str:
    return teller_of(view_of(request)).refusal(error.detail)


def _fields(request: Request, now: dict[str, Any]) -> list[Field]:
    """What can be changed of a webhook, as its form would be filled in now."""
    say = view_of(request).language.say
    return [
        Field("address", say("Address"), now["address"]),
        Field("kinds", say("Events"), " ".join(sorted(now["kinds"])), {"": say("all")}),
        Field("units", say("Units"), " ".join(sorted(now["units"])), {"": say("all")}),
        Field("enabled", say("State"), "yes" if now["enabled"] else "no", {"yes": say("sends"), "no": say("paused")}),
    ]


def _list(
    request: Request, caller: Caller, status: int = 200, sent: dict[str, Any] | None = None, wrong: str = ""
) -> Response:
    found = plain_of(doors.list_webhooks(request, caller))["items"]
    empty = {"name": "", "address": "https://", "kinds": [], "units": []}
    return page(request, "settings-webhooks.html", status, webhooks=found, sent=sent or empty, wrong=wrong, kinds=EVERY)


def _one(
    request: Request, caller: Caller, webhook: str, *, status: int = 200, state: str = "", before: int | None = None,
    made: dict[str, Any] | None = None, again: int | None = None, sent: dict[str, Any] | None = None, wrong: str = "",
) -> Response:  # fmt: skip
    answer = doors.get_webhook(request, caller, webhook)
    found = plain_of(answer)
    wanted: Any = state or None
    listed = plain_of(doors.list_deliveries(request, caller, webhook, wanted, before, MOST))
    lines, tell = listed["items"], teller_of(view_of(request))
    further = f"?state={state}&before={lines[-1]['sequence']}" if listed["next"] else ""
    return page(
        request, "settings-webhook.html", status, webhook=found, edition=answer.headers["etag"], made=made, again=again,
        deliveries=[{**line, "why": tell.text(line["why"])} for line in lines], state_wanted=state,
        first=before is None, further=further, sent=sent or found, wrong=wrong, kinds=EVERY, key=token_urlsafe(16),
        why=tell.text(found["disabled_why"]), fields=_fields(request, found),
    )  # fmt: skip
