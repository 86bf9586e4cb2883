"""/events: what happened, as other systems read it"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.errors import Refusal
from api.exchange.out.cloud_events import catalogue, cloud_event, schema_of
from api.identity.caller import needs
from api.identity.rights import Right
from api.record_models import PageOf
from api.routes.desk import Most, answered, desk_of, page, tag
from api.routes.state import json_answer
from api.routes.units import Reader
from api.service.subscribing import BadWebhook, check_kinds
from api.store import outbox
from api.store.event_kinds import KINDS

router = APIRouter(prefix="/events", tags=["telling other systems"])

NO_KINDS: list[str] = []
ASKED = [Depends(needs(Right.READ))]


class CloudEvent(BaseModel):
    """A CloudEvent 1.0 in structured JSON."""

    specversion: Literal["1.0"]
    id: str
    source: str
    type: str
    subject: str
    time: str
    datacontenttype: Literal["application/json"]
    dataschema: str
    sequence: str = Field(description="sorts as it happened")
    recordnumber: int | None = Field(None, description="the event of the record that it tells of")
    deliverynumber: int | None = None
    data: dict[str, Any]


class KindAnswer(BaseModel):
    """One kind of event."""

    kind: str
    type: str
    when: str


class SchemaAnswer(BaseModel):
    """JSON Schema of what an event of the kind says."""

    model_config = ConfigDict(extra="allow")


@router.get(
    "",
    response_model=PageOf[CloudEvent],
    summary="What happened, in order",
    description="The same events as webhooks are sent; `after` is the `sequence` of the last one seen.",
)
def list_events(
    request: Request,
    caller: Reader,
    after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    kind: Annotated[list[str], Query(max_length=100, description="of these kinds only")] = NO_KINDS,
    most: Most = 100,
) -> Response:
    desk = desk_of(request)
    try:
        check_kinds(kind)
    except BadWebhook as error:
        raise Refusal(422, "Request refused", f"Nothing is listed: {error}.") from None
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = outbox.page(work, after, most, kind, sorted(caller.units))
    lines = [cloud_event(one, desk.address) for one in found]
    return page(request, lines, most, {"after": found[-1].number} if found else None)


@router.get("/kinds", response_model=PageOf[KindAnswer], dependencies=ASKED, summary="Every kind of event there is")
def list_kinds(request: Request) -> Response:
    lines = catalogue()
    return page(request, lines, len(lines), None)


@router.get(
    "/kinds/{kind}",
    response_model=SchemaAnswer,
    dependencies=ASKED,
    summary="JSON Schema of what events of a kind say",
)
def get_kind(request: Request, kind: Annotated[str, Path(max_length=80, examples=["start.held"])]) -> Response:
    if kind not in KINDS:
        raise Refusal(404, "No such kind", "There is no such kind of event; /events/kinds lists them.")
    return json_answer(schema_of(KINDS[kind], desk_of(request).address))


@router.get("/{event}", response_model=CloudEvent, summary="One event")
def get_event(
    request: Request,
    caller: Reader,
    event: Annotated[str, Path(pattern=r"^event-[0-9a-f]{24}$", examples=["event-5a1c9e0f2b7d44335a1c9e0f"])],
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = outbox.find(work, event)
    if found is None or not (caller.sees(found.unit) if found.unit else not caller.units):
        raise Refusal(404, "No such event", f"There is no event {event}.")
    return answered(request, cloud_event(found, desk.address), tag(found.id))
