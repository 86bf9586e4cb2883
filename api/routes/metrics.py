"""GET /metrics"""

from __future__ import annotations

import ipaddress
from typing import Annotated

from fastapi import APIRouter, Request, Response, Security
from fastapi.security import HTTPAuthorizationCredentials
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from sqlalchemy import func, select

from api.identity.caller import SCHEME, caller_of, forbidden, must
from api.identity.rights import Right
from api.middleware.meters import Meters
from api.service.desk import Desk
from api.store.database import StoreUnavailable
from api.store.tables import organisations

router = APIRouter(tags=["health"])

PASSED_ON = ("forwarded", "via", "x-forwarded-for", "x-real-ip")
"""A request with one of these came through a proxy, so it may be anyone's, wherever the proxy is."""


@router.get(
    "/metrics",
    response_class=Response,
    responses={200: {"content": {"text/plain": {}}, "description": "counts in the Prometheus text format"}},
    summary="Counts of this process, for a monitor",
    description="For a client on this machine, or for a reader of the only organisation: the counts are of all.",
)
def metrics(
    request: Request, credentials: Annotated[HTTPAuthorizationCredentials | None, Security(SCHEME)]
) -> Response:
    meters: Meters = request.app.state.meters
    desk: Desk | None = request.app.state.desk
    local = is_local(request)
    if not local:
        must(caller_of(request, credentials), Right.READ)
    record = None if desk is None else _record(desk)
    if not local and (record is None or record[0] > 1):
        raise forbidden("The counts are of all organisations of this server; ask for them on the machine itself.")
    rulebook = request.app.state.engines.rulebook
    meters.set_rulebook(rulebook.digest, len(rulebook.rules))
    if desk is not None:
        meters.set_record(record)
    return Response(generate_latest(meters.registry), media_type=CONTENT_TYPE_LATEST)


def is_local(request: Request) -> bool:
    """Whether a request comes from this machine and was passed on by nobody."""
    if any(name in request.headers for name in PASSED_ON):
        return False
    try:
        return ipaddress.ip_address(request.client.host if request.client else "").is_loopback
    except ValueError:
        return False


def _record(desk: Desk) -> tuple[int, int] | None:
    """How many organisations and events there are; None while the store can't be used."""
    try:
        with desk.store.connection() as connection:
            row = connection.execute(
                select(func.count(), func.coalesce(func.sum(organisations.c.events), 0)).select_from(organisations)
            ).one()
    except StoreUnavailable:
        return None
    return int(row[0]), int(row[1])
