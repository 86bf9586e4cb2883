"""A service with a fleet audit that is done, with its work planned, and what the visits to it are planned from."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from api.service.fleet_jobs import OUT, run_job
from tests.api.starts.conftest import HOME, House, house

__all__ = ["house"]

DEMO = Path(__file__).parents[3] / "api" / "demo"
START = datetime.now(UTC).date() + timedelta(days=1)
"""Tomorrow: a fleet audit ends at the time of this machine, and no plan begins before."""
YAML = {"Content-Type": "application/yaml"}


def visits_file(start: date = START, farms_only: str = "") -> str:
    """The demo's visits file, moved to begin on a day; harvests and listed days move with it."""
    text = (DEMO / "visits-corn.yaml").read_text()
    ahead = start - date(2026, 9, 15)
    for day in range(15, 31):
        text = text.replace(f"2026-09-{day}", f"@{day}@")
    for day in range(15, 31):
        text = text.replace(f"@{day}@", (date(2026, 9, day) + ahead).isoformat())
    return "\n".join(line for line in text.splitlines() if "harvest" not in line or farms_only in line)


def audit(house: House, content: bytes = b"", plan: bool = True) -> str:
    """A fleet audit of the demo's machines that is done; its id.

    The same machines are judged once a process. After that the job finds its files finished, as one whose process died
    just before it could say so, and only enters them.
    """
    house.desk.jobs.at_once = 0  # it is worked off here
    query = "?plan=true" if plan else ""
    body = content or (DEMO / "before-corn.ndjson").read_bytes()
    headers = {"Content-Type": "application/x-ndjson"}
    answer = house.client("recorder").post(f"/fleet-audits{query}", content=body, headers=headers)
    assert answer.status_code == 202, answer.text
    id: str = answer.json()["id"]
    place = house.desk.jobs.place(HOME, id)
    (sent,) = (file for file in place.iterdir() if file.is_file())
    if kept := _judged.get((body, plan)):
        (place / OUT).mkdir()
        for name, text in kept.items():
            (place / OUT / name).write_bytes(text.replace(_INPUT, str(sent).encode()))
    work_off(house, id)
    files = (file for file in (place / OUT).iterdir() if file.is_file())
    _judged[body, plan] = {file.name: file.read_bytes().replace(str(sent).encode(), _INPUT) for file in files}
    return id


_INPUT = b"<the input>"
_judged: dict[tuple[bytes, bool], dict[str, bytes]] = {}
"""Files of audits that were done, by what was sent; the input goes by another path each time."""


def work_off(house: House, id: str) -> None:
    """Does an audit here, as its process would."""
    run_job(house.desk.store.address, HOME, id, house.desk.jobs.place(HOME, id), (), lambda: False)


def make(house: House, audit: str, text: str, match: str = "", **more: str) -> Any:
    """Asks for a plan."""
    headers = {**YAML, **({"If-Match": match} if match else {}), **more}
    path = f"/visit-plans?fleet_audit={audit}&effort=0.5"
    return house.client("mechanic").post(path, content=text.encode(), headers=headers)


def standing(house: House, query: str = "") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = house.client("reader").get(f"/visits?most=500{query}").json()["items"]
    return found


def edition(house: House) -> str:
    found: str = house.client("reader").get("/visits").headers["etag"]
    return found


@pytest.fixture
def fleet_house(house: House, tmp_path: Path) -> Iterator[House]:
    """A house with a place for the files of fleet audits."""
    house.desk.jobs.folder = tmp_path / "fleets"
    house.clock.at = time.time()
    yield house
    house.desk.jobs.close()


@pytest.fixture
def audited(fleet_house: House) -> str:
    """A fleet audit that is done."""
    return audit(fleet_house)
