"""A farm management system in small, as a process of its own: fields, machines, tasks, and one screen for each task.

It knows of the audit what an integrator knows: the Python example of the contract's page, an address, a token, and, where
webhooks are sent, their secret. Before a task begins it asks; it keeps the certificate, the keys and the list of revoked
starts, and goes on by them without a network. Names of fields and machines are invented.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib.util
import json
import threading
import time
from dataclasses import asdict, dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import ModuleType
from typing import Any

NOWHERE = "http://127.0.0.1:9"
"""Where it asks while its network is cut: nobody answers there."""


@dataclass
class Task:
    """A job on a field. ``state`` is planned, running or held; ``screen`` is what the driver sees."""

    id: str
    field: str
    machine: str
    crop: str
    header_kind: str
    engine_hours: float | None = None
    state: str = "planned"
    screen: list[str] = dataclasses.field(default_factory=list)
    answer: dict[str, Any] | None = None


class FarmSystem:
    """Fields, machines and tasks, and what was kept of the audit's answers."""

    def __init__(self, example: ModuleType, audit: str, token: str, secret: str) -> None:
        self.example, self.audit, self.token, self.secret = example, audit, token, secret
        self.online, self.lock = True, threading.Lock()
        self.fields = {"north-40": {"crop": "maize", "ha": 41.5}, "river-flat": {"crop": "maize", "ha": 18.0}}
        self.machines: dict[str, str] = {}
        self.tasks: dict[str, Task] = {}
        self.kept: dict[str, Any] = {}
        self.events: dict[str, Any] = {}
        self.asked: dict[str, int] = {}

    def server(self) -> str:
        return self.audit if self.online else NOWHERE

    def plan(self, said: dict[str, Any]) -> Task:
        """Puts a task on the list; its crop is the field's."""
        task = Task(**{"crop": self.fields[said["field"]]["crop"], **said})
        self.tasks[task.id] = task
        self.machines.setdefault(task.machine, "not asked")
        return task

    def poll(self) -> None:
        """Asks for every planned task what would be answered now, so that whoever plans sees it early."""
        for task in self.tasks.values():
            found = self.example.may_start(self.server(), self.token, task.machine, task.crop, task.header_kind)
            self.machines[task.machine] = found["say"]

    def fetch_kept(self) -> None:
        """Fetches keys and revoked starts; what was kept stays where there is no network."""
        try:
            for name in ("jwks", "revoked-starts"):
                self.kept[name] = self.example.fetch(self.server(), f"/.well-known/{name}.json")
        except (OSError, ValueError):
            return

    def begin(self, id: str) -> Task:
        """The driver wants to begin: by the audit's answer, or without a network by the certificate that was kept."""
        task = self.tasks[id]
        if task.answer is not None and task.answer["certificate"]:
            if self.online:
                self.fetch_kept()
            return self.go_on(task)
        found = self.example.may_start(
            self.server(),
            self.token,
            task.machine,
            task.crop,
            task.header_kind,
            task.engine_hours,
            f"{id}-{self.asked.get(id, 0)}",
        )
        if "asked_at" in found:  # else nobody answered, and the same question is sent again
            self.asked[id] = self.asked.get(id, 0) + 1
        if found["certificate"]:
            task.answer = found
            self.fetch_kept()
            return self.go_on(task)
        return self.hold(task, [found["say"], *(reason["text"] for reason in found["reasons"])])

    def go_on(self, task: Task) -> Task:
        """Runs a task if its certificate still counts by what was kept."""
        assert task.answer is not None
        said = task.answer
        try:
            claims = self.example.still_good(
                said["certificate"], self.kept["jwks"], self.kept["revoked-starts"],
                *(said[name] for name in ("issuer", "organisation", "unit", "crop", "header_kind")),
            )  # fmt: skip
        except (ValueError, KeyError) as error:
            task.answer = None
            return self.hold(task, [f"HELD: {task.machine}: the certificate does not count: {error}"])
        task.state, task.screen = "running", [said["say"], f"good for {(claims['exp'] - time.time()) / 3600:.0f} h"]
        return task

    def hold(self, task: Task, screen: list[str]) -> Task:
        task.state, task.screen = "held", screen
        return task

    def received(self, body: bytes, headers: dict[str, str]) -> int:
        """A webhook: checked by the reference library, taken once, and then every running task is looked at again."""
        from standardwebhooks import Webhook, WebhookVerificationError

        try:
            Webhook(self.secret).verify(body, headers)
        except WebhookVerificationError:
            return 401
        if headers["webhook-id"] in self.events:
            return 200
        self.events[headers["webhook-id"]] = json.loads(body)
        self.fetch_kept()
        for task in self.tasks.values():
            if task.state == "running":
                self.go_on(task)
        return 204


class Door(BaseHTTPRequestHandler):
    """Its own HTTP door."""

    system: FarmSystem

    def do_GET(self) -> None:
        with self.system.lock:
            if self.path == "/machines":
                self.system.poll()
                self.say(200, self.system.machines)
            else:
                self.say(200, {id: asdict(task) for id, task in self.system.tasks.items()})

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("content-length", 0)))
        system, way = self.system, self.path.strip("/").split("/")
        with system.lock:
            if way == ["events"]:
                self.say(system.received(body, {name.lower(): value for name, value in self.headers.items()}), None)
            elif way == ["tasks"]:
                self.say(201, asdict(system.plan(json.loads(body))))
            elif way == ["network"]:
                system.online = json.loads(body)["up"]
                self.say(200, {"online": system.online})
            elif way[0] == "tasks" and way[-1] == "begin":
                self.say(200, asdict(system.begin(way[1])))
            else:
                self.say(404, None)

    def say(self, status: int, plain: Any) -> None:
        text = b"" if plain is None else json.dumps(plain).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, *_: object) -> None:
        """Its screen is its log."""


def copied(file: Path) -> ModuleType:
    """The example as somebody copied it from the page."""
    spec = importlib.util.spec_from_file_location("may_start", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    command = argparse.ArgumentParser()
    for option in ("--example", "--audit", "--token", "--secret"):
        command.add_argument(option, required=True)
    said = command.parse_args()
    Door.system = FarmSystem(copied(Path(said.example)), said.audit, said.token, said.secret)
    door = ThreadingHTTPServer(("127.0.0.1", 0), Door)
    print(door.server_port, flush=True)
    door.serve_forever()
