"""What a decision stands on may change while it is worked out, or by the very request that asks for it."""

from __future__ import annotations

import json
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from api.service import recording
from api.service.desk import Desk
from api.store import events, organisations
from api.store.database import Store, StoreUnavailable
from audit.nouns.clearance import Terms
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from tests.api.legal import legal_setup
from tests.api.ready import app_on, desk_on
from tests.api.running.crowd import JOB, UNIT
from tests.api.running.servers import HOME, found_house


@pytest.fixture
def desk(store: Store, around: dict[str, str]) -> Desk:
    return desk_on(store, around)


def test_whoever_waits_too_long_for_another_writer_is_told(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the same process too; and it can write as soon as the other is done."""
    found_house(address)
    monkeypatch.setattr("api.store.database.PATIENCE", 1.0)  # PostgreSQL takes whole seconds
    store = Store(address)

    def write() -> str:
        try:
            with store.writing(HOME, "test", time.time()) as work:
                return events.append(work, "unit.looked-at", "unit/unit-01", {}).what
        except StoreUnavailable as error:
            return f"unavailable: {error}"

    with ThreadPoolExecutor(1) as other:
        with store.writing(HOME, "test", time.time()):
            assert other.submit(write).result().startswith("unavailable: ")
        assert other.submit(write).result() == "unit.looked-at"
    store.close()


def test_engine_hours_that_hold_a_start_revoke_what_was_given_before(
    address: str, desk: Desk, rulebook: Rulebook
) -> None:
    tokens = found_house(address)
    mechanic = TestClient(app_on(desk), headers={"authorization": f"Bearer {tokens['mechanic']}"})
    assert mechanic.put("/units/unit-01", json=UNIT).status_code == 201
    setup = {**legal_setup(rulebook), "unit": {"engine_hours": 1000.0}}
    assert mechanic.post("/units/unit-01/setups", json=setup).status_code == 201
    start = mechanic.post("/units/unit-01/harvest-starts", json={**JOB, "engine_hours": 1050.0})
    assert start.status_code == 201
    held = mechanic.post("/units/unit-01/harvest-starts", json={**JOB, "engine_hours": 1050.5})
    assert [one["why"] for one in held.json()["decision"]["reasons"]] == ["too-many-hours"]
    assert mechanic.get(f"/harvest-starts/{start.json()['id']}").json()["revoked"] is not None
    with desk.store.reading(HOME) as work:
        told = [(one.what, one.content.get("engine_hours")) for one in events.read(work)][-3:]
    assert told == [("start.cleared", 1050.0), ("start.held", 1050.5), ("start.revoked", None)]


def test_a_setup_judged_at_a_level_that_holds_no_more_is_judged_again(
    address: str, desk: Desk, rulebook: Rulebook
) -> None:
    found_house(address)
    now = time.time()
    with desk.store.writing(HOME, "test", now) as work:
        unit, _ = recording.put_unit(work, rulebook, "unit-01", UNIT)
        before, after = (desk.in_force.auditor(work, level) for level in (Level.HIGH, Level.SERIOUS))
    body = json.dumps({**legal_setup(rulebook), "unit": {"engine_hours": 1000.0}}).encode()
    prepared = recording.prepare(unit, before, body)
    with desk.store.writing(HOME, "test", now) as work:
        organisations.set_terms(work, replace(Terms(), hold_at=Level.SERIOUS), {})
    with desk.store.writing(HOME, "test", now) as work, pytest.raises(recording.Moved):
        recording.record(work, prepared, desk.in_force.digest(work))
    again = recording.prepare(unit, after, body)
    with desk.store.writing(HOME, "test", now) as work:
        assert recording.record(work, again, desk.in_force.digest(work)).number == 1
