"""Server processes that send by themselves, and are killed: at least once, and nothing lost."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from api.exchange.addresses import ALLOWED, own_networks
from api.service.telling import Teller, send_due
from api.store.database import Store
from api.store.deliveries import LEASE
from audit.nouns.rulebook import Rulebook
from tests.api.exchange_out.receiving import Behaviour, Receiver
from tests.api.question.page import in_order, put_right, spoilt
from tests.api.running.servers import REPOSITORY, Line, found_house, serving

JOB = {"crop": "corn", "header_kind": "corn-head", "engine_hours": 1000.0}


@pytest.fixture
def around(tmp_path: Path) -> dict[str, str]:
    secret = tmp_path / "secret"
    secret.write_bytes(bytes(range(32)))
    secret.chmod(0o600)
    return {"SETUP_AUDIT_SECRET_FILE": str(secret), ALLOWED: "127.0.0.0/8"}


def held_start(line: Line, tokens: dict[str, str]) -> None:
    assert line.ask("POST", "/units/unit-07/harvest-starts", tokens["mechanic"], JOB).status == 409


def test_two_servers_send_by_themselves_and_a_killed_one_loses_nothing(
    address: str, around: dict[str, str], tmp_path: Path, rulebook: Rulebook, receiver: Receiver
) -> None:
    tokens = found_house(address)
    with serving(address, around, tmp_path, 2) as (first, second):
        line = Line(first.port)
        sent = {"name": "planning", "address": receiver.url, "kinds": ["start.held"]}
        assert line.ask("POST", "/webhooks", tokens["owner"], sent).status == 201
        put_right(line, tokens["mechanic"], "unit-07", spoilt(in_order(rulebook)))
        for count in range(1, 4):
            held_start(line, tokens)
            receiver.wait_for(count)
        assert len(set(receiver.ids())) == 3 == len(receiver.got)
        first.kill()
        other = Line(second.port)
        held_start(other, tokens)
        held_start(other, tokens)
        second.kill()  # it may have sent none of them, or any
        first.start()
        held_start(line, tokens)
        until = time.monotonic() + LEASE + 60.0
        while len(set(receiver.ids())) < 6:
            assert time.monotonic() < until, receiver.ids()
            time.sleep(0.1)
        first.kill(signal.SIGTERM)
        line.close()
        other.close()
    assert len(receiver.got) <= 7, "what was in flight when it was killed may come twice, and nothing else"


def test_a_sender_that_is_killed_in_the_midst_of_an_attempt(
    address: str, around: dict[str, str], tmp_path: Path, rulebook: Rulebook, receiver: Receiver
) -> None:
    tokens = found_house(address)
    receiver.behaviour = Behaviour(503)
    with serving(address, around, tmp_path, 1) as (server,):
        line = Line(server.port)
        sent = {"name": "planning", "address": receiver.url, "kinds": ["start.held"]}
        assert line.ask("POST", "/webhooks", tokens["owner"], sent).status == 201
        put_right(line, tokens["mechanic"], "unit-07", spoilt(in_order(rulebook)))
        held_start(line, tokens)
        receiver.wait_for(1)
        line.close()
        server.kill(signal.SIGTERM)  # it ends its attempt, and gives its lease back
    receiver.behaviour = Behaviour(seconds=60.0)
    time.sleep(7.0)  # the first wait, with its jitter
    words = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"
    sender = subprocess.Popen(
        [sys.executable, "-c", words, "webhook", "send", "--store", address],
        env={**os.environ, "PYTHONPATH": str(REPOSITORY), **around},
        stdout=subprocess.PIPE,
        text=True,
    )
    receiver.wait_for(2)
    sender.kill()
    sender.communicate()
    receiver.behaviour = Behaviour()
    store = Store(address)
    try:
        secret, networks = bytes(range(32)), own_networks(around)
        now = Teller(store, secret, "http://127.0.0.1", networks, time.time)
        assert send_due(now).delivered == 0, "its lease still stands"
        later = Teller(store, secret, "http://127.0.0.1", networks, lambda: time.time() + LEASE + 1.0)
        assert send_due(later).delivered == 1
    finally:
        store.close()
    assert len(set(receiver.ids())) == 1
    assert len(receiver.got) == 3
