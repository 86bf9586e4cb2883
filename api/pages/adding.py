"""Every page there is, in one list."""

from __future__ import annotations

from types import ModuleType

from fastapi import Depends, FastAPI

from api.identity.caller import needs
from api.identity.rights import Right
from api.pages import (
    assets,
    cards,
    fleet,
    fleet_audits,
    papers,
    preferences,
    rules,
    settings,
    setup_entry,
    sign_in,
    starts,
    unit,
    visits,
    walk_round,
    work,
)
from api.pages.telling import problem_for, words_of

FOR_ALL: tuple[ModuleType, ...] = (assets, preferences)
"""What anybody may see."""
OF_RULES: tuple[ModuleType, ...] = (rules, cards)
"""Pages that need no record; where there is one, they show the rulebook in force to who is signed on."""
OF_RECORD: tuple[ModuleType, ...] = (
    sign_in, *settings.PAGES, fleet, fleet_audits, visits, unit, work, starts, walk_round, setup_entry, papers,
)  # fmt: skip
"""Pages of what is on record; each asks for the right that it needs."""


def add_pages(app: FastAPI) -> None:
    """Adds the pages that a server can answer."""
    app.state.words_of, app.state.problem_for = words_of, problem_for
    on_record = app.state.desk is not None
    for module in (*FOR_ALL, *(OF_RECORD if on_record else ())):
        app.include_router(module.router)
    if on_record:
        app.include_router(starts.beside_json)
    asked = [Depends(needs(Right.READ))] if on_record else []
    for module in OF_RULES:
        app.include_router(module.router, dependencies=asked)
