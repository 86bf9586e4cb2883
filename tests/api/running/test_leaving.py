"""A server that is told to stop under load: not ready first, then gone, and every answer that it gave is on record."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from api.store import events
from api.store.database import Store
from api.store.verifying import faults
from tests.api.running.servers import free_port, ready

UNIT = {"card": "axial-single", "serial": "KX-01822"}


def ask(port: int, method: str, path: str, token: str = "", body: object = None) -> tuple[int, str]:
    """Status and the Connection header of one request on a connection of its own. Raises OSError, HTTPException."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        headers = {"content-type": "application/json", "authorization": f"Bearer {token}"}
        connection.request(method, path, None if body is None else json.dumps(body), headers)
        answer = connection.getresponse()
        answer.read()
        return answer.status, answer.getheader("connection", "")
    finally:
        connection.close()


@pytest.mark.parametrize("linger", [0.0, 1.5])
def test_no_acknowledged_answer_is_lost(tmp_path: Path, linger: float) -> None:
    file, port = tmp_path / "record.db", free_port()
    words = ["serve", "--port", str(port), "--store", f"sqlite:///{file}", "--linger", str(linger)]
    code = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"
    server = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=(tmp_path / "log").open("w"),
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
    )
    assert server.stdout is not None
    try:
        token = next(line.strip() for line in server.stdout if line.startswith("    "))
        while not ready(port):
            assert server.poll() is None, (tmp_path / "log").read_text()
            time.sleep(0.05)
        kept: list[str] = []
        leaving: list[str] = []

        def send(name: str) -> None:
            for number in range(10_000):
                id = f"{name}-{number}"
                try:
                    status, connection = ask(port, "PUT", f"/units/{id}", token, UNIT)
                except (OSError, http.client.HTTPException):
                    return  # no answer, so nothing is promised
                if status == 201:
                    kept.append(id)
                if connection == "close":
                    leaving.append(id)

        senders = [threading.Thread(target=send, args=(f"unit-{number}",)) for number in range(4)]
        for sender in senders:
            sender.start()
        while len(kept) < 20:
            assert server.poll() is None, (tmp_path / "log").read_text()
            time.sleep(0.02)
        server.send_signal(signal.SIGTERM)
        told = len(kept)
        if linger:
            assert not_ready_soon(port)
        for sender in senders:
            sender.join()
        server.wait(timeout=60)
    finally:
        server.kill()
        server.wait()
        server.stdout.close()
    store = Store(f"sqlite:///{file}")
    with store.reading("home") as work:
        added = [one.subject.removeprefix("unit/") for one in events.read(work, what="unit.added")]
        assert list(faults(work)) == []
    store.close()
    assert set(kept) <= set(added)
    assert len(added) == len(set(added))
    if linger:
        assert len(kept) > told  # it went on answering
        assert leaving
    lines = [json.loads(line) for line in (tmp_path / "log").read_text().splitlines()]
    puts = [line for line in lines if line.get("route") == "/units/{unit}" and line["status"] == 201]
    assert len(puts) >= len(kept)  # every answer has its line, and every line is JSON


def not_ready_soon(port: int) -> bool:
    """Whether the server says that it is not ready, while it still answers."""
    for _ in range(50):
        try:
            if ask(port, "GET", "/health/ready")[0] == 503:
                return True
        except (OSError, http.client.HTTPException):
            return False
        time.sleep(0.01)
    return False
