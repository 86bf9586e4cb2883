"""/record: the events of an organisation"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, Field

from api.identity.caller import Caller, forbidden, needs
from api.identity.rights import Right
from api.record_models import PageOf
from api.routes.desk import Most, desk_of, page
from api.routes.state import json_answer
from api.store import events
from api.store.events import Event
from api.store.record_lines import line_of

router = APIRouter(prefix="/record", tags=["record"])

LINES = "application/x-ndjson"
PIECE = 1000
"""Events that are read at once for a copy of the record; a slow reader keeps no transaction open."""

Reader = Annotated[Caller, Depends(needs(Right.READ))]


class EventAnswer(BaseModel):
    """One event. Its hash is SHA-256 over the RFC 8785 JSON of all its other members."""

    organisation: str
    number: int = Field(description="1 for the first, without gaps")
    at: float = Field(description="s since 1970, never before the event before")
    who: str
    what: str = Field(examples=["setup.recorded"])
    subject: str = Field(examples=["setup/setup-5a1c9e0f2b7d4433"])
    before: str = Field(description="SHA-256 of the subject before, '' where there was none")
    after: str = Field(description="SHA-256 of the subject after")
    content: dict[str, Any]
    previous: str = Field(description="hash of the event before, '' for the first")
    hash: str


class HeadAnswer(BaseModel):
    """The newest event. Whoever keeps it elsewhere can show later that the record still holds it."""

    number: int = Field(description="how many events there are")
    hash: str


@router.get("/events", response_model=PageOf[EventAnswer], summary="Events in order, oldest first")
def list_events(
    request: Request,
    caller: Reader,
    after: Annotated[int, Query(ge=0, le=2**53, description="number of the last one seen")] = 0,
    most: Most = 100,
    subject: Annotated[str, Query(max_length=200, description="only of this subject")] = "",
    what: Annotated[str, Query(max_length=80, description="only of this kind")] = "",
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(whole(caller).organisation, desk.clock()) as work:
        found = list(events.read(work, after, most, subject, what))
    return page(request, [_plain(one) for one in found], most, {"after": found[-1].number} if found else None)


@router.get(
    "/events.ndjson",
    response_class=StreamingResponse,
    responses={200: {"content": {LINES: {}}, "description": "one event a line"}},
    summary="The whole record, to be kept and verified elsewhere",
    description="One event a line in RFC 8785 JSON, oldest first, as `setup-audit record verify FILE` reads them.",
)
def export(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(whole(caller).organisation, desk.clock()) as work:
        number, _ = events.head(work)

    def lines() -> Iterator[bytes]:
        after = 0
        while after < number:  # events are only added, so pieces of different moments are one record
            with desk.store.reading(caller.organisation, desk.clock()) as work:
                some = list(events.read(work, after, min(PIECE, number - after)))
            if not some:
                return
            yield b"".join(line_of(event) + b"\n" for event in some)
            after = some[-1].number

    headers = {"Content-Disposition": 'attachment; filename="record.ndjson"', "Cache-Control": "private, no-cache"}
    return StreamingResponse(lines(), media_type=LINES, headers=headers)


@router.get("/head", response_model=HeadAnswer, summary="The newest event's number and hash")
def head(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(whole(caller).organisation, desk.clock()) as work:
        number, hash = events.head(work)
    return json_answer({"number": number, "hash": hash})


def whole(caller: Caller) -> Caller:
    """Raises AccessRefused (403) for a token that is kept to some units: events are of all of them."""
    if caller.units:
        raise forbidden("The record is of the whole organisation, and this token is kept to some of its units.")
    return caller


def _plain(event: Event) -> dict[str, Any]:
    return {name: getattr(event, name) for name in Event.__slots__}
