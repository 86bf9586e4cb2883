"""An import whose process is killed at any of its writes, or before they are confirmed: all of it is there or nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from api.store import imports, units
from api.store.database import Store
from api.store.verifying import faults
from tests.api.running.servers import HOME, REPOSITORY, found_house

MACHINES = 30
MAPPING = "columns: {No: {is: fleet_number}, Card: {is: card}, Hours: {is: engine_hours}}\n"
_CODE = """
import os, signal, sys
from sqlalchemy import Engine, event
from api.cli import main
left = int(sys.argv.pop(1))
def written(connection, cursor, statement, *_):
    global left
    if statement.split()[0] in ("INSERT", "UPDATE", "DELETE"):
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
def confirmed(connection):
    global left
    if 0 < left < 3:
        os.kill(os.getpid(), signal.SIGKILL)
event.listen(Engine, "after_cursor_execute", written)
event.listen(Engine, "commit", confirmed)
sys.exit(main(sys.argv[1:]))
"""


def test_an_import_that_is_killed_is_there_whole_or_not_at_all(
    address: str, around: Mapping[str, str], tmp_path: Path
) -> None:
    found_house(address)
    file, mapping = tmp_path / "fleet.csv", tmp_path / "fleet.yaml"
    rows = [f"{number},axial-single,{1000 + number}" for number in range(MACHINES)]
    file.write_text("\n".join(["No,Card,Hours", *rows, ""]))
    mapping.write_text(MAPPING)
    words = ["import", str(file), "--map", str(mapping), "--store", address, "--organisation", HOME]
    kills, writes = 0, 1
    while True:
        ended = subprocess.run(
            [sys.executable, "-c", _CODE, str(writes), *words], capture_output=True, text=True, timeout=120,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY), **around}, check=False,
        )  # fmt: skip
        known = fleet(address)
        if ended.returncode != -signal.SIGKILL:
            assert ended.returncode == 0, ended.stderr
            break
        kills += 1
        assert known in ([], [f"{number}" for number in sorted(map(str, range(MACHINES)))]), f"killed at {writes}"
        writes += 2
    assert kills >= 4, "it writes units, identities, events and more"
    assert len(known) == MACHINES
    store = Store(address)
    with store.reading(HOME) as work:
        assert len(imports.page(work, None, 10)) == 1, "done once, however often it was begun"
    store.close()


def fleet(address: str) -> list[str]:
    """Units on a record that is whole."""
    store = Store(address)
    try:
        with store.reading(HOME) as work:
            assert [fault.text for fault in faults(work)] == []
            return [row.id for row in units.of_fleet(work)]
    finally:
        store.close()
