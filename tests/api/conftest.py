"""A store for every test that asks: SQLite always, PostgreSQL too where a server is named."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import URL, Engine, create_engine, make_url, text

from api.store.database import Store
from tests.api.ready import put_store

POSTGRES = "SETUP_AUDIT_TEST_POSTGRES"
"""Names a database on a server where databases may be made; every store gets one of its own."""


@dataclass(frozen=True)
class Databases:
    """Makes and drops databases on the server that is named."""

    server: URL
    engine: Engine

    def make(self, like: str = "") -> str:
        """A new database, empty or like another one; its name."""
        name = f"test_{uuid.uuid4().hex}"
        self.run(f"CREATE DATABASE {name}" + (f" TEMPLATE {like}" if like else ""))
        return name

    def drop(self, name: str) -> None:
        self.run(f"DROP DATABASE {name} WITH (FORCE)")

    def address(self, name: str) -> str:
        return self.server.set(database=name).render_as_string(hide_password=False)

    def run(self, statement: str) -> None:
        with self.engine.connect() as connection:
            connection.execute(text(statement))


@pytest.fixture(scope="session")
def databases() -> Iterator[Databases]:
    if POSTGRES not in os.environ:
        pytest.skip(f"{POSTGRES} names no server")
    server = make_url(os.environ[POSTGRES])
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    yield Databases(server, engine)
    engine.dispose()


@pytest.fixture(scope="session")
def migrated(databases: Databases) -> Iterator[str]:
    """The name of a PostgreSQL database with all tables, to copy."""
    name = databases.make()
    Store(databases.address(name)).close()
    yield name
    databases.drop(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database; the tables are there already for a test that asks for a store as well."""
    with_tables = "store" in request.fixturenames
    if request.param == "sqlite":
        file = tmp_path / "record.db"
        yield put_store(file) if with_tables else f"sqlite:///{file}"
        return
    databases: Databases = request.getfixturevalue("databases")
    name = databases.make(request.getfixturevalue("migrated") if with_tables else "")
    try:
        yield databases.address(name)
    finally:
        databases.drop(name)


@pytest.fixture
def store(address: str) -> Iterator[Store]:
    """An empty store."""
    found = Store(address)
    yield found
    found.close()
