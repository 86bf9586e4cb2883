"""Units on record for tests of pages: one in order, one of the demo's with faults."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from tests.api.legal import legal_setup
from tests.api.ready import shipped

DEMO = Path(__file__).parents[3] / "api" / "demo" / "before-corn.ndjson"
FAULTY = "unit-02"
WHOLE = "unit-41"


class Answers(Protocol):
    """What both kinds of client give back."""

    def json(self) -> Any: ...


class Asks(Protocol):
    """A test client, or one that speaks to a real server."""

    def put(self, url: str, *, json: Any, headers: Any = ...) -> Answers: ...
    def post(self, url: str, *, json: Any, headers: Any = ...) -> Answers: ...


def now() -> str:
    """A time that setups are taken at."""
    return datetime.now(UTC).isoformat().replace("+00:00", "Z")


def faulty(client: Asks, **more: Any) -> dict[str, Any]:
    """Puts a unit of the demo on record with its setup of corn, taken just now."""
    lines = [json.loads(line) for line in DEMO.read_text().splitlines()]
    setup: dict[str, Any] = next(line for line in lines if line["unit"]["id"] == FAULTY)
    return _record(client, FAULTY, setup, **more)


def whole(client: Asks, crop: str = "corn", **more: Any) -> dict[str, Any]:
    """Puts a unit on record that is in order for a crop."""
    setup = legal_setup(shipped()[0].rulebook, crop)
    setup["unit"]["engine_hours"] = 900
    return _record(client, WHOLE, setup, **more)


def _record(client: Asks, id: str, setup: dict[str, Any], **more: Any) -> dict[str, Any]:
    unit = {key: value for key, value in setup["unit"].items() if key != "id"}
    client.put(f"/units/{id}", json=unit, **more)
    setup["taken"] = {"at": now(), "by": "tech-01", "state": "as-found"}
    setup["unit"] = {"engine_hours": unit["engine_hours"]}
    answer: dict[str, Any] = client.post(f"/units/{id}/setups", json=setup, **more).json()
    assert "setup" in answer, answer
    return answer
