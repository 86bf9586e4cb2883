"""Everything that can be set, in a line each."""

from __future__ import annotations

from fastapi import Request, Response

from api.pages.asking import plain_of
from api.pages.door import pages_router
from api.pages.view import page
from api.routes import organisations, rulebooks
from api.routes.units import Reader

router = pages_router(prefix="/settings")


@router.get("")
def settings(request: Request, caller: Reader) -> Response:
    """The list of what the caller may see."""
    return page(
        request, "settings.html", organisation=plain_of(organisations.organisation(request, caller)),
        in_force=plain_of(rulebooks.in_force(request, caller)), whole=not caller.units,
    )  # fmt: skip
