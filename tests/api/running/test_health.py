"""Whether requests should be sent here, and the counts for a monitor."""

from __future__ import annotations

import subprocess
import sys
from collections import namedtuple
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families

from api.app import create_app
from api.errors import MEDIA
from api.identity.rights import Role
from api.identity.scraping import VARIABLE as SCRAPE
from api.identity.scraping import scraping_of
from api.identity.sign_on import BadSettings
from api.identity.tokens import at_command_line, make
from api.store import events, organisations, probing
from api.store.database import Store
from tests.api.ready import app_on, desk_on

NOW = 1_790_000_000.0
LOCAL = ("127.0.0.1", 50_000)
AWAY = ("192.0.2.7", 50_000)


class Clock:
    """A clock that stands until it is set."""

    at = NOW

    def __call__(self) -> float:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(store: Store, clock: Clock, around: dict[str, str]) -> FastAPI:
    return app_on(desk_on(store, around, clock=clock))


def add(store: Store, id: str, role: Role = Role.READER) -> str:
    """An organisation and a token of it."""
    with store.connection(writes=True) as connection:
        work = organisations.make(connection, id, id, "command line", NOW)
        _, secret = make(work, at_command_line(id), role.value, role, [], None)
    return secret


def reasons(app: FastAPI) -> list[str]:
    answer = TestClient(app).get("/health/ready")
    if answer.status_code == 200:
        return []
    assert answer.status_code == 503
    assert answer.headers["content-type"] == MEDIA
    found: list[str] = answer.json()["reasons"]
    return found


def test_a_server_in_order_is_ready(app: FastAPI, store: Store) -> None:
    add(store, "ridgeline")
    assert reasons(app) == []
    assert TestClient(app).get("/health/live").json() == {"status": "ok"}
    assert TestClient(app).get("/health").json()["status"] == "ok"


def test_a_server_without_a_store_is_ready() -> None:
    assert reasons(create_app()) == []


def test_a_server_about_to_stop_is_not_ready(app: FastAPI) -> None:
    app.state.leaving = True
    assert reasons(app) == ["The server is about to stop."]
    assert TestClient(app).get("/health/live").status_code == 200


def test_a_clock_that_went_back_is_seen_and_time_on_the_record_does_not(
    app: FastAPI, store: Store, clock: Clock
) -> None:
    add(store, "ridgeline")
    clock.at = NOW - 59
    assert reasons(app) == []
    clock.at = NOW - 3600
    assert reasons(app) == ["The clock is behind the record."]
    with store.writing("ridgeline", "someone", clock()) as work:
        events.append(work, "unit.looked-at", "unit/unit-01", {})
    with store.reading("ridgeline") as work:
        times = [one.at for one in events.read(work)]
    assert times == sorted(times)
    clock.at = NOW
    assert reasons(app) == []


Usage = namedtuple("Usage", "total used free")


