"""The whole service on an empty store in a folder, for tests of its document."""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path

from fastapi import FastAPI

from api.identity.tokens import first_owner
from api.store.database import Store
from tests.api.ready import app_on, desk_on, put_store


def whole_app(
    folder: Path, address: str = "http://127.0.0.1:8000", environment: Mapping[str, str] | None = None
) -> tuple[FastAPI, str]:
    """The app, and its owner's token."""
    store = Store(put_store(folder / "record.db"))
    token = first_owner(store, time.time())
    assert token is not None
    desk = desk_on(store, environment, address)
    desk.jobs.at_once = 0  # made-up fleets need not be worked off
    return app_on(desk), token
