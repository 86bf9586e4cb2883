"""/calendar-feeds: addresses of calendars; /calendar/{secret}.ics: the calendar behind one"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from pydantic import BaseModel, Field

from api.errors import Refusal
from api.exchange.out.calendar_text import MEDIA, calendar
from api.record_models import Name, PageOf, Sent
from api.record_wire import moment
from api.routes.desk import Answer, Body, desk_of, page, parsed, taking, write
from api.routes.state import json_answer
from api.routes.tokens import Owner
from api.service.calendars import NotMade, entries, hash_of, make_feed
from api.store import calendar_feeds, organisations
from api.store.calendar_feeds import Feed, NoSuchFeed
from api.store.database import Work

router = APIRouter(prefix="/calendar-feeds", tags=["telling other systems"])
public = APIRouter(tags=["telling other systems"])

FeedId = Annotated[str, Path(pattern=r"^calendar-[0-9a-f]{16}$", examples=["calendar-5a1c9e0f2b7d4433"])]


class FeedSent(Sent):
    """An address of a calendar to be made."""

    name: str = Field(min_length=1, max_length=80, description="who or what reads it")
    units: list[Name] = Field(default=[], max_length=200, description="the only units it shows; none for all")
    technician: str = Field("", max_length=120, description="the only one whose visits it shows, and nothing else")


class FeedAnswer(BaseModel):
    """An address without its secret."""

    id: str
    name: str
    units: list[str]
    technician: str
    created: str
    created_by: str
    revoked: str | None


class MadeFeed(FeedAnswer):
    """A new address. Whoever has it reads the calendar; it is shown this once."""

    address: str


@router.get("", response_model=PageOf[FeedAnswer], summary="Every address of a calendar, without its secret")
def list_feeds(request: Request, caller: Owner) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        lines = [_feed_json(one) for one in calendar_feeds.every(work)]
    return page(request, lines, len(lines), None)


@router.post(
    "",
    status_code=201,
    response_model=MadeFeed,
    summary="Make an address of a calendar; it is shown this once",
    description="The calendar shows visits, holds, what is to be looked at again, and when acceptances and cleared "
    "starts end; that of a technician shows their visits. "
    "An Idempotency-Key has no effect here: the answer holds a secret.",
    openapi_extra=taking(FeedSent),
)
def make_one(request: Request, caller: Owner, body: Body) -> Response:
    sent = parsed(FeedSent, body)
    desk = desk_of(request)
    try:
        with desk.store.writing(caller.organisation, caller.who, desk.clock()) as work:
            feed, secret = make_feed(work, sent.name, sent.units, sent.technician)
    except NotMade as error:
        raise Refusal(409, "Not made", f"No address was made: {error}.") from None
    answer = json_answer({**_feed_json(feed), "address": f"{desk.address}/calendar/{secret}.ics"})
    answer.status_code = 201
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.delete("/{feed}", response_model=FeedAnswer, summary="Revoke an address of a calendar; it stops at once")
def revoke_feed(request: Request, caller: Owner, feed: FeedId) -> Response:
    def work_out(work: Work) -> Answer:
        try:
            return Answer(200, _feed_json(calendar_feeds.revoke(work, feed)))
        except NoSuchFeed:
            raise Refusal(404, "No such address", f"There is no calendar address {feed}.") from None

    return write(request, caller, b"", work_out)


@public.get(
    "/calendar/{secret}.ics",
    response_class=Response,
    responses={200: {"content": {MEDIA: {}}, "description": "an iCalendar file (RFC 5545)"}},
    summary="The calendar behind an address",
)
def read_calendar(
    request: Request, secret: Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{43}$", examples=["x" * 43])]
) -> Response:
    desk = desk_of(request)
    with desk.store.connection() as connection:
        feed = calendar_feeds.live(connection, hash_of(secret))
    if feed is None:
        raise Refusal(404, "No such calendar", "There is no calendar at this address, or it was revoked.")
    with desk.store.reading(feed.organisation, desk.clock()) as work:
        name = f"Combines of {organisations.read(work).name}"
        text = calendar(name, entries(desk, work, feed), datetime.fromtimestamp(work.now, UTC))
    headers = {"Cache-Control": "private, max-age=900", "Referrer-Policy": "no-referrer"}
    return Response(text, media_type=f"{MEDIA}; charset=utf-8", headers=headers)


def _feed_json(one: Feed) -> dict[str, Any]:
    return {
        "id": one.id, "name": one.name, "units": list(one.units), "technician": one.technician,
        "created": moment(one.created), "created_by": one.created_by, "revoked": moment(one.revoked),
    }  # fmt: skip