def test_a_disk_that_is_nearly_full_is_seen(app: FastAPI, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.store.probing.shutil.disk_usage", lambda _: Usage(100, 99, 1))
    assert reasons(app) == (["The store's disk is nearly full."] if store.is_sqlite else [])


def test_a_store_that_someone_else_holds_is_seen(app: FastAPI, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    if store.file is None:
        pytest.skip("on PostgreSQL only an organisation is held, not the store")
    monkeypatch.setattr(probing, "WAIT", 0.1)
    code = (
        "import sqlite3, sys; one = sqlite3.connect(sys.argv[1], isolation_level=None); one.execute('BEGIN IMMEDIATE')\n"
        "print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(store.file)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        assert reasons(app) == ["The store can't be written to."]
        other.communicate("")
    assert reasons(app) == []


def test_a_store_that_is_gone_is_seen(app: FastAPI, store: Store) -> None:
    if store.file is not None:
        store.close()
        folder = store.file.parent
        store.file.rename(folder / "elsewhere")
        store.file.mkdir()  # so that no new file is made in its place
    else:
        with store.connection(writes=True) as connection:
            connection.exec_driver_sql("ALTER TABLE organisations RENAME TO gone")
            connection.exec_driver_sql(f"ALTER DATABASE {store.url.database} SET default_transaction_read_only = on")
        store.close()
    assert reasons(app) == ["The store can't be written to."]


def samples(text: str) -> dict[str, float]:
    """Values by name and labels, read by the reference parser of the format."""
    return {
        sample.name + "".join(f" {key}={value}" for key, value in sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_counts_are_given_on_this_machine(app: FastAPI, store: Store) -> None:
    add(store, "ridgeline")
    add(store, "meltwater")
    client = TestClient(app, client=LOCAL)
    client.get("/health/live")
    app.state.meters.audited("held")
    app.state.meters.start_decided("cleared")
    found = samples(client.get("/metrics").text)
    assert found["setup_audit_requests_total method=GET route=/health/live status=200"] == 1
    assert found["setup_audit_audits_total clearance=held"] == 1
    assert found["setup_audit_starts_total clearance=cleared"] == 1
    assert found["setup_audit_starts_total clearance=held"] == 0
    assert found["setup_audit_store_up"] == 1
    assert found["setup_audit_organisations"] == 2
    assert found["setup_audit_events_on_record"] == 4
    digest = client.get("/health").json()["digest"]
    assert any(digest in name for name in found)


@pytest.mark.parametrize("header", ["forwarded", "via", "x-forwarded-for", "x-real-ip"])
def test_what_a_proxy_on_this_machine_passes_on_is_not_of_this_machine(app: FastAPI, header: str) -> None:
    answer = TestClient(app, client=LOCAL).get("/metrics", headers={header: "127.0.0.1"})
    assert answer.status_code == 401


def test_from_elsewhere_an_owner_sees_what_is_on_their_own_record(app: FastAPI, store: Store) -> None:
    """And nothing of the process, whose counts are of all organisations."""
    secret, _ = add(store, "ridgeline", Role.OWNER), add(store, "meltwater")
    client = TestClient(app, client=AWAY)
    assert client.get("/metrics").status_code == 401
    assert client.get("/metrics", headers={"authorization": f"Bearer {secret}x"}).status_code == 401
    found = samples(client.get("/metrics", headers={"authorization": f"Bearer {secret}"}).text)
    assert found == {"setup_audit_events_on_record": 2, "setup_audit_units": 0, "setup_audit_good_starts": 0}


def test_a_monitor_with_a_token_of_its_own_sees_the_whole_server(app: FastAPI, store: Store, tmp_path: Path) -> None:
    add(store, "ridgeline")
    add(store, "meltwater")
    token = "k" * 40
    (tmp_path / "scrape").write_text(f"{token}\n")
    scraping = scraping_of({SCRAPE: str(tmp_path / "scrape")})
    app.state.desk = replace(app.state.desk, scraping=scraping)
    client = TestClient(app, client=AWAY)
    found = samples(client.get("/metrics", headers={"authorization": f"Bearer {token}"}).text)
    assert found["setup_audit_organisations"] == 2
    for odd in (f"Bearer {token}k", f"Basic {token}", "Bearer ", token):
        assert client.get("/metrics", headers={"authorization": odd}).status_code == 401
    assert (
        client.get("/units", headers={"authorization": f"Bearer {token}"}).status_code == 401
    )  # it opens nothing else


@pytest.mark.parametrize("text", ["", "short", "k" * 31, "k" * 40 + "\n" + "k" * 40, "ü" * 40, None])
def test_a_monitors_token_that_is_none_is_refused(tmp_path: Path, text: str | None) -> None:
    if text is not None:
        (tmp_path / "scrape").write_text(text)
    with pytest.raises(BadSettings, match=SCRAPE):
        scraping_of({SCRAPE: str(tmp_path / "scrape")})


def test_counts_are_there_while_the_store_is_not(
    app: FastAPI, store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(store, "connection", refusing(tmp_path))
    found = samples(TestClient(app, client=LOCAL).get("/metrics").text)
    assert found["setup_audit_store_up"] == 0
    assert found["setup_audit_events_on_record"] != found["setup_audit_events_on_record"]  # not a number


def refusing(folder: Path) -> Callable[[], Any]:
    """A transaction on a store whose file can't be opened."""
    broken = Store(f"sqlite:///{folder / 'broken.db'}")
    broken.close()
    (folder / "broken.db").unlink()
    (folder / "broken.db").mkdir()
    return broken.connection
