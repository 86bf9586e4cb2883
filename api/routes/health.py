"""GET /health"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.models import Health
from api.routes.state import auditor_of, json_answer

router = APIRouter(tags=["health"])


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
