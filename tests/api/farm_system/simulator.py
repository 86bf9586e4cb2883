"""A farm management system in small, as a process of its own: fields, machines, tasks, and one screen for each task.

It knows of the audit what an integrator knows: the Python example of the contract's page, an address, a token, and, where
webhooks are sent, their secret. Before a task begins it asks; it keeps the certificate, the keys and the list of revoked
starts, and goes on by them without a network. What a webhook tells of a machine makes it ask again for the machine's tasks.
It can be told to be in trouble: then its door for webhooks is slow, or refuses. Names of fields and machines are invented.
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
    """A job on a field. ``state`` is planned, ready, running or held; ``screen`` is what the driver sees."""

    id: str
    field: str
    machine: str
    crop: str
    header_kind: str
    engine_hours: float | None = None
    state: str = "planned"
    screen: list[str] = dataclasses.field(default_factory=list)
    answer: dict[str, Any] | None = None


@dataclass
class Trouble:
    """How the door for webhooks is: slow to take what comes, and then answering with a status other than its own."""

    seconds: float = 0.0
    status: int = 0
    retry_after: str = ""


class FarmSystem:
    """Fields, machines and tasks, and what was kept of the audit's answers."""

    def __init__(self, example: ModuleType, audit: str, token: str) -> None:
        self.example, self.audit, self.token, self.secret = example, audit, token, ""
        self.online, self.lock = True, threading.Lock()
        self.fields = {"north-40": {"crop": "maize", "ha": 41.5}, "river-flat": {"crop": "maize", "ha": 18.0}}
        self.machines: dict[str, str] = {}
        self.tasks: dict[str, Task] = {}
        self.kept: dict[str, Any] = {}
        self.events: dict[str, Any] = {}
        self.trouble = Trouble()
        self.came: list[tuple[float, str]] = []
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

    def look_again(self, task: Task) -> None:
        """A running task by what was kept; any other by what the audit answers now, without a start."""
        if task.state == "running":
            self.go_on(task)
            return
        found = self.example.may_start(
            self.server(), self.token, task.machine, task.crop, task.header_kind, task.engine_hours
        )
        self.machines[task.machine] = found["say"]
        if found["answer"] == "cleared":
            task.state, task.screen = "ready", [found["say"]]
        else:
            self.hold(task, [found["say"], *(reason["text"] for reason in found["reasons"])])

    def received(self, body: bytes, headers: dict[str, str]) -> int:
        """A webhook: checked by the reference library, taken once, and then every task of its machine is looked at."""
        from standardwebhooks import Webhook, WebhookVerificationError

        try:
            Webhook(self.secret).verify(body, headers)
        except WebhookVerificationError:
            return 401
        if headers["webhook-id"] in self.events:
            return 200
        event = self.events[headers["webhook-id"]] = json.loads(body)
        self.fetch_kept()
        for task in self.tasks.values():
            if task.machine == event["data"]["unit"]:
                self.look_again(task)
        return 204


class Door(BaseHTTPRequestHandler):
    """Its own HTTP door."""

    system: FarmSystem

    def do_GET(self) -> None:
        with self.system.lock:
            if self.path == "/machines":
                self.system.poll()
                self.say(200, self.system.machines)
            elif self.path == "/events":
                self.say(200, {"events": list(self.system.events.values()), "came": self.system.came})
            else:
                self.say(200, {id: asdict(task) for id, task in self.system.tasks.items()})

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("content-length", 0)))
        system, way = self.system, self.path.strip("/").split("/")
        trouble = system.trouble if way == ["events"] else Trouble()
        time.sleep(trouble.seconds)
        with system.lock:
            if way == ["events"]:
                headers = {name.lower(): value for name, value in self.headers.items()}
                system.came.append((time.time(), headers.get("webhook-id", "")))
                status = trouble.status or system.received(body, headers)
                self.say(status, None, {"Retry-After": trouble.retry_after} if trouble.retry_after else {})
            elif way == ["subscription"]:
                system.secret = json.loads(body)["secret"]
                self.say(200, {})
            elif way == ["trouble"]:
                system.trouble = Trouble(**json.loads(body))
                self.say(200, {})
            elif way == ["tasks"]:
                self.say(201, asdict(system.plan(json.loads(body))))
            elif way == ["network"]:
                system.online = json.loads(body)["up"]
                self.say(200, {"online": system.online})
            elif way[0] == "tasks" and way[-1] == "begin":
                self.say(200, asdict(system.begin(way[1])))
            else:
                self.say(404, None)

    def say(self, status: int, plain: Any, headers: dict[str, str] | None = None) -> None:
        text = b"" if plain is None else json.dumps(plain).encode()
        self.send_response(status)
        for name, value in (headers or {}).items():
            self.send_header(name, value)
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
    for option in ("--example", "--audit", "--token"):
        command.add_argument(option, required=True)
    said = command.parse_args()
    Door.system = FarmSystem(copied(Path(said.example)), said.audit, said.token)
    door = ThreadingHTTPServer(("127.0.0.1", 0), Door)
    print(door.server_port, flush=True)
    door.serve_forever()
