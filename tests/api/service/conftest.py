"""An organisation with the demo fleet on record, and what judges it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from api.certificates.keys import make
from api.service.gate import Gate
from api.service.in_force import InForce, Shipped
from api.service.recording import prepare, put_unit, record
from api.store import organisations, units
from api.store.database import Store
from api.store.starts import StartRow
from audit.nouns.clearance import Job
from audit.nouns.risk import Level
from tests.api import ready
from tests.api.legal import CARD, NOW, legal_setup
from tests.api.service.office import Office


@dataclass(frozen=True)
class Place:
    """A store with two organisations, and one process on it."""

    store: Store
    in_force: InForce
    gate: Gate


@pytest.fixture(scope="session")
def shipped() -> Shipped:
    return ready.shipped()[0]


@pytest.fixture
def place(store: Store) -> Place:
    """Organisations ``home`` and ``other`` without any unit."""
    for name in ("home", "other"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name.title(), "me", NOW)
    in_force = InForce(store, *ready.shipped())
    return Place(store, in_force, Gate(in_force, "test"))


@pytest.fixture
def record_demo(place: Place, demo_lines: dict[str, tuple[bytes, ...]]) -> Callable[..., list[str]]:
    """Puts units of the demo fleet on record with a setup each, as if taken now; returns their ids."""

    def run(count: int, crop: str = "corn", organisation: str = "home", now: float = NOW) -> list[str]:
        ids = []
        for line in demo_lines[crop][:count]:
            setup = json.loads(line)
            unit, setup["taken"] = setup["unit"], {"by": "tech-01", "state": "as-found"}
            with place.store.writing(organisation, "me", now) as work:
                auditor = place.in_force.auditor(work, Level.HIGH)
                row, _ = put_unit(work, auditor.rulebook, unit["id"], {k: v for k, v in unit.items() if k != "id"})
                record(work, prepare(row, auditor, json.dumps(setup).encode()), auditor.rulebook.digest)
            ids.append(unit["id"])
        return ids

    return run


@pytest.fixture(scope="session")
def legal(shipped: Shipped) -> str:
    """A setup that keeps every shipped rule, without the unit's id."""
    plain = legal_setup(shipped.rulebook)
    return json.dumps({**plain, "unit": {**plain["unit"], "engine_hours": 1000.0}})


@pytest.fixture
def record_legal(place: Place, legal: str) -> Callable[..., str]:
    """Puts a unit in order on record at ``home``; returns its id."""

    def run(unit: str = "unit-70") -> str:
        with place.store.writing("home", "me", NOW) as work:
            auditor = place.in_force.auditor(work, Level.HIGH)
            row, _ = put_unit(work, auditor.rulebook, unit, {"card": CARD})
            record(work, prepare(row, auditor, legal.encode()), auditor.rulebook.digest)
        return unit

    return run


def start(place: Place, unit: str) -> StartRow:
    """Clears a start of a unit that is in order."""
    with place.store.writing("home", "mechanic", NOW) as work:
        row = units.find(work, unit)
        assert row is not None
        cleared = place.gate.start(work, row, Job("corn", "corn-head"), 1000.0, make())
    assert isinstance(cleared, StartRow)
    return cleared


@pytest.fixture
def office(place: Place) -> Office:
    """Where the type of the samples is known to be of a card."""
    found = Office(place)
    found.use_card(CARD)
    return found
