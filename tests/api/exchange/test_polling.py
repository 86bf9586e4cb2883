"""Sources that are polled, over real HTTP on this machine: pages, tokens, and everything that a server may do wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest

from api.exchange.addresses import ALLOWED
from api.service import polling
from api.service.polling import BadSource
from api.store import import_sources, organisations
from api.store.database import Store
from api.store.import_sources import Source
from api.store.verifying import faults
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.exchange.serving import Asked, serving
from tests.api.legal import CARD, NOW

OWN = (ip_network("127.0.0.0/8"),)
TOKEN = "secret-of-the-depot"


def source(port: int, token: str = "", path: str = "/Fleet/1") -> Source:
    return Source("depot", "fleet-snapshot", f"http://127.0.0.1:{port}{path}", 900.0, token, NOW)


def pages(count: int, link: Callable[[int], str] = lambda number: f"/Fleet/{number + 1}") -> Callable[[Asked], None]:
    """A fleet of one machine a page."""

    def answer(asked: Asked) -> None:
        number = int(asked.path.rpartition("/")[2])
        links = [("self", asked.path)] + ([("next", link(number))] if number < count else [])
        one = machine(f"Unit {number:02}", f"U07-{number:06}", f"XXXMDA1AC{number:08}")
        asked.answer(200, snapshot_json([one], links))

    return answer


def test_every_page_is_asked_once() -> None:
    with serving(pages(3)) as port:
        found = polling.poll(source(port), {}, OWN)
    assert [unit.fleet_number for unit in found.read.units] == ["Unit 01", "Unit 02", "Unit 03"]
    assert found.source == found.polled == "depot"
    assert [unit.place.partition(",")[0] for unit in found.read.units] == ["page 1", "page 2", "page 3"]


def test_pages_that_lead_round_end() -> None:
    with serving(pages(3, lambda number: f"/Fleet/{number % 2 + 1}")) as port:
        assert len(polling.poll(source(port), {}, OWN).read.units) == 2


def test_pages_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(polling, "MOST_PAGES", 5)
    with serving(pages(10_000)) as port, pytest.raises(BadSource, match="more than 5 pages"):
        polling.poll(source(port), {}, OWN)


@pytest.mark.parametrize(
    "link", ["http://169.254.169.254/Fleet/2", "https://other.example/Fleet/2", "http://[::1", "//evil.example/2"]
)
def test_a_next_page_elsewhere_never_gets_our_token(link: str) -> None:
    with serving(pages(2, lambda _: link)) as port, pytest.raises(BadSource, match=r"another server|read"):
        polling.poll(source(port), {}, OWN)


def test_the_token_is_read_anew_and_sent(tmp_path: Path) -> None:
    seen: list[str] = []

    def answer(asked: Asked) -> None:
        seen.append(asked.headers["Authorization"])
        asked.answer(200, snapshot_json([machine()]))

    file = tmp_path / "token"
    file.write_text(f"{TOKEN}\n")
    with serving(answer) as port:
        polling.poll(source(port, "env:DEPOT"), {"DEPOT": TOKEN}, OWN)
        polling.poll(source(port, f"file:{file}"), {}, OWN)
    assert seen == [f"Bearer {TOKEN}"] * 2


@pytest.mark.parametrize(
    ("token", "environment", "why"),
    [
        ("env:DEPOT", {}, "not set"),
        ("file:/no/such/file", {}, "can't be read"),
        ("env:DEPOT", {"DEPOT": "a\r\nX-Other: 1"}, "what no secret holds"),
    ],
)
def test_tokens_that_are_none(token: str, environment: dict[str, str], why: str) -> None:
    with pytest.raises(BadSource, match=why):
        polling.poll(source(9, token), environment, OWN)


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (lambda asked: asked.answer(302, b"", Location="http://169.254.169.254/"), "redirect"),
        (lambda asked: asked.answer(401, b""), "token"),
        (lambda asked: asked.answer(429, b""), "too often"),
        (lambda asked: asked.answer(500, b""), "500"),
    ],
)
def test_answers_that_are_no_snapshot(answer: Any, why: str) -> None:
    with serving(answer) as port, pytest.raises(BadSource, match=why):
        polling.poll(source(port), {}, OWN)


def test_a_network_that_is_not_our_own_is_not_asked() -> None:
    with pytest.raises(BadSource, match="not public"):
        polling.poll(source(9), {}, ())


@pytest.fixture
def home(store: Store) -> Store:
    with store.connection(writes=True) as connection:
        organisations.make(connection, "home", "Home", "me", NOW)
    return store


def test_never_sooner_than_the_period(home: Store) -> None:
    with home.writing("home", "me", NOW) as work:
        polling.add(work, source(9), OWN)
        import_sources.asked(work, "depot", "import 1")
    with home.writing("home", "me", NOW + 899) as work, pytest.raises(BadSource, match="in 1 s"):
        polling.due(work, "depot")
    with home.writing("home", "me", NOW + 900) as work:
        assert polling.due(work, "depot").outcome == "import 1"
        polling.end(work, "depot")
        assert import_sources.every(work) == []
        assert list(faults(work)) == []


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"id": "De pot"}, "small letters"),
        ({"format": "nothing"}, "no format"),
        ({"period": 1.0}, "period"),
        ({"token": TOKEN}, "say where it is"),
        ({"address": "ftp://127.0.0.1/"}, "https"),
        ({"address": "https://169.254.169.254/latest"}, "not public"),
    ],
)
def test_sources_that_are_not_kept(home: Store, change: dict[str, Any], why: str) -> None:
    from dataclasses import replace

    with home.writing("home", "me", NOW) as work, pytest.raises(BadSource, match=why):
        polling.add(work, replace(source(9), **change), OWN)


def test_by_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """From an address to units on record, a second poll that is too soon, and a source that fails."""
    from api.cli import main

    monkeypatch.setenv("SETUP_AUDIT_STORE", f"sqlite:///{tmp_path / 'record.db'}")
    monkeypatch.setenv(ALLOWED, "127.0.0.0/8")
    monkeypatch.setenv("DEPOT", TOKEN)
    assert main(["organisation", "make", "home", "--name", "Home"]) == 0
    with serving(pages(2)) as port:
        address = f"http://127.0.0.1:{port}/Fleet/1"
        assert main(["imports", "add-source", "depot", address, "--token", "env:DEPOT"]) == 0
        assert main(["imports", "poll"]) == 0
        assert main(["imports", "answer", "1", "--card", CARD]) == 0
        assert "new unit: Unit-02" in capsys.readouterr().out
        assert main(["imports", "poll", "depot"]) == 2
        assert "may be asked again" in capsys.readouterr().out
    assert main(["imports", "add-source", "gone", f"http://127.0.0.1:{port}/"]) == 0
    assert main(["imports", "poll", "gone"]) == 2
    capsys.readouterr()
    assert main(["imports", "sources", "--json"]) == 0
    depot, gone = json.loads(capsys.readouterr().out)
    assert (depot["outcome"], "can't be reached" in gone["outcome"]) == ("import 1", True)
    assert TOKEN not in json.dumps(depot)
    assert main(["record", "verify"]) == 0
