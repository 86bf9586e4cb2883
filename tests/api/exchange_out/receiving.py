"""A receiver of webhooks on loopback, that can be slow, fail, redirect, break off or answer too much."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass(frozen=True)
class Got:
    """One request that came in."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Behaviour:
    """How it answers. ``break_off``: half an answer, then nothing; ``too_much``: bytes of the answer."""

    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    seconds: float = 0.0
    break_off: bool = False
    too_much: int = 0
    refuses: Callable[[Got], bool] | None = None


@dataclass
class Receiver:
    """What came in, in order, and how it answers now."""

    port: int = 0
    behaviour: Behaviour = field(default_factory=Behaviour)
    got: list[Got] = field(default_factory=list)
    at_once: int = 0
    most_at_once: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hook"

    def ids(self) -> list[str]:
        return [one.headers["webhook-id"] for one in self.got]

    def wait_for(self, count: int, seconds: float = 60.0) -> None:
        until = time.monotonic() + seconds
        while len(self.got) < count:
            assert time.monotonic() < until, f"only {len(self.got)} of {count} came"
            time.sleep(0.02)

    def take(self, request: Any) -> None:
        body = request.rfile.read(int(request.headers["content-length"]))
        got = Got(request.path, {name.lower(): value for name, value in request.headers.items()}, body)
        behaviour = self.behaviour
        with self._lock:
            self.at_once += 1
            self.most_at_once = max(self.most_at_once, self.at_once)
            self.got.append(got)
        try:
            time.sleep(behaviour.seconds)
            status = 400 if behaviour.refuses is not None and behaviour.refuses(got) else behaviour.status
            request.send_response(status)
            length = 1000 if behaviour.break_off else behaviour.too_much
            for name, value in {**behaviour.headers, "content-length": str(length)}.items():
                request.send_header(name, value)
            request.end_headers()
            if behaviour.break_off:
                request.wfile.write(b"half")
            else:
                request.wfile.write(b"x" * behaviour.too_much)
        finally:
            with self._lock:
                self.at_once -= 1


@contextmanager
def receiving() -> Iterator[Receiver]:
    """A receiver that answers 200 until told otherwise."""
    found = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            with suppress(OSError):
                found.take(self)
            self.close_connection = True

        def log_message(self, *_: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True

    server = Server(("127.0.0.1", 0), Handler)
    found.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield found
    finally:
        server.shutdown()
        server.server_close()
