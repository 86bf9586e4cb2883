"""Real server processes on one store, and connections to them, for tests of what happens between processes."""

from __future__ import annotations

import http.client
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.store import organisations
from api.store.database import Store

REPOSITORY = Path(__file__).parents[3]
HOME = "ridgeline"
PATIENCE = 120.0
"""Seconds that a server may take to come up; a busy machine is no fault."""
_IDLE = 2.0
"""Seconds after which a connection is not used again: the server closes it after five."""
_CODE = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"


class NoAnswer(Exception):
    """The connection broke before an answer came: whether it was done is not known."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer; ``plain`` is its decoded JSON, None for an empty body."""

    status: int
    headers: Mapping[str, str]
    plain: Any


@dataclass
class Line:
    """A connection to one port that is kept from one request to the next."""

    port: int
    timeout: float = 60.0
    _kept: http.client.HTTPConnection | None = field(default=None, repr=False)
    _last: float = 0.0

    def ask(
        self, method: str, path: str, token: str = "", body: object = None, more: Mapping[str, str] | None = None
    ) -> Answer:
        """Sends one request. Raises NoAnswer."""
        headers = {"content-type": "application/json", "authorization": f"Bearer {token}", **(more or {})}
        if time.monotonic() - self._last > _IDLE:
            self.close()
        if self._kept is None:
            self._kept = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.timeout)
        try:
            self._kept.request(method, path, None if body is None else json.dumps(body), headers)
            answer = self._kept.getresponse()
            text = answer.read()
        except (OSError, http.client.HTTPException) as error:
            self.close()
            raise NoAnswer(f"{method} {path}: {error!r}") from error
        self._last = time.monotonic()
        found = {name.lower(): value for name, value in answer.getheaders()}
        if found.get("connection") == "close":
            self.close()
        return Answer(answer.status, found, json.loads(text) if text else None)

    def close(self) -> None:
        if self._kept is not None:
            self._kept.close()
            self._kept = None


@dataclass
class Server:
    """One ``setup-audit serve`` process.

    Attributes:
        address: of the store.   around: what its environment says beside ours.   log: the file its log goes to.
    """

    address: str
    around: Mapping[str, str]
    log: Path
    port: int
    more: tuple[str, ...] = ()
    process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Starts it and returns once it is ready to answer."""
        words = ["serve", "--port", str(self.port), "--store", self.address, *self.more]
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-c", _CODE, *words],
                stdout=subprocess.PIPE, stderr=log, text=True,
                env={**os.environ, "PYTHONPATH": str(REPOSITORY), **self.around},
            )  # fmt: skip
        until = time.monotonic() + PATIENCE
        while not ready(self.port):
            self.must_run()
            assert time.monotonic() < until, f"not ready after {PATIENCE} s: {self.log.read_text()}"
            time.sleep(0.05)

    def must_run(self) -> None:
        """Raises AssertionError if it ended by itself."""
        assert self.process is not None
        code = self.process.poll()
        assert code is None, f"it ended by itself with {code}: {self.log.read_text()[-4000:]}"

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """Ends it and waits until it is gone."""
        if self.process is None:
            return
        self.process.send_signal(how)
        self.process.wait(timeout=PATIENCE)
        if self.process.stdout is not None:
            self.process.stdout.close()
        self.process = None


@contextmanager
def serving(address: str, around: Mapping[str, str], folder: Path, count: int) -> Iterator[list[Server]]:
    """Several servers on one store, ready; all are gone afterwards."""
    servers = [Server(address, around, folder / f"log-{number}", free_port()) for number in range(count)]
    try:
        for server in servers:
            server.start()
        yield servers
    finally:
        for server in servers:
            server.kill()


def found_house(address: str) -> dict[str, str]:
    """Makes a store with one organisation; gives a token for each role."""
    store, now = Store(address), time.time()
    with store.connection(writes=True) as connection:
        work = organisations.make(connection, HOME, "Ridgeline", "command line", now)
        tokens = {role.value: make(work, at_command_line(HOME), role.value, role)[1] for role in Role}
    store.close()
    return tokens


def free_port() -> int:
    """A port that nobody listened on just now.

    It lies below those that Linux gives to connections, from 32,768 on: whoever asks again and again at such
    a port while nobody listens would in the end be connected to themselves, and keep the server from its port.
    """
    while True:
        port = secrets.choice(range(20_000, 32_000))
        with socket.socket() as one, suppress(OSError):
            one.bind(("127.0.0.1", port))
            return port


def ready(port: int) -> bool:
    """Whether a server says that it is ready."""
    line = Line(port)
    try:
        return line.ask("GET", "/health/ready").status == 200
    except NoAnswer:
        return False
    finally:
        line.close()
