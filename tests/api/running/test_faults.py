"""What breaks under a running service: it says 503, nothing is half written, and it goes on when the fault is over."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, event, text

from api.errors import NOT_NOW
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.store import events, organisations
from api.store.database import Store, StoreUnavailable
from api.store.verifying import faults
from tests.api.ready import app_on, desk_on

NOW = 1_790_000_000.0
UNIT = {"card": "axial-single", "serial": "KX-01822"}


@pytest.fixture
def impatient(address: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """A store that waits a moment only."""
    monkeypatch.setattr("api.store.database.PATIENCE", 0.3)
    found = Store(address)
    yield found
    found.close()


@pytest.fixture
def client(impatient: Store, around: dict[str, str]) -> TestClient:
    with impatient.connection(writes=True) as connection:
        work = organisations.make(connection, "ridgeline", "Ridgeline", "command line", NOW)
        _, secret = make(work, at_command_line("ridgeline"), "owner", Role.OWNER, [], None)
    app = app_on(desk_on(impatient, around, clock=lambda: NOW))
    found = TestClient(app, headers={"authorization": f"Bearer {secret}"})
    assert found.put("/units/unit-01", json=UNIT).status_code == 201
    return found


def record(store: Store) -> tuple[list[str], list[str]]:
    """Kinds of the events, and faults."""
    with store.reading("ridgeline") as work:
        return [one.what for one in events.read(work)], [fault.text for fault in faults(work)]


def refused(answer: Any) -> None:
    assert answer.status_code == 503
    assert answer.json()["type"] == NOT_NOW
    assert int(answer.headers["retry-after"]) > 0


def test_a_locked_store(impatient: Store, client: TestClient) -> None:
    """Another process holds the write lock, or the organisation's row, longer than anyone waits."""
    before = record(impatient)
    if impatient.file is not None:
        code = (
            "import sqlite3, sys; one = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
            "one.execute('BEGIN IMMEDIATE'); print('held', flush=True); sys.stdin.read()"
        )
    else:
        code = (
            "import sys; from sqlalchemy import create_engine, text\n"
            "with create_engine(sys.argv[1]).connect() as one:\n"
            "    one.execute(text('SELECT 1 FROM organisations FOR UPDATE')); print('held', flush=True); sys.stdin.read()"
        )
    where = str(impatient.file) if impatient.file else impatient.url.render_as_string(hide_password=False)
    with subprocess.Popen(
        [sys.executable, "-c", code, where], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        refused(client.put("/units/unit-02", json=UNIT))
        assert client.get("/units/unit-01").status_code == 200  # who only reads need not wait
        other.communicate("")
    assert record(impatient) == before
    assert client.put("/units/unit-02", json=UNIT).status_code == 201
    assert record(impatient)[1] == []


def test_a_full_disk(impatient: Store, client: TestClient) -> None:
    """SQLite itself says that there is no room, as it does on a full disk (SQLITE_FULL)."""
    if impatient.file is None:
        pytest.skip("the disk is the server's")
    with impatient.connection() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
    impatient.close()

    def no_room(connection: Any, _: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")

    event.listen(impatient.engine, "connect", no_room)
    before, answers = record(impatient), []
    for number in range(2, 400):  # there are free pages to fill first
        answers.append(client.put(f"/units/unit-{number:03}", json={**UNIT, "owner": "x" * 250}))
        if answers[-1].status_code != 201:
            break
    refused(answers[-1])
    kinds, found = record(impatient)
    assert found == []
    assert kinds == [*before[0], *["unit.added"] * (len(answers) - 1)]
    assert client.get("/units/unit-01").status_code == 200
    event.remove(impatient.engine, "connect", no_room)
    impatient.close()
    assert client.put("/units/unit-99", json=UNIT).status_code == 201
    assert record(impatient)[1] == []


WRITER = """
import resource, signal, sys
from api.store import events
from api.store.database import Store, StoreUnavailable

store = Store(sys.argv[1])
if sys.argv[2] == "small":
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
written = 0
try:
    for number in range(100_000):
        with store.writing("ridgeline", "writer", 1_790_000_000.0) as work:
            events.append(work, "unit.looked-at", f"unit/{number}", {"text": "x" * 500})
        written += 1
        print(written, flush=True)
except StoreUnavailable as error:
    print("refused:", error, flush=True)
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A store on SQLite with one organisation."""
    store = Store(f"sqlite:///{tmp_path / 'record.db'}")
    with store.connection(writes=True) as connection:
        organisations.make(connection, "ridgeline", "Ridgeline", "command line", NOW)
    store.close()
    return tmp_path / "record.db"


def written_and_faults(file: Path) -> tuple[int, list[str]]:
    store = Store(f"sqlite:///{file}")
    try:
        kinds, found = record(store)
    finally:
        store.close()
    return len(kinds) - 1, found


def test_a_file_that_may_not_grow(file: Path) -> None:
    """A write that fails in the system, not in SQLite's own count: all that was acknowledged is there, and no more."""
    limit = str(file.stat().st_size + 200_000)
    done = subprocess.run(
        [sys.executable, "-c", WRITER, f"sqlite:///{file}", "small", limit], capture_output=True, text=True, check=True
    )
    *acknowledged, last = done.stdout.splitlines()
    assert last.startswith("refused:")
    assert written_and_faults(file) == (len(acknowledged), [])
    assert len(acknowledged) > 10


def test_a_writer_that_is_killed(file: Path) -> None:
    """Killed in the midst of its work: nothing that it acknowledged is lost, and the record is whole."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, f"sqlite:///{file}", "free"], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        lines = [writer.stdout.readline() for _ in range(20)]
        writer.send_signal(signal.SIGKILL)
        lines += writer.stdout.readlines()
    number, found = written_and_faults(file)
    assert found == []
    assert len(lines) <= number <= len(lines) + 1  # one may have been written that was not acknowledged yet


OPENER = """
import os, sys
from api.store import events
from api.store.database import Store, StoreUnavailable
from api.store.probing import troubles
Store(sys.argv[2]).close()  # everything is imported while it may be read
events.canonical({"a": 1})
if os.geteuid() == 0:  # to whom no file is read-only
    os.setgid(65534)
    os.setuid(65534)
try:
    store = Store(sys.argv[1])
    assert "The store can't be written to." in troubles(store, 1_790_000_000.0)
    with store.writing("ridgeline", "writer", 1_790_000_000.0) as work:
        events.append(work, "unit.looked-at", "unit/unit-01", {})
except StoreUnavailable as error:
    print("refused:", error)
"""


@pytest.mark.parametrize("kept", ["file", "folder"])
def test_a_store_that_may_not_be_written_to(file: Path, kept: str) -> None:
    folder = Path(tempfile.mkdtemp())  # not below the test's own folder, which nobody else may enter
    try:
        copy = folder / "record.db"
        shutil.copy(file, copy)
        folder.chmod(0o555 if kept == "folder" else 0o777)
        copy.chmod(0o444 if kept == "file" else 0o666)
        before = copy.read_bytes()
        done = subprocess.run(
            [sys.executable, "-c", OPENER, f"sqlite:///{copy}", f"sqlite:///{file.parent / 'scratch.db'}"],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.stdout.startswith("refused:"), done.stderr
        assert copy.read_bytes() == before
    finally:
        folder.chmod(0o777)
        shutil.rmtree(folder)


def test_a_connection_that_is_lost(impatient: Store, client: TestClient) -> None:
    """The server ends every connection: between requests nobody notices, within one it is 503, and then all is well."""
    if impatient.file is not None:
        pytest.skip("SQLite has no connection to lose")

    def end_all() -> None:
        admin = create_engine(impatient.url, isolation_level="AUTOCOMMIT")
        with admin.connect() as connection:
            connection.execute(
                text(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
            )
        admin.dispose()

    end_all()
    assert client.get("/units/unit-01").status_code == 200
    before = record(impatient)
    lost: list[str] = []

    def lose(_: Any, __: Any, statement: str, *___: Any) -> None:
        if "INSERT INTO units" in statement and not lost:
            lost.append(statement)
            end_all()

    event.listen(impatient.engine, "before_cursor_execute", lose)
    refused(client.put("/units/unit-02", json=UNIT))
    assert lost
    assert record(impatient) == before
    assert client.put("/units/unit-02", json=UNIT).status_code == 201
    assert record(impatient)[1] == []


def test_a_server_that_is_not_there_is_refused_at_once() -> None:
    with pytest.raises(StoreUnavailable):
        Store("postgresql+psycopg://nobody@127.0.0.1:1/nothing")
