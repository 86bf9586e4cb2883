"""The HTTP door."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fastapi import FastAPI

from api.environment import rulebook
from api.errors import MEDIA, add_handlers
from api.models import ProblemAnswer
from api.routes import audits, cards, health, plans
from api.routes import rulebook as rulebook_routes
from audit.auditor import Auditor
from audit.nouns.risk import Level
from audit.planning.planner import Planner

ABOUT = """Checks combine harvester setups against a declarative rulebook and ranks what is wrong by risk of damage.

Before any work on a machine: engine off, key out, everything stopped, header and feeder house on their safety stops;
guards back on before the engine is started. The machine's manual, local codes and a qualified technician come first.
"""

_PROBLEMS = {
    400: "not JSON, or not UTF-8",
    404: "no such thing",
    405: "no such method here",
    413: "more bytes than a setup may have",
    415: "not sent as JSON",
    422: "a setup or query that was read and refused; `problems` says what is wrong, where, and what to do",
    500: "the audit failed; nothing was judged",
    503: "time ran out before any plan was found",
}


def create_app(sites: Sequence[Path] = (), hold_at: Level = Level.HIGH) -> FastAPI:
    """The app with its rulebook read once. Raises BadInput for a rulebook that can't be read.

    Args:
        sites: folders of rules and cards laid over the shipped ones.
        hold_at: lowest risk level that holds a harvest start.
    """
    app = FastAPI(
        title="Combine setup audit",
        version="1.0.0",
        description=ABOUT,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.auditor = Auditor(rulebook(sites), hold_at)
    app.state.planners = {level: Planner(app.state.auditor.rulebook, level) for level in Level}
    add_handlers(app)
    always = (405, 422, 500)
    sent = (400, 413, 415)
    only = {"audits": sent, "plans": (*sent, 503), "cards": (404,), "rulebook": (404,), "health": ()}
    for module in (audits, plans, rulebook_routes, cards, health):
        name = module.__name__.rpartition(".")[2]
        app.include_router(
            module.router,
            responses={
                status: {"description": _PROBLEMS[status], "model": ProblemAnswer, "content": {MEDIA: {}}}
                for status in (*always, *only[name])
            },
        )
    return app
