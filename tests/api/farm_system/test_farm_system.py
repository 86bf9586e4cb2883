"""A farm management system that was built from the contract's page alone, beside a real server, over HTTP."""

from __future__ import annotations

import base64
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest
from standardwebhooks import Webhook

from api.exchange.addresses import ALLOWED
from api.service.telling import PATIENCE
from audit.nouns.rulebook import Rulebook
from tests.api.farm_system import simulator
from tests.api.question.page import in_order, put_right, spoilt, written
from tests.api.running.servers import Line, Server, found_house, serving

SECRET = base64.b64encode(b"a secret of thirty-two bytes....").decode()


class Farm:
    """The audit's server and the farm system's process, with a line to each."""

    def __init__(self, server: Server, port: int, tokens: dict[str, str], setup: dict[str, Any]) -> None:
        self.server, self.audit, self.screens = server, Line(server.port), Line(port)
        self.tokens, self.setup = tokens, setup

    def unit(self, id: str, setup: dict[str, Any]) -> None:
        put_right(self.audit, self.tokens["mechanic"], id, setup)

    def record(self, id: str, setup: dict[str, Any]) -> None:
        assert self.audit.ask("POST", f"/units/{id}/setups", self.tokens["mechanic"], setup).status == 201

    def plan(self, id: str, machine: str, field: str = "north-40") -> None:
        task = {"id": id, "field": field, "machine": machine, "header_kind": "corn-head", "engine_hours": 1001}
        assert self.screens.ask("POST", "/tasks", body=task).status == 201

    def begin(self, id: str) -> dict[str, Any]:
        found: dict[str, Any] = self.screens.ask("POST", f"/tasks/{id}/begin").plain
        return found

    def task(self, id: str) -> dict[str, Any]:
        found: dict[str, Any] = self.screens.ask("GET", "/tasks").plain[id]
        return found

    def network(self, up: bool) -> None:
        assert self.screens.ask("POST", "/network", body={"up": up}).plain == {"online": up}

    def subscribe(self, kinds: list[str]) -> str:
        """A webhook of the audit to the farm system, which is given its secret; the webhook's id."""
        sent = {"name": "farm system", "address": f"http://127.0.0.1:{self.screens.port}/events", "kinds": kinds}
        made = self.audit.ask("POST", "/webhooks", self.tokens["owner"], sent)
        assert made.status == 201
        assert self.screens.ask("POST", "/subscription", body={"secret": made.plain["secret"]}).status == 200
        id: str = made.plain["id"]
        return id

    def trouble(self, **how: Any) -> None:
        assert self.screens.ask("POST", "/trouble", body=how).status == 200

    def told(self) -> dict[str, Any]:
        """Events that were taken, and when which came at all."""
        found: dict[str, Any] = self.screens.ask("GET", "/events").plain
        return found

    def ask_elsewhere(self, unit: str) -> int:
        """Somebody asks for a start at the audit itself; the farm system has no part in it."""
        job = {"crop": "corn", "header_kind": "corn-head", "engine_hours": 1001}
        return self.audit.ask("POST", f"/units/{unit}/harvest-starts", self.tokens["mechanic"], job).status

    def wait(self, until: Callable[[], bool], seconds: float = 60.0) -> None:
        end = time.monotonic() + seconds
        while not until():
            assert time.monotonic() < end, self.told()
            time.sleep(0.1)

    def starts(self, unit: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.audit.ask(
            "GET", f"/units/{unit}/harvest-starts", self.tokens["reader"]
        ).plain["items"]
        return found


@contextmanager
def running(folder: Path, url: str, token: str) -> Iterator[int]:
    """The farm system's process; gives its port."""
    written(folder)
    words = ["--example", str(folder / "may_start.py"), "--audit", url, "--token", token]
    process = subprocess.Popen([sys.executable, simulator.__file__, *words], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield int(process.stdout.readline())
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


@pytest.fixture
def farm(tmp_path: Path, rulebook: Rulebook) -> Iterator[Farm]:
    secret = tmp_path / "secret"
    secret.write_bytes(bytes(range(32)))
    secret.chmod(0o600)
    address = f"sqlite:///{tmp_path / 'record.db'}"
    tokens, setup = found_house(address), in_order(rulebook)
    with (
        serving(address, {"SETUP_AUDIT_SECRET_FILE": str(secret), ALLOWED: "127.0.0.0/8"}, tmp_path, 1) as (server,),
        running(tmp_path, f"http://127.0.0.1:{server.port}", tokens["mechanic"]) as port,
    ):
        yield Farm(server, port, tokens, setup)


def test_a_day_at_the_farm(farm: Farm) -> None:
    """Held with the reason on their screen, put right, started once, gone on without a network, stopped when revoked."""
    farm.unit("unit-07", spoilt(farm.setup))
    farm.plan("task-1", "unit-07")
    assert farm.screens.ask("GET", "/machines").plain["unit-07"].startswith("HELD: unit-07 may not start corn")

    held = farm.begin("task-1")
    assert held["state"] == "held"
    assert held["screen"][0].startswith("HELD: unit-07 may not start corn with corn-head")
    assert any("drum" in line for line in held["screen"])

    farm.record("unit-07", farm.setup)
    assert farm.begin("task-1")["state"] == "running"
    assert farm.begin("task-1")["state"] == "running"
    assert len(farm.starts("unit-07")) == 1  # the kept certificate did for the second time

    farm.network(up=False)
    farm.plan("task-2", "unit-07", "river-flat")
    assert farm.begin("task-1")["state"] == "running"
    alone = farm.begin("task-2")
    assert alone["state"] == "held"
    assert alone["screen"][0].startswith("HELD: unit-07: ")
    assert farm.starts("unit-07")[0]["revoked"] is None

    farm.record("unit-07", spoilt(farm.setup))
    assert farm.begin("task-1")["state"] == "running"  # nobody could have told it yet
    farm.network(up=True)
    gone = farm.begin("task-1")
    assert gone["state"] == "held"
    assert gone["screen"] == ["HELD: unit-07: the certificate does not count: revoked"]
    assert farm.begin("task-2")["state"] == "held"


def test_a_server_that_dies_holds_and_a_kept_certificate_does_not(farm: Farm) -> None:
    farm.unit("unit-07", farm.setup)
    farm.plan("task-1", "unit-07")
    farm.plan("task-2", "unit-07")
    assert farm.begin("task-1")["state"] == "running"
    farm.server.kill()
    assert farm.begin("task-1")["state"] == "running"
    assert farm.begin("task-2")["state"] == "held"
    farm.server.start()
    farm.audit.close()
    assert farm.begin("task-2")["state"] == "running"
    assert len(farm.starts("unit-07")) == 2


def test_a_machine_that_nobody_knows_and_a_job_it_is_not_set_for_are_held(farm: Farm) -> None:
    farm.unit("unit-07", farm.setup)
    farm.plan("task-1", "unit-99")
    assert "404" in farm.begin("task-1")["screen"][0]
    wheat = {"id": "task-2", "field": "north-40", "machine": "unit-07", "crop": "wheat", "header_kind": "draper"}
    assert farm.screens.ask("POST", "/tasks", body=wheat).status == 201
    held = farm.begin("task-2")
    assert held["state"] == "held"
    assert "corn" in held["screen"][1]


def test_what_happens_at_the_audit_is_on_the_farm_systems_screen_by_webhook(farm: Farm) -> None:
    """Nobody asks at the farm system: a start that is held elsewhere, then the work, then what spoils it again.

    The server sends by itself; what comes is signed (checked by the Standard Webhooks library), and only makes the farm
    system ask: what its screen says is the answer of ``/may-start``.
    """
    farm.subscribe(["start.held", "finding.closed", "start.revoked"])
    farm.unit("unit-07", spoilt(farm.setup))
    farm.unit("unit-08", farm.setup)
    farm.plan("task-1", "unit-07")
    farm.plan("task-2", "unit-08", "river-flat")
    assert farm.ask_elsewhere("unit-07") == 409
    farm.wait(lambda: farm.task("task-1")["state"] == "held")
    held = farm.task("task-1")["screen"]
    assert held[0].startswith("HELD: unit-07 may not start corn with corn-head")
    assert any("drum" in line for line in held)
    assert farm.task("task-2")["state"] == "planned", "nothing was told of its machine"

    farm.record("unit-07", farm.setup)
    farm.wait(lambda: farm.task("task-1")["state"] == "ready")
    assert farm.task("task-1")["screen"][0].startswith("CLEARED: unit-07")
    assert farm.starts("unit-07") == [], "asking is no start"
    assert farm.begin("task-1")["state"] == "running"

    farm.record("unit-07", spoilt(farm.setup))
    farm.wait(lambda: farm.task("task-1")["state"] == "held")
    assert farm.task("task-1")["screen"] == ["HELD: unit-07: the certificate does not count: revoked"]
    kinds = [one["type"].rpartition("audit.")[2] for one in farm.told()["events"]]
    assert kinds == ["start.held", "finding.closed", "start.revoked"]


def test_a_farm_system_that_fails_then_is_slow_then_recovers_gets_the_event_once(farm: Farm) -> None:
    """RFC 9110, 10.2.3: it names a date to be asked again. Then it takes longer than anybody waits; then it is well."""
    hook = farm.subscribe(["start.held"])
    farm.unit("unit-07", spoilt(farm.setup))
    farm.plan("task-1", "unit-07")
    again = time.time() + 10.0
    farm.trouble(status=503, retry_after=format_datetime(datetime.fromtimestamp(again, UTC), True))
    assert farm.ask_elsewhere("unit-07") == 409
    farm.wait(lambda: len(farm.told()["came"]) == 1)
    assert farm.task("task-1")["state"] == "planned", "it refused what came"
    farm.trouble(seconds=PATIENCE + 3.0)
    path = f"/webhooks/{hook}"
    owner = farm.tokens["owner"]

    def line() -> dict[str, Any]:
        found: dict[str, Any] = farm.audit.ask("GET", f"{path}/deliveries", owner).plain["items"][0]
        return found

    farm.wait(lambda: len(farm.told()["came"]) == 2)  # it was put down in its own time, which nobody waited for
    assert farm.told()["came"][1][0] >= int(again) + PATIENCE, "not before the date that it named"
    farm.wait(lambda: line()["attempts"] == 2)
    assert "longer than 15 s" in line()["why"]
    farm.trouble()
    farm.wait(lambda: farm.task("task-1")["state"] == "held")
    assert farm.audit.ask("POST", f"{path}/replays", owner, {"delivery": 1}).plain == {"again": 1}
    farm.wait(lambda: line()["state"] == "delivered")
    told = farm.told()
    assert len(told["events"]) == 1, "taken once"
    assert len(told["came"]) == 3, "sent three times"
    assert len({id for _, id in told["came"]}) == 1
    farm.record("unit-07", farm.setup)
    assert farm.begin("task-1")["state"] == "running"


def test_a_webhook_stops_a_running_task_once_and_only_if_it_is_signed(farm: Farm) -> None:
    """Standard Webhooks 1.0.0: signed by the reference library; a bad signature or an old time is refused."""
    farm.unit("unit-07", farm.setup)
    farm.plan("task-1", "unit-07")
    assert farm.begin("task-1")["state"] == "running"
    farm.record("unit-07", spoilt(farm.setup))
    body = json.dumps(
        {
            "specversion": "1.0", "id": "event-1", "type": "start.revoked", "source": "/", "subject": "unit-07",
            "data": {"unit": "unit-07"},
        }
    )  # fmt: skip
    assert farm.screens.ask("POST", "/subscription", body={"secret": SECRET}).status == 200

    def headers(signed: str, ago: float = 0.0) -> dict[str, str]:
        now = datetime.fromtimestamp(time.time() - ago, UTC)
        return {
            "webhook-id": "event-1", "webhook-timestamp": str(int(now.timestamp())),
            "webhook-signature": Webhook(SECRET).sign("event-1", now, signed),
        }  # fmt: skip

    def send(more: dict[str, str]) -> int:
        return farm.screens.ask("POST", "/events", body=json.loads(body), more=more).status

    assert send(headers("another body")) == 401
    assert send(headers(body, ago=3600.0)) == 401
    assert farm.task("task-1")["state"] == "running"
    assert send(headers(body)) == 204
    assert farm.task("task-1")["screen"] == ["HELD: unit-07: the certificate does not count: revoked"]
    assert send(headers(body)) == 200  # sent again, taken once
