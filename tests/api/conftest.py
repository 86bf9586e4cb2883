"""A store for every test that asks: SQLite always, PostgreSQL too where a server is named."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from api.store.database import Store

POSTGRES = "SETUP_AUDIT_TEST_POSTGRES"
"""Names a database on a server where databases may be made; every store gets one of its own."""


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'record.db'}"
        return
    if POSTGRES not in os.environ:
        pytest.skip(f"{POSTGRES} names no server")
    server, name = make_url(os.environ[POSTGRES]), f"test_{uuid.uuid4().hex}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    try:
        yield server.set(database=name).render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        engine.dispose()


@pytest.fixture
def store(address: str) -> Iterator[Store]:
    """An empty store."""
    found = Store(address)
    yield found
    found.close()
