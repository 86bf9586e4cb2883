"""The record: how long it is, what was done last, whether it is as it was written, and a copy of it."""

from __future__ import annotations

from threading import Lock
from typing import Annotated, Any

from fastapi import Form, Query, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import plain_of
from api.pages.door import must_be_own, pages_router
from api.pages.event_words import EVENT_WORDS
from api.pages.telling import teller_of
from api.pages.view import page, view_of
from api.routes import record as doors
from api.routes.desk import desk_of
from api.routes.record import Reader
from api.store import events
from api.store.record_lines import head_of
from api.store.verifying import faults

router = pages_router(prefix="/settings/record")

MOST_EVENTS = 50
MOST_FAULTS = 50
"""Faults that are told; all are counted."""
_VERIFYING = Lock()
"""Held while a record is verified, which reads all of it: one at a time in a process."""


@router.get("")
def record(request: Request, caller: Reader, before: Annotated[int | None, Query(ge=1, le=2**53)] = None) -> Response:
    """How many events there are, the newest one's hash, and the last events."""
    return _page(request, doors.whole(caller), before, None)


@router.post("/verify")
def verify(request: Request, caller: Reader, head: Annotated[str, Form(max_length=200)] = "") -> Response:
    """Reads the whole record and every row that it speaks of, and shows where it is not as it was written."""
    must_be_own(request)
    noted = head_of(head)
    if head.strip() and noted is None:
        detail = "An event that was noted elsewhere is its number, a colon and its hash of 64 hex digits."
        raise Refusal(422, "Not taken", detail)
    desk, tell = desk_of(request), teller_of(view_of(request))
    if not _VERIFYING.acquire(blocking=False):
        raise Refusal(503, "Try again", "A record is being verified just now. Try again a little later.")
    try:
        with desk.store.reading(doors.whole(caller).organisation, desk.clock()) as work:
            number, hash = events.head(work)
            told, count = [], 0
            for fault in faults(work, noted):
                count += 1
                if count <= MOST_FAULTS:
                    told.append({"number": fault.number, "text": tell.text(fault.text)})
    finally:
        _VERIFYING.release()
    result = {"number": number, "hash": hash, "faults": told, "count": count, "noted": noted}
    return _page(request, caller, None, result)


def _page(request: Request, caller: Caller, before: int | None, verified: dict[str, Any] | None) -> Response:
    head = plain_of(doors.head(request, caller))
    end = min(head["number"] if before is None else before - 1, head["number"])
    after = max(0, end - MOST_EVENTS)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        try:
            lines, unread = list(events.read(work, after, end - after)) if end > after else [], False
        except ValueError:  # somebody was at the database; verifying says where
            lines, unread = [], True
    return page(
        request, "settings-record.html", head=head, verified=verified, events=lines[::-1], first=before is None,
        unread=unread, words=EVENT_WORDS,
        further=f"/settings/record?before={after + 1}" if after else "",
    )  # fmt: skip
