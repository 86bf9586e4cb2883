"""A whole service that may tell receivers on loopback, and receivers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.exchange.addresses import ALLOWED
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.service.telling import Sent, Teller, note_expired, send_due, teller_of
from api.store import organisations
from api.store.database import Store
from tests.api.exchange_out.receiving import Receiver, receiving
from tests.api.legal import NOW, Clock
from tests.api.ready import app_on, desk_on
from tests.api.starts.conftest import HOME, OTHER, House, legal

__all__ = ["legal"]

JOB = {"crop": "corn", "header_kind": "corn-head"}
Setup = dict[str, Any]


@dataclass
class Place(House):
    """The service of two organisations, with a sender that takes no chance."""

    def teller(self, **other: Any) -> Teller:
        return replace(teller_of(self.desk), jitter=lambda: 0.0, **other)

    def send(self, **other: Any) -> Sent:
        note_expired(self.teller(**other))
        return send_due(self.teller(**other))

    def hook(self, receiver: Receiver, **more: Any) -> dict[str, Any]:
        """A webhook to a receiver; the answer with its secret."""
        sent = {"name": "planning", "address": receiver.url, **more}
        answer = self.client().post("/webhooks", json=sent)
        assert answer.status_code == 201, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def events(self, kind: str = "", client: TestClient | None = None) -> list[dict[str, Any]]:
        query = {"kind": kind} if kind else {}
        found: list[dict[str, Any]] = (client or self.client()).get("/events", params=query).json()["items"]
        return found


def spoilt(setup: Setup) -> Setup:
    """The same setup with one side of the drum set for another crop."""
    return {**setup, "settings": {**setup["settings"], "feeder.drum": {"left": "raised", "right": "lowered"}}}


@pytest.fixture
def house(store: Store, tmp_path: Path) -> Place:
    """An empty service; what is on loopback may be told."""
    secret = tmp_path / "secret"
    secret.write_bytes(b"s" * 32)
    secret.chmod(0o600)
    clock = Clock()
    around = {"SETUP_AUDIT_SECRET_FILE": str(secret), ALLOWED: "127.0.0.0/8"}
    desk = desk_on(store, around, "https://audit.ridgeline.example", clock)
    found = Place(app_on(desk), desk, clock)
    for organisation in (HOME, OTHER):
        with store.connection(writes=True) as connection:
            organisations.make(connection, organisation, organisation.title(), "test", NOW)
        with store.writing(organisation, "test", NOW) as work:
            for role in Role:
                found.tokens[organisation, role.value] = make(work, at_command_line(organisation), role.value, role)[1]
    return found


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as found:
        yield found


@pytest.fixture
def unit(house: Place, legal: Callable[..., Setup]) -> Setup:
    """unit-07 on record, without a setup; gives one that is in order."""
    mechanic = house.client("mechanic")
    sent = {"card": "axial-single", "serial": "KX-01822", "build_year": 2021}
    assert mechanic.put("/units/unit-07", json=sent).status_code == 201
    return legal()


def record(house: Place, setup: Setup, unit: str = "unit-07") -> dict[str, Any]:
    """Puts a setup on record, a minute later."""
    house.clock.at += 60.0
    answer = house.client("mechanic").post(f"/units/{unit}/setups", json=setup)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def start(house: Place) -> Any:
    return house.client("mechanic").post("/units/unit-07/harvest-starts", json={**JOB, "engine_hours": 1000.0})


def adjust_belt(house: Place, setup: Setup) -> None:
    """The feeder's belt was adjusted and has run for five hours since: it is due to be looked at again."""
    record(house, setup)
    at = datetime.fromtimestamp(house.clock() + 30.0, UTC).isoformat()
    record(house, {**setup, "events": {**setup["events"], "feeder.belt_adjusted": at}})
    sent = {"card": "axial-single", "serial": "KX-01822", "build_year": 2021, "engine_hours": 1005.0}
    fitted = setup["unit"]["fitted"]
    answer = house.client("mechanic").put("/units/unit-07", json={**sent, "fitted": fitted}, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text
