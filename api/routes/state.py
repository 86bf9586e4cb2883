"""What every route needs: the engines, and answers that a client may keep until the rulebook changes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec
from fastapi import Request, Response

from api.identity.caller import Caller
from api.service.desk import Desk
from api.service.in_force import Engines
from audit.auditor import Auditor

encode = msgspec.json.Encoder().encode
"""Plain values as JSON in bytes."""

KEPT: dict[int | str, dict[str, Any]] = {
    200: {"headers": {"ETag": {"description": "the rulebook's digest", "schema": {"type": "string"}}}},
    304: {"description": "the rulebook is still the one of the ETag sent as If-None-Match"},
}
"""Responses of a route that answers by ``kept_answer``, for the OpenAPI document."""


def engines_of(request: Request) -> Engines:
    """What audits and plans: by the rulebook in force of the caller's organisation, else by the app's own."""
    desk: Desk | None = request.app.state.desk
    caller: Caller | None = getattr(request.state, "caller", None)
    if desk is None or caller is None:
        found: Engines = request.app.state.engines
        return found
    return desk.in_force.engines(caller.organisation)


async def engines_soon(request: Request) -> Engines:
    """The same in an event loop, which waits only where the store must be asked."""
    desk: Desk | None = request.app.state.desk
    caller: Caller | None = getattr(request.state, "caller", None)
    if desk is None or caller is None:
        return engines_of(request)
    found = desk.in_force.engines_at_hand(caller.organisation)
    return await desk.in_force.engines_soon(caller.organisation) if found is None else found


def auditor_of(request: Request) -> Auditor:
    """Audits at the level that holds where nothing else is said."""
    return engines_of(request).auditor(request.app.state.hold_at)


def json_answer(content: Any) -> Response:
    """An answer that is encoded once, as it is."""
    return Response(encode(content), media_type="application/json")


def kept_answer(request: Request, content: Any) -> Response:
    """The same with the rulebook's digest as ETag; 304 where the client has it already."""
    tag = f'"{auditor_of(request).rulebook.digest[:32]}"'
    return tagged(request, lambda: encode(content), tag, "no-cache")


def tagged(
    request: Request, body: Callable[[], bytes], etag: str, caching: str, media: str = "application/json",
    more: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    """An answer with its ETag; 304 where the client has it already, and ``body`` is then not asked for.

    Args:
        more: headers that both answers have.
    """
    headers = {"ETag": etag, "Cache-Control": caching, **(more or {})}
    sent = [one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")]
    if etag in sent or "*" in sent:
        return Response(status_code=304, headers=headers)
    return Response(body(), media_type=media, headers=headers)
