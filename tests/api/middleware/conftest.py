"""A small app behind the passage, and the lines that it logs."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient
from starlette.responses import StreamingResponse

from api.errors import add_handlers
from api.identity.caller import Caller, How
from api.identity.rights import Role
from api.middleware import add_middleware
from api.middleware.bounds import Bounds
from api.store.database import NoSuchOrganisation, StoreUnavailable


@dataclass
class Behind:
    """An app behind the passage."""

    app: FastAPI
    client: TestClient
    stream: io.StringIO

    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.stream.getvalue().splitlines()]


def small_app() -> FastAPI:
    """Routes that answer, fail and read in the ways that matter here."""
    app = FastAPI()
    add_handlers(app)

    @app.post("/echo")
    async def echo(request: Request) -> dict[str, int]:
        return {"size": len(await request.body())}

    @app.post("/parsed")
    def parsed(body: dict[str, Any]) -> dict[str, int]:
        return {"keys": len(body)}

    @app.get("/things/{thing}")
    def thing(request: Request, thing: str) -> dict[str, str]:
        who = "token:tablet"
        request.state.caller = Caller("ridgeline", who, frozenset({Role.READER}), frozenset(), How.TOKEN)
        return {"thing": thing}

    @app.get("/broken")
    def broken() -> None:
        raise ValueError("secret-of-a-body")

    @app.get("/halfway")
    def halfway() -> StreamingResponse:
        def parts() -> Any:
            yield b"half"
            raise ValueError("secret-of-a-body")

        return StreamingResponse(parts())

    @app.get("/locked")
    def locked() -> None:
        raise StoreUnavailable("database is locked at db.ridgeline.example")

    @app.get("/nowhere")
    def nowhere() -> None:
        raise NoSuchOrganisation("other")

    return app


@pytest.fixture
def behind() -> Callable[..., Behind]:
    """Makes the small app with bounds of the test's own."""

    def make(bounds: Bounds | None = None, **client: Any) -> Behind:
        app, stream = small_app(), io.StringIO()
        add_middleware(app, bounds, stream)
        return Behind(app, TestClient(app, raise_server_exceptions=False, **client), stream)

    return make
