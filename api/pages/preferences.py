"""How a reader wants pages to be, kept in their browser."""

from __future__ import annotations

from typing import Annotated

from fastapi import Form, Request, Response

from api.pages.door import keep, must_be_own, own_path, pages_router, see
from api.pages.languages import languages
from api.pages.units import UNITS
from api.pages.view import PREFERENCES

router = pages_router()
YEAR = 365 * 24 * 3600


@router.post("/settings/view")
def prefer(
    request: Request,
    language: Annotated[str, Form()] = "",
    units: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Keeps language and units."""
    must_be_own(request)
    chosen = f"{language if language in languages() else ''}.{units if units in UNITS else UNITS[0]}"
    answer = see(own_path(next))
    keep(request, answer, PREFERENCES, chosen, YEAR, hidden=False)
    return answer
