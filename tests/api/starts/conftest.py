"""A whole service in this process: a store, a clock of our own, people with tokens, and setups that are in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.service.desk import Desk
from api.store import organisations
from api.store.database import Store
from audit.nouns.rulebook import Rulebook
from tests.api.legal import NOW, Clock, legal_setup
from tests.api.ready import app_on, desk_on

HOME, OTHER = "ridgeline", "lowfield"


@dataclass
class House:
    """The service, and a token for each role of each organisation."""

    app: FastAPI
    desk: Desk
    clock: Clock
    tokens: dict[tuple[str, str], str] = field(default_factory=dict)

    def client(self, role: str = "owner", organisation: str = HOME) -> TestClient:
        """Requests of somebody with this role."""
        headers = {"Authorization": f"Bearer {self.tokens[organisation, role]}"}
        return TestClient(self.app, headers=headers, raise_server_exceptions=False)


@pytest.fixture
def house(store: Store, tmp_path: Path) -> House:
    """An empty service with two organisations."""
    secret = tmp_path / "secret"
    secret.write_bytes(b"s" * 32)
    secret.chmod(0o600)
    clock = Clock()
    settings = {"SETUP_AUDIT_SECRET_FILE": str(secret)}
    desk = desk_on(store, settings, "https://audit.ridgeline.example", clock)
    found = House(app_on(desk), desk, clock)
    for organisation in (HOME, OTHER):
        with store.connection(writes=True) as connection:
            organisations.make(connection, organisation, organisation.title(), "test", NOW)
        with store.writing(organisation, "test", NOW) as work:
            for role in Role:
                found.tokens[organisation, role.value] = make(work, at_command_line(organisation), role.value, role)[1]
    return found


@pytest.fixture(scope="session")
def legal(rulebook: Rulebook) -> Callable[..., dict[str, Any]]:
    """A setup that keeps every rule, as JSON, by crop; without the unit's id."""

    def found(crop: str = "corn") -> dict[str, Any]:
        plain = legal_setup(rulebook, crop)
        plain["unit"]["engine_hours"] = 1000.0
        return plain

    return found
