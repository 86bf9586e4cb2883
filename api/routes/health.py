"""GET /health, /health/live and /health/ready"""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel

from api.errors import NOT_READY, Problem
from api.models import Health
from api.routes.state import auditor_of, json_answer
from api.service.desk import Desk
from api.store.probing import troubles

router = APIRouter(tags=["health"])


class Alive(BaseModel):
    """The process answers."""

    status: Literal["ok"]


class NotReady(BaseModel):
    """Why no request should be sent here now (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    reasons: list[str]


@router.get("/health", response_model=Health, summary="Whether the audit can answer, and by which rulebook")
def health(request: Request) -> Response:
    found = auditor_of(request).rulebook
    return json_answer(
        {
            "status": "ok",
            "digest": found.digest,
            "rules": len(found.rules),
            "machine_cards": len(found.machines),
            "crop_cards": len(found.crops),
        }
    )


@router.get("/health/live", response_model=Alive, summary="Whether the process answers; if not, start it again")
async def live() -> Response:
    return json_answer({"status": "ok"})


@router.get(
    "/health/ready",
    response_model=Alive,
    responses={503: {"model": NotReady, "description": "not ready; `reasons` says why"}},
    summary="Whether requests should be sent here",
    description="Not ready while the store can't be reached or written to, its disk is nearly full, the clock is "
    "behind the record, or the server is about to stop.",
)
def ready(request: Request) -> Response:
    state = request.app.state
    desk: Desk | None = state.desk
    found = {} if desk is None else troubles(desk.store, desk.clock())
    if found:
        request.state.trouble = "; ".join(f"{reason} {why}" for reason, why in found.items())
    reasons = list(found)
    if getattr(state, "leaving", False):
        reasons.append("The server is about to stop.")
    if not reasons:
        return json_answer({"status": "ok"})
    return Problem(503, "Not ready", " ".join(reasons), NOT_READY, reasons=reasons)
