"""GET /metrics"""

from __future__ import annotations

import ipaddress
from typing import Annotated

from fastapi import APIRouter, Request, Response, Security
from fastapi.security import HTTPAuthorizationCredentials
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Gauge, generate_latest
from sqlalchemy import func, select

from api.identity.caller import SCHEME, caller_of, forbidden, must
from api.identity.rights import Right
from api.middleware.meters import Meters
from api.service.desk import Desk
from api.store import events, starts, units
from api.store.database import StoreUnavailable
from api.store.tables import organisations

router = APIRouter(tags=["health"])

PASSED_ON = ("forwarded", "via", "x-forwarded-for", "x-real-ip")
"""A request with one of these came through a proxy, so it may be anyone's, wherever the proxy is."""


@router.get(
    "/metrics",
    response_class=Response,
    responses={200: {"content": {"text/plain": {}}, "description": "counts in the Prometheus text format"}},
    summary="Counts, for a monitor",
    description="For a client on this machine, and for the monitor whose token SETUP_AUDIT_SCRAPE_TOKEN_FILE names, "
    "the counts of this process, which are of all organisations. For an owner, those of their own record.",
)
def metrics(
    request: Request, credentials: Annotated[HTTPAuthorizationCredentials | None, Security(SCHEME)]
) -> Response:
    desk: Desk | None = request.app.state.desk
    monitor = desk is not None and desk.scraping.is_monitor(request.headers.getlist("authorization"))
    if desk is not None and not monitor and not is_local(request):
        caller = caller_of(request, credentials)
        must(caller, Right.ADMINISTER)
        return _shown(_of_organisation(desk, caller.organisation))
    if desk is None and not is_local(request):
        raise forbidden("The counts are for this machine itself, as this server knows nobody else.")
    meters: Meters = request.app.state.meters
    rulebook = request.app.state.engines.rulebook
    meters.set_rulebook(rulebook.digest, len(rulebook.rules))
    if desk is not None:
        meters.set_record(_record(desk))
    return _shown(meters.registry)


def _shown(registry: CollectorRegistry) -> Response:
    return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)


def _of_organisation(desk: Desk, organisation: str) -> CollectorRegistry:
    """What is on one organisation's record now. Raises StoreUnavailable."""
    with desk.store.reading(organisation, desk.clock()) as work:
        counts = {
            "events_on_record": (events.head(work)[0], "Events on this organisation's record."),
            "units": (len(units.of_fleet(work)), "Units in this organisation's fleet."),
            "good_starts": (len(starts.good(work)), "Starts whose certificates are good now."),
        }
    registry = CollectorRegistry(auto_describe=True)
    for name, (count, says) in counts.items():
        Gauge(f"setup_audit_{name}", says, registry=registry).set(count)
    return registry


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
