"""What every service under test starts from, made once a process: a migrated store to copy, the rulebook, the routes."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

from fastapi import FastAPI
from starlette.routing import BaseRoute

from api.app import create_app
from api.opening import open_desk
from api.service.desk import Desk
from api.service.in_force import Engines, Shipped, read_shipped
from api.store.database import Store


@cache
def shipped() -> tuple[Shipped, Engines]:
    """The shipped rulebook and what audits by it, which keeps what it compiled."""
    found = read_shipped()
    return found, Engines(found.rulebook)


def desk_on(
    store: Store,
    environment: Mapping[str, str] | None = None,
    address: str = "http://127.0.0.1:8000",
    clock: Callable[[], float] = time.time,
) -> Desk:
    """A desk by the shipped rulebook, opened as a server opens it, but that the rulebook was read before."""
    return open_desk(store, (), environment, address, clock, *shipped())


def app_on(desk: Desk) -> FastAPI:
    """The app of a desk, as a server makes it, but that all share the routes of the first one.

    Routes find the desk by the request, and FastAPI takes half a second to work them out when they are first asked.
    """
    app = create_app(desk=desk)
    if not _routes:
        _routes.extend(app.router.routes)
    assert len(app.router.routes) == len(_routes)
    app.router.routes[:] = _routes
    return app


_routes: list[BaseRoute] = []


def put_store(file: Path) -> str:
    """Puts an empty SQLite store with all its tables at a path; gives its address."""
    file.write_bytes(_migrated())
    return f"sqlite:///{file}"


@cache
def _migrated() -> bytes:
    folder = Path(tempfile.mkdtemp())
    try:
        Store(f"sqlite:///{folder / 'record.db'}").close()  # the last to leave puts all into the one file
        assert [path.name for path in folder.iterdir()] == ["record.db"]
        return (folder / "record.db").read_bytes()
    finally:
        shutil.rmtree(folder)
