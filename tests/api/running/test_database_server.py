"""A database server that ends, comes back, or has no room left: 503 meanwhile, nothing cleared, and then all is well."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, make_url, text

from api.errors import NOT_NOW
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.store import events, organisations
from api.store.database import Store
from api.store.verifying import faults
from tests.api.conftest import POSTGRES
from tests.api.ready import app_on, desk_on
from tests.api.running.servers import REPOSITORY

NOW = 1_790_000_000.0
UNIT = {"card": "axial-single", "serial": "KX-01822"}
JOB = {"crop": "corn", "header_kind": "corn-head"}


@dataclass(frozen=True)
class Server:
    """A database server of the test's own."""

    address: str

    def sql(self, statement: str) -> str:
        engine = create_engine(self.address, isolation_level="AUTOCOMMIT")
        try:
            with engine.connect() as connection:
                found = connection.execute(text(statement))
                return str(found.scalar()) if found.returns_rows else ""
        finally:
            engine.dispose()

    def control(self, folder: str, *words: str) -> None:
        """``pg_ctl`` on its folder, as whoever it belongs to."""
        program = max(
            Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"), default=Path(shutil.which("pg_ctl") or "pg_ctl")
        )
        owner = Path(folder).stat().st_uid
        command = [str(program), "-D", folder, "-w", *words]
        subprocess.run(command, check=True, cwd="/", user=owner, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@pytest.fixture
def server() -> Iterator[Server]:
    if POSTGRES not in os.environ:
        pytest.skip(f"{POSTGRES} names no server")
    words = [str(REPOSITORY / ".ci" / "postgres"), "sh", "-c", f'echo "${POSTGRES}"; cat']
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        yield Server(process.stdout.readline().strip())
        process.communicate("")


def client_of(store: Store, around: dict[str, str]) -> TestClient:
    """An owner with one unit on record."""
    with store.connection(writes=True) as connection:
        work = organisations.make(connection, "ridgeline", "Ridgeline", "command line", NOW)
        _, secret = make(work, at_command_line("ridgeline"), "owner", Role.OWNER, [], None)
    app = app_on(desk_on(store, around, clock=lambda: NOW))
    found = TestClient(app, headers={"authorization": f"Bearer {secret}"})
    assert found.put("/units/unit-01", json=UNIT).status_code == 201
    return found


def record(store: Store) -> tuple[list[str], list[str]]:
    """Kinds of the events, and faults."""
    with store.reading("ridgeline") as work:
        return [one.what for one in events.read(work)], [fault.text for fault in faults(work)]


def test_a_server_that_ends_and_comes_back(server: Server, around: dict[str, str]) -> None:
    """It ends as if its machine had, with connections open; the service needs no hand to go on."""
    store = Store(server.address)
    client, folder = client_of(store, around), server.sql("SHOW data_directory")
    before = record(store)
    server.control(folder, "-m", "immediate", "stop")
    for answer in (
        client.put("/units/unit-02", json=UNIT),
        client.get("/units/unit-01/clearance"),
        client.post("/units/unit-01/harvest-starts", json=JOB),
    ):
        assert (answer.status_code, answer.json()["type"]) == (503, NOT_NOW)
    assert client.get("/health/ready").status_code == 503
    server.control(folder, "-l", str(Path(folder).parent / "log"), "restart")  # with the options it had
    assert client.get("/health/ready").status_code == 200
    assert record(store) == before
    assert client.put("/units/unit-02", json=UNIT).status_code == 201
    assert record(store)[1] == []
    store.close()


@pytest.fixture
def small(server: Server) -> Iterator[Path]:
    """A disk of few bytes that a database of the server is on."""
    if os.geteuid() != 0:
        pytest.skip("only root can make a disk")
    place = Path(tempfile.mkdtemp(dir="/var/tmp"))
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=40m", "tmpfs", str(place)], check=False, capture_output=True
    )
    if made.returncode:
        pytest.skip("no disk can be made here")
    try:
        inside = place / "tables"
        inside.mkdir()
        owner = Path(server.sql("SHOW data_directory")).stat().st_uid
        for one in (place, inside):
            os.chown(one, owner, -1)
        server.sql(f"CREATE TABLESPACE small LOCATION '{inside}'")
        server.sql("CREATE DATABASE audit TABLESPACE small")
        yield place
    finally:
        with suppress(Exception):
            server.sql("DROP DATABASE IF EXISTS audit WITH (FORCE)")
            server.sql("DROP TABLESPACE IF EXISTS small")
        subprocess.run(["umount", "-l", str(place)], check=True)
        place.rmdir()


def test_a_server_whose_disk_is_full(server: Server, small: Path, around: dict[str, str]) -> None:
    """What was answered is there, and no more; nothing is cleared; with room again it goes on."""
    store = Store(make_url(server.address).set(database="audit").render_as_string(hide_password=False))
    client, filler = client_of(store, around), small / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as stream:
        while stream.write(b"\0" * 4096):
            pass
    before, answers = record(store), []
    for number in range(2, 400):  # pages have room to fill first
        answers.append(client.put(f"/units/unit-{number:03}", json={**UNIT, "owner": "x" * 250}))
        if answers[-1].status_code != 201:
            break
    assert (answers[-1].status_code, answers[-1].json()["type"]) == (503, NOT_NOW)
    assert client.post("/units/unit-01/harvest-starts", json=JOB).status_code in (409, 503)
    assert client.get("/units/unit-01").status_code == 200
    filler.unlink()
    assert client.put("/units/unit-999", json=UNIT).status_code == 201
    kinds, found = record(store)
    assert found == []
    assert kinds.count("unit.added") == before[0].count("unit.added") + len(answers)
    store.close()
