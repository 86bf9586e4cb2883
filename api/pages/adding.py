"""Every page there is, in one list."""

from __future__ import annotations

from types import ModuleType

from fastapi import FastAPI

from api.pages import assets, sign_in

WITHOUT_RECORD: tuple[ModuleType, ...] = (assets,)
"""Pages that a server without a store has too."""
OF_RECORD: tuple[ModuleType, ...] = (sign_in,)
"""Pages of what is on record."""


def add_pages(app: FastAPI) -> None:
    """Adds the pages that a server can answer."""
    for module in (*WITHOUT_RECORD, *(OF_RECORD if app.state.desk is not None else ())):
        app.include_router(module.router)
