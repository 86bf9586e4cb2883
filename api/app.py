"""The HTTP door."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

from fastapi import Depends, FastAPI

from api.environment import rulebook
from api.errors import MEDIA, add_handlers
from api.identity.browser import Browsers
from api.identity.caller import add_identity, needs
from api.identity.rights import Right
from api.middleware import add_middleware
from api.middleware.bounds import Bounds
from api.models import ProblemAnswer
from api.pages.adding import add_pages
from api.routes import (
    acceptances,
    audits,
    calendar,
    cards,
    drawings,
    events_out,
    exports,
    fleet_audits,
    health,
    histories,
    identities,
    imports,
    keys,
    metrics,
    organisations,
    photos,
    plans,
    question,
    record,
    rulebooks,
    starts,
    tokens,
    units,
    visits,
    webhooks,
    work_requests,
)
from api.routes import rulebook as rulebook_routes
from api.routes.desk import add_refusals
from api.routes.fleet_audits import MOST_BYTES
from api.service.desk import Desk
from api.service.in_force import Engines
from api.service.rulebooks import MOST_OF_ALL
from audit.nouns.risk import Level

ABOUT = """Checks combine harvester setups against a declarative rulebook and ranks what is wrong by risk of damage.

Before any work on a machine: engine off, key out, everything stopped, header and feeder house on their safety stops;
guards back on before the engine is started. The machine's manual, local codes and a qualified technician come first.
"""

_PROBLEMS = {
    400: "not JSON, or not UTF-8",
    401: "no token, or one that opens nothing",
    403: "the caller may not do this",
    404: "no such thing",
    405: "no such method here",
    409: "it can't be done as things are",
    412: "changed since it was last seen",
    413: "more bytes than a body may have",
    415: "not sent as JSON",
    422: "a setup, body or query that was read and refused; `problems` says what is wrong, where, and what to do",
    428: "If-Match is missing",
    429: "too many requests, or too many bad tokens",
    500: "it failed; nothing was judged or written",
    503: "not now: time ran out, or the store can't be used",
}
_ALWAYS = (405, 413, 422, 429, 500)
_SENT = (400, 415)
_SIGNED_ON = (401, 403)
_ON_RECORD = (*_SIGNED_ON, *_SENT, 404, 409, 412, 428, 503)


SIZES = (
    ("/rulebooks", 4 * MOST_OF_ALL),
    ("/settings/rulebook", 4 * MOST_OF_ALL),
    ("/fleet-audits", MOST_BYTES),
    ("/fleet/audits", MOST_BYTES),
    ("/imports", imports.MOST_BYTES),
    ("/settings/imports", imports.MOST_BYTES),
)
"""Bytes that a body may have on routes that take more than a setup."""


def create_app(
    sites: Sequence[Path] = (), hold_at: Level = Level.HIGH, desk: Desk | None = None, bounds: Bounds | None = None
) -> FastAPI:
    """The app with its rulebook read once. Raises BadInput for a rulebook that can't be read.

    Args:
        sites: folders of rules and cards laid over the shipped ones.
        hold_at: lowest risk level that holds a harvest start where an organisation has not set its own.
        desk: the service of record; without it the app only audits and plans, for whoever reaches it.
        bounds: limits of size and rate.
    """
    app = FastAPI(
        title="Combine setup audit",
        version="1.0.0",
        description=ABOUT,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        # what is told of requests is told by the passage, which takes care of what it tells
        telemetry={"tracing": False, "metrics": False, "logs": False},
    )
    app.state.desk, app.state.hold_at = desk, hold_at
    app.state.engines = desk.in_force.shipped_engines if desk else Engines(rulebook(sites))
    add_handlers(app)
    add_refusals(app)
    add_identity(app, desk.identity if desk else None, Browsers(desk.secret) if desk else None)
    add_middleware(app, bounds or Bounds(SIZES))
    asked = () if desk is None else (Depends(needs(Right.READ)),)
    signed_on = () if desk is None else _SIGNED_ON
    audits.add_audits(app, asked, _responses((*signed_on, *_SENT)))  # first, as it is asked most
    add_pages(app)  # first, as some share an address with a door for programs, and are there only for browsers
    open_to_all: tuple[tuple[ModuleType, tuple[int, ...]], ...] = (
        (health, ()),
        (metrics, _SIGNED_ON),
        (keys, (404, 503)),
    )
    for module, problems in open_to_all:
        app.include_router(module.router, responses=_responses(problems))
    audited: tuple[tuple[ModuleType, tuple[int, ...]], ...] = (
        (plans, (*_SENT, 503)), (rulebook_routes, (404,)), (cards, (404,)),
    )  # fmt: skip
    for module, problems in audited:
        app.include_router(module.router, dependencies=asked, responses=_responses((*signed_on, *problems)))
    app.include_router(drawings.of_cards, dependencies=asked, responses=_responses((*signed_on, 404)))
    if desk is not None:
        app.include_router(drawings.of_units, responses=_responses(_ON_RECORD))
        app.include_router(starts.public, responses=_responses((404, 503)))
        app.include_router(question.public, responses=_responses(()))
        app.include_router(calendar.public, responses=_responses((404, 503)))
        for module in (
            units,
            photos,
            histories,
            fleet_audits,
            starts,
            question,
            acceptances,
            rulebooks,
            record,
            organisations,
            tokens,
            webhooks,
            events_out,
            work_requests,
            exports,
            calendar,
            visits,
            imports,
            identities,
        ):
            app.include_router(module.router, responses=_responses(_ON_RECORD))
    return app


def _responses(problems: Iterable[int]) -> dict[int | str, dict[str, Any]]:
    return {
        status: {"description": _PROBLEMS[status], "model": ProblemAnswer, "content": {MEDIA: {}}}
        for status in (*_ALWAYS, *problems)
    }
