"""/webhooks: who is told of what happens. For owners only."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import AwareDatetime, BaseModel, Field

from api.errors import Refusal
from api.exchange.addresses import Unsafe, looked_at
from api.record_models import Name, PageOf, Sent
from api.record_wire import moment
from api.routes.desk import (
    Answer,
    Before,
    Body,
    Most,
    desk_of,
    page,
    parsed,
    same_edition,
    tag,
    taking,
    write,
)
from api.routes.state import json_answer
from api.routes.tokens import Owner
from api.service import subscribing
from api.service.desk import Desk
from api.service.subscribing import MOST_OVERLAP, OVERLAP, BadWebhook
from api.store import deliveries, webhooks
from api.store.database import Work
from api.store.deliveries import MOST_REPLAYED, Delivery, NoSuchDelivery, TooMany
from api.store.webhooks import NameTaken, NoSuchWebhook, SealedSecret, Webhook

router = APIRouter(prefix="/webhooks", tags=["telling other systems"])

_HOUR = 3600.0
WebhookId = Annotated[str, Path(pattern=r"^webhook-[0-9a-f]{16}$", examples=["webhook-5a1c9e0f2b7d4433"])]
Address = Annotated[str, Field(min_length=1, max_length=2000, description="https; asked without following redirects")]
Kinds = Annotated[list[str], Field(max_length=100, description="kinds of events, as /events/kinds lists them")]
Units = Annotated[list[Name], Field(max_length=200, description="the only units it is told of; none for all")]


class WebhookSent(Sent):
    """A webhook to be made."""

    name: str = Field(min_length=1, max_length=80)
    address: Address
    kinds: Kinds = Field(default=[])
    units: Units = Field(default=[])


class WebhookChanged(Sent):
    """What a webhook is to be."""

    address: Address
    kinds: Kinds = Field(default=[])
    units: Units = Field(default=[])
    enabled: bool = Field(True, description="false keeps what happens until it is true again")


class SecretSent(Sent):
    """How a secret is to be renewed."""

    overlap_hours: float = Field(
        OVERLAP / _HOUR, ge=0, le=MOST_OVERLAP / _HOUR, allow_inf_nan=False,
        description="how long the secret before signs beside the new one",
    )  # fmt: skip


class ReplaySent(Sent):
    """What is to be sent again: one of the three."""

    delivery: int | None = Field(None, ge=1, le=2**31 - 1)
    since: AwareDatetime | None = Field(None, strict=False)
    dead: Literal[True] | None = None


class WebhookAnswer(BaseModel):
    """A webhook without its secrets."""

    id: str
    name: str
    address: str
    kinds: list[str]
    units: list[str]
    created: str
    created_by: str
    edition: int
    enabled: bool
    disabled_why: str = Field(description="what happened, '' while it is enabled")
    failures: int = Field(description="failures in a row")
    failing_since: str | None
    rests_until: str | None
    deliveries: dict[str, int] = Field(description="how many are waiting, delivered and dead")


class MadeWebhook(WebhookAnswer):
    """A new webhook; its secret is shown this once."""

    secret: str
    public_key: str


class SecretAnswer(BaseModel):
    """A new secret; it is shown this once."""

    number: int
    secret: str = Field(description="checks the signatures v1 (HMAC-SHA256)")
    public_key: str = Field(description="checks the signatures v1a (Ed25519)")


class DeliveryAnswer(BaseModel):
    """One event for the webhook."""

    sequence: int
    event: str
    kind: str
    unit: str
    at: str
    state: Literal["waiting", "delivered", "dead"]
    attempts: int
    due: str | None
    tried: str | None
    status: int | None
    why: str


class ReplayAnswer(BaseModel):
    again: int = Field(description="how many are sent again")


@router.get("", response_model=PageOf[WebhookAnswer], summary="Every webhook, and how it fares")
def list_webhooks(request: Request, caller: Owner) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        counts = webhooks.waiting(work)
        lines = [webhook_json(one, counts.get(one.id, {}), work.now) for one in webhooks.every(work)]
    return page(request, lines, len(lines), None)


@router.post(
    "",
    status_code=201,
    response_model=MadeWebhook,
    summary="Make a webhook; its secret is shown this once",
    description="Every event is sent as a CloudEvent in JSON, signed as Standard Webhooks says. A name is given once "
    "for ever, so that a request that is sent twice makes one webhook. An Idempotency-Key has no effect here: the "
    "answer holds a secret.",
    openapi_extra=taking(WebhookSent),
)
def make_webhook(request: Request, caller: Owner, body: Body) -> Response:
    sent = parsed(WebhookSent, body)
    desk = desk_of(request)
    _look_at(desk, sent.address)
    try:
        with desk.store.writing(caller.organisation, caller.who, desk.clock()) as work:
            made, sealed, secret = subscribing.make(work, sent.name, sent.address, sent.kinds, sent.units, desk.secret)
    except BadWebhook as error:
        raise Refusal(422, "Webhook refused", f"The webhook can't be made: {error}.") from None
    except NameTaken as error:
        detail = f"A webhook is or was called '{error}'. The record names webhooks, so each needs a name of its own."
        raise Refusal(409, "Name taken", detail) from None
    content = {**webhook_json(made, {}, made.created), "secret": secret, "public_key": sealed.public}
    return _once(content, 201, {"Location": f"/webhooks/{made.id}", "ETag": tag(made.edition)})


@router.get("/{webhook}", response_model=WebhookAnswer, summary="One webhook")
def get_webhook(request: Request, caller: Owner, webhook: WebhookId) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = _one(work, webhook)
        content = webhook_json(found, webhooks.waiting(work).get(webhook, {}), work.now)
    answer = json_answer(content)  # how it fares changes without its owner, so nothing is answered from memory
    answer.headers["ETag"] = tag(found.edition)
    return answer


@router.put(
    "/{webhook}",
    response_model=WebhookAnswer,
    summary="Change a webhook, or enable it again",
    description="Needs the ETag last seen. A webhook that was disabled goes on with all that waits.",
    openapi_extra=taking(WebhookChanged),
)
def change_webhook(request: Request, caller: Owner, webhook: WebhookId, body: Body) -> Response:
    sent = parsed(WebhookChanged, body)
    _look_at(desk_of(request), sent.address)

    def work_out(work: Work) -> Answer:
        same_edition(request, tag(_one(work, webhook).edition))
        try:
            subscribing.check_kinds(sent.kinds)
        except BadWebhook as error:
            raise Refusal(422, "Webhook refused", f"The webhook can't be changed: {error}.") from None
        after = webhooks.change(work, webhook, sent.address, sent.kinds, sent.units, sent.enabled)
        counts = webhooks.waiting(work).get(webhook, {})
        return Answer(200, webhook_json(after, counts, work.now), {"ETag": tag(after.edition)})

    return write(request, caller, body, work_out)


@router.delete("/{webhook}", response_model=WebhookAnswer, summary="End a webhook; nothing more is sent to it")
def end_webhook(request: Request, caller: Owner, webhook: WebhookId) -> Response:
    def work_out(work: Work) -> Answer:
        same_edition(request, tag(_one(work, webhook).edition))
        ended = webhooks.end(work, webhook)
        return Answer(200, webhook_json(ended, webhooks.waiting(work).get(webhook, {}), work.now))

    return write(request, caller, b"", work_out)


@router.post(
    "/{webhook}/secrets",
    status_code=201,
    response_model=SecretAnswer,
    summary="Renew the secret; the new one is shown this once",
    description="What is sent is signed with both, until the one before ends. Renewed with no overlap, every secret "
    "before it ends at once.",
    openapi_extra=taking(SecretSent),
)
def renew_secret(request: Request, caller: Owner, webhook: WebhookId, body: Body) -> Response:
    sent = parsed(SecretSent, body)
    desk = desk_of(request)
    with desk.store.writing(caller.organisation, caller.who, desk.clock()) as work:
        found = _one(work, webhook)
        try:
            made, text = subscribing.renew_secret(work, found, desk.secret, sent.overlap_hours * _HOUR)
        except BadWebhook as error:
            raise Refusal(409, "Not renewed", f"The secret was not renewed: {error}.") from None
    return _once(_secret_json(made, text), 201, {})


@router.get(
    "/{webhook}/deliveries", response_model=PageOf[DeliveryAnswer], summary="What was sent and what waits, last first"
)
def list_deliveries(
    request: Request,
    caller: Owner,
    webhook: WebhookId,
    state: Annotated[Literal["waiting", "delivered", "dead"] | None, Query()] = None,
    before: Before = None,
    most: Most = 100,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        _one(work, webhook)
        found = deliveries.page(work, webhook, before, most, state or "")
    lines = [_delivery_json(one) for one in found]
    return page(request, lines, most, {"before": found[-1].sequence} if found else None)


@router.post(
    "/{webhook}/replays",
    response_model=ReplayAnswer,
    summary="Send again: one delivery, all that are dead, or all since a time",
    description="An event keeps its id, so that a receiver who has had it can tell. Since a time, also what happened "
    "before there was the webhook is sent.",
    openapi_extra=taking(ReplaySent),
)
def replay(request: Request, caller: Owner, webhook: WebhookId, body: Body) -> Response:
    sent = parsed(ReplaySent, body)
    if sum(one is not None for one in (sent.delivery, sent.since, sent.dead)) != 1:
        raise Refusal(422, "Request refused", "Say one of 'delivery', 'since' and 'dead'.")

    def work_out(work: Work) -> Answer:
        found = _one(work, webhook)
        try:
            return Answer(200, {"again": _again(work, found, sent.delivery, sent.since)})
        except NoSuchDelivery as error:
            raise Refusal(404, "No such delivery", f"{webhook} has no delivery {error}.") from None
        except TooMany:
            detail = f"More than {MOST_REPLAYED:,} events would be sent again; say a later time."
            raise Refusal(409, "Too many", detail) from None

    return write(request, caller, body, work_out)


def _again(work: Work, webhook: Webhook, delivery: int | None, since: datetime | None) -> int:
    if delivery is not None:
        return deliveries.replay_one(work, webhook.id, delivery)
    if since is not None:
        return deliveries.replay_since(work, webhook, since.timestamp())
    return deliveries.replay_dead(work, webhook.id)


def _one(work: Work, id: str) -> Webhook:
    try:
        return webhooks.one(work, id)
    except NoSuchWebhook:
        raise Refusal(404, "No such webhook", f"There is no webhook {id}.") from None


def _look_at(desk: Desk, address: str) -> None:
    """Raises Refusal for an address that must not be asked."""
    try:
        looked_at(address, desk.networks)
    except Unsafe as error:
        raise Refusal(422, "Address refused", f"Nothing can be sent there: {error}.") from None


def _once(content: Any, status: int, more: dict[str, str]) -> Response:
    """An answer that holds a secret."""
    answer = json_answer(content)
    answer.status_code = status
    answer.headers.update({"Cache-Control": "no-store", **more})
    return answer


def webhook_json(one: Webhook, counts: dict[str, int], now: float) -> dict[str, Any]:
    """A webhook without its secrets as plain values."""
    return {
        "id": one.id, "name": one.name, "address": one.address, "kinds": list(one.kinds), "units": list(one.units),
        "created": moment(one.created), "created_by": one.created_by, "edition": one.edition,
        "enabled": one.disabled is None and one.ended is None, "disabled_why": one.disabled_why,
        "failures": one.failures, "failing_since": moment(one.failing_since),
        "rests_until": moment(one.waits_until) if one.waits_until > now else None,
        "deliveries": {state: counts.get(state, 0) for state in ("waiting", "delivered", "dead")},
    }  # fmt: skip


def _secret_json(made: SealedSecret, text: str) -> dict[str, Any]:
    return {"number": made.number, "secret": text, "public_key": made.public}


def _delivery_json(one: Delivery) -> dict[str, Any]:
    return {
        "sequence": one.sequence, "event": one.event, "kind": one.kind, "unit": one.unit, "at": moment(one.at),
        "state": one.state, "attempts": one.attempts, "due": moment(one.due) if one.due else None,
        "tried": moment(one.tried), "status": one.status, "why": one.why,
    }  # fmt: skip
