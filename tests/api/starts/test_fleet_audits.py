"""Fleet audits over HTTP: begun, watched, cancelled, taken up again, and the same lists as the command writes."""

from __future__ import annotations

import gzip
import json
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.fleet.run import Wanted, run
from api.service.fleet_jobs import CANCEL, OUT, at_work
from api.store.verifying import faults
from audit.nouns.rulebook import Rulebook
from tests.api.starts.conftest import HOME, OTHER, House

DEMO = Path(__file__).parents[3] / "api" / "demo" / "before-corn.ndjson"
NDJSON = {"Content-Type": "application/x-ndjson"}
PATIENCE = 120.0


@pytest.fixture
def fleet_house(house: House, tmp_path: Path) -> Iterator[House]:
    """A house with a place for files; its processes end with it."""
    house.desk.jobs.folder = tmp_path / "fleets"
    yield house
    house.desk.jobs.close()


def ended(house: House, id: str) -> dict[str, Any]:
    """The audit once it runs no more."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        found: dict[str, Any] = house.client("reader").get(f"/fleet-audits/{id}").json()
        if found["state"] != "running":
            return found
        time.sleep(0.2)
    log = house.desk.jobs.place(HOME, id) / "job.log"
    raise AssertionError(f"it still runs: {log.read_text() if log.exists() else 'no log'}")


def test_a_fleet_is_audited_as_by_the_command(fleet_house: House, tmp_path: Path, rulebook: Rulebook) -> None:
    body = DEMO.read_bytes() + b"{}\n"
    answer = fleet_house.client("recorder").post(
        "/fleet-audits?name=before%20corn", content=gzip.compress(body), headers={**NDJSON, "Content-Encoding": "gzip"}
    )
    assert answer.status_code == 202, answer.text
    found = ended(fleet_house, answer.json()["id"])
    assert (found["state"], found["why"]) == ("done", "")
    plain = tmp_path / "fleet.ndjson.gz"
    plain.write_bytes(gzip.compress(body))
    wanted = run(Wanted((str(plain),), tmp_path / "by-hand", rulebook))
    assert {key: found["summary"][key] for key in ("setups", "cleared", "held", "set_aside", "findings")} == {
        key: wanted[key] for key in ("setups", "cleared", "held", "set_aside", "findings")
    }
    reader = fleet_house.client("reader")
    by_hand = tmp_path / "by-hand"
    for name in ("findings.ndjson", "findings.parquet"):
        lines, form = name.split(".")
        got = reader.get(f"/fleet-audits/{found['id']}/{lines}?form={form}")
        assert got.status_code == 200
        assert got.content == (by_hand / name).read_bytes()
    aside = reader.get(f"/fleet-audits/{found['id']}/set-aside").text.splitlines()
    assert [json.loads(line)["text"] for line in aside] == ["{}"]
    assert [one["id"] for one in reader.get("/fleet-audits").json()["items"]] == [found["id"]]
    assert [
        event["what"] for event in reader.get("/record/events").json()["items"] if event["what"].startswith("fleet")
    ] == ["fleet-audit.begun", "fleet-audit.ended"]
    with fleet_house.desk.store.reading(HOME) as work:
        assert list(faults(work)) == []


def test_the_newest_setups_on_record_are_a_fleet(fleet_house: House, legal: Callable[..., dict[str, Any]]) -> None:
    mechanic = fleet_house.client("mechanic")
    assert mechanic.post("/fleet-audits?of=record").status_code == 409
    for number in (1, 2):
        mechanic.put(f"/units/unit-{number}", json={"card": "axial-single", "serial": f"KX-0182{number}"})
        assert mechanic.post(f"/units/unit-{number}/setups", json=legal()).status_code == 201
    answer = mechanic.post("/fleet-audits?of=record&plan=true")
    assert answer.status_code == 202, answer.text
    found = ended(fleet_house, answer.json()["id"])
    assert found["summary"]["setups"] == 2
    units = mechanic.get(f"/fleet-audits/{found['id']}/units").text.splitlines()
    assert [json.loads(line)["unit"] for line in units] == ["unit-1", "unit-2"]


def test_one_that_is_killed_is_taken_up_again(fleet_house: House) -> None:
    body = DEMO.read_bytes() * 400
    answer = fleet_house.client("recorder").post("/fleet-audits", content=body, headers=NDJSON)
    id = answer.json()["id"]
    (process,) = fleet_house.desk.jobs._running.values()
    place = fleet_house.desk.jobs.place(HOME, id)
    until = time.monotonic() + PATIENCE
    while not at_work(place) and time.monotonic() < until:
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not at_work(place)
    found = ended(fleet_house, id)
    assert found["state"] == "done"
    assert found["summary"]["setups"] == 400 * len(DEMO.read_bytes().splitlines())


def test_one_that_is_cancelled_ends(fleet_house: House) -> None:
    recorder = fleet_house.client("recorder")
    fleet_house.desk.jobs.at_once = 0  # so that it has not ended before
    id = recorder.post("/fleet-audits", content=DEMO.read_bytes(), headers=NDJSON).json()["id"]
    assert recorder.delete(f"/fleet-audits/{id}").json()["state"] == "cancelled"
    assert (fleet_house.desk.jobs.place(HOME, id) / CANCEL).exists()
    assert recorder.delete(f"/fleet-audits/{id}").status_code == 409
    fleet_house.desk.jobs.at_once = 2
    fleet_house.desk.jobs.take_up(fleet_house.desk.store)
    assert not (fleet_house.desk.jobs.place(HOME, id) / OUT).exists()
    assert recorder.get(f"/fleet-audits/{id}/units").status_code == 409


def test_a_request_that_is_sent_twice_is_one_audit(fleet_house: House) -> None:
    fleet_house.desk.jobs.at_once = 0
    recorder = fleet_house.client("recorder")
    headers = {**NDJSON, "Idempotency-Key": "fleet-before-corn"}
    first = recorder.post("/fleet-audits", content=DEMO.read_bytes(), headers=headers)
    second = recorder.post("/fleet-audits", content=DEMO.read_bytes(), headers=headers)
    assert first.content == second.content
    assert len(list((fleet_house.desk.jobs.place(HOME, "x").parent).iterdir())) == 1
    assert recorder.post("/fleet-audits", content=b"{}\n", headers=headers).status_code == 422


@pytest.mark.parametrize(
    ("content", "headers", "status"),
    [
        (b"", NDJSON, 422),
        (b"<xml/>", {"Content-Type": "application/xml"}, 415),
        (b"{}", {**NDJSON, "Content-Encoding": "br"}, 415),
    ],
)
def test_what_is_no_fleet_is_refused(fleet_house: House, content: bytes, headers: dict[str, str], status: int) -> None:
    answer = fleet_house.client("recorder").post("/fleet-audits", content=content, headers=headers)
    assert answer.status_code == status
    assert fleet_house.client("reader").get("/fleet-audits").json()["items"] == []


def test_a_table_with_columns_that_are_none_fails_with_its_reason(fleet_house: House) -> None:
    table = b"unit.id,unit.card,job.crop,settings.feeder.drun\nunit-1,axial-single,corn,raised\n"
    answer = fleet_house.client("recorder").post("/fleet-audits", content=table, headers={"Content-Type": "text/csv"})
    found = ended(fleet_house, answer.json()["id"])
    assert found["state"] == "failed"
    assert "feeder.drum" in found["why"]


def test_who_may(fleet_house: House) -> None:
    fleet_house.desk.jobs.at_once = 0
    assert fleet_house.client("reader").post("/fleet-audits", content=b"{}", headers=NDJSON).status_code == 403
    id = fleet_house.client("recorder").post("/fleet-audits", content=b"{}\n", headers=NDJSON).json()["id"]
    stranger = fleet_house.client("owner", OTHER)
    assert stranger.get(f"/fleet-audits/{id}").status_code == 404
    assert stranger.delete(f"/fleet-audits/{id}").status_code == 404
    assert stranger.get("/fleet-audits").json()["items"] == []
