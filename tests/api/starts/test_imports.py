"""Imports over HTTP: dry runs leave no trace, forms and raw bodies, rights, questions, undoing."""

from __future__ import annotations

import json
from typing import Any

import pytest

from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from tests.api.exchange.samples import machine, snapshot_json, snapshot_xml, task_data, zipped
from tests.api.legal import CARD, NOW
from tests.api.starts.conftest import HOME, House

FLEET = snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")])
JSON, XML = {"Content-Type": "application/json"}, {"Content-Type": "application/xml"}
TABLE = "No;Hours;Read\nUnit 07;1490,5;2026-07-01T00:00:00Z\nUnit 08;soon;\n"
MAPPING = """\
delimiter: ';'
decimal: ','
columns:
  No: {is: fleet_number}
  Hours: {is: engine_hours, unit: h}
  Read: {is: hours_at}
"""


def send(
    house: House, body: bytes = FLEET, role: str = "mechanic", headers: dict[str, str] = JSON, query: str = ""
) -> Any:
    return house.client(role).post(f"/imports{query}", content=body, headers=headers)


def test_a_dry_run_shows_the_same_and_leaves_no_trace(house: House) -> None:
    shown = send(house, query="?dry_run=true")
    assert shown.status_code == 200
    assert shown.json()["dry_run"] is True
    client = house.client()
    assert client.get("/imports").json()["items"] == []
    assert client.get("/import-questions").json()["items"] == []
    done = send(house)
    assert done.status_code == 201
    assert done.json()["counts"] == shown.json()["counts"] == {"waits": 2}
    assert done.headers["Location"] == f"/imports/{done.json()['id']}"


def test_from_file_to_units(house: House) -> None:
    send(house)
    client = house.client("mechanic")
    questions = client.get("/import-questions").json()["items"]
    assert [one["kind"] for one in questions] == ["which-card", "which-card"]
    answered = client.post(f"/import-questions/{questions[0]['id']}/answer", json={"card": CARD})
    assert [line["fate"] for line in answered.json()["lines"]] == ["new unit", "new unit"]
    unit = client.get("/units/Unit-07").json()
    assert (unit["engine_hours"], unit["hours_at"]) == (1482.35, "2026-05-31T17:40:10.000Z")
    again = send(house)
    assert (again.status_code, again.json()["repeated"]) == (200, True)
    kept = client.get(f"/imports/{again.json()['id']}").json()
    assert kept["counts"] == {"waits": 2}, "as the import left it"
    assert client.get("/type-cards").json()["items"][0]["card"] == CARD
    assert client.post(f"/import-questions/{questions[0]['id']}/answer", json={"card": CARD}).status_code == 409


def test_undo_over_http(house: House) -> None:
    done = send(house).json()
    client = house.client("mechanic")
    assert client.post(f"/imports/{done['id']}/undo").status_code == 200
    assert client.post(f"/imports/{done['id']}/undo").status_code == 409
    assert client.get("/import-questions").json()["items"] == []
    assert client.get("/import-questions?every=true").json()["items"][0]["answer"] == {"undone": True}
    assert client.post("/imports/import-0000000000000000/undo").status_code == 404


def test_a_table_with_its_mapping(house: House) -> None:
    client = house.client("mechanic")
    client.put("/units/unit-07", json={"card": CARD})
    client.post("/units/unit-07/identities", json={"fleet_number": "Unit 07"})
    form = {
        "file": ("machines.csv", TABLE.encode(), "text/csv"),
        "mapping": ("map.yaml", MAPPING.encode(), "text/yaml"),
    }
    done = client.post("/imports", files=form)
    assert done.status_code == 201
    assert [(line["fate"], line["unit"]) for line in done.json()["lines"]] == [("refused", ""), ("updated", "unit-07")]
    without = client.post("/imports", files={"file": form["file"]})
    assert without.status_code == 422
    assert "mapping" in without.json()["detail"]


def test_settings_from_a_machine_are_shown_and_stay_out_of_setups(house: House) -> None:
    client = house.client("mechanic")
    done = client.post("/imports", files={"file": ("TASKDATA.zip", zipped({"TASKDATA/TASKDATA.XML": task_data()}))})
    assert done.status_code == 201
    (question,) = client.get("/import-questions").json()["items"]
    client.post(f"/import-questions/{question['id']}/answer", json={"card": CARD, "only": True})
    said = client.get("/units/Unit-07/from-machine").json()
    concave = next(one for one in said["values"] if one["code"] == "DDI 251")
    assert (concave["settings"], concave["verified"], concave["value"]) == (["rotor.concave_gap"], False, 12)
    assert client.get("/units/Unit-07").json()["setups"] == 0
    tasks = client.get("/planned-tasks?unit=Unit-07").json()["items"]
    assert [(one["name"], one["crop"]) for one in tasks] == [("Harvest North 40", "wheat")]


def test_who_may(house: House) -> None:
    for role in ("reader", "recorder", "author"):
        assert send(house, role=role).status_code == 403
    assert house.client("reader").get("/imports").status_code == 200
    assert house.client("mechanic").get("/import-sources").status_code == 403
    assert house.client("owner").get("/import-sources").json()["items"] == []
    with house.desk.store.writing(HOME, "test", NOW) as work:
        _, secret = make(work, at_command_line(HOME), "one", Role.MECHANIC, ["unit-07"])
    client = house.client()
    client.headers["Authorization"] = f"Bearer {secret}"
    assert client.post("/imports", content=FLEET, headers=JSON).status_code == 403
    assert client.get("/imports").status_code == 403
    assert client.get("/import-questions").status_code == 403


def test_another_organisation_sees_nothing(house: House) -> None:
    done = send(house).json()
    other = house.client("owner", "lowfield")
    assert other.get(f"/imports/{done['id']}").status_code == 404
    assert other.get("/imports").json()["items"] == []
    assert other.get("/import-questions").json()["items"] == []
    assert other.post(f"/imports/{done['id']}/undo").status_code == 404


def test_sent_twice_with_a_key_is_done_once(house: House) -> None:
    client = house.client("mechanic")
    headers = {**JSON, "Idempotency-Key": "fleet-1"}
    first, second = (client.post("/imports", content=FLEET, headers=headers) for _ in range(2))
    assert first.json() == second.json()
    assert client.post("/imports", content=b"[]", headers=headers).status_code in (409, 422)


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"", JSON, 422),
        (b"{", JSON, 422),
        (b"\xff\xfe", JSON, 422),
        (b'{"a": 1}', JSON, 422),
        (b"<Other/>", XML, 422),
        (b"<Fleet>", XML, 422),
        (b'<!DOCTYPE x [<!ENTITY a "b">]><Fleet>&a;</Fleet>', XML, 422),
        (b"PK\x03\x04 not a zip", {"Content-Type": "application/zip"}, 422),
        (b"x", {"Content-Type": "text/plain"}, 415),
        (FLEET, {**JSON, "Content-Encoding": "gzip"}, 415),
        (b"no form", {"Content-Type": "multipart/form-data"}, 400),
        (b"no form", {"Content-Type": "multipart/form-data; boundary=x"}, 400),
    ],
)
def test_bodies_that_are_none(house: House, body: bytes, headers: dict[str, str], status: int) -> None:
    refused = send(house, body, headers=headers)
    assert refused.status_code == status, refused.text
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert house.client().get("/imports").json()["items"] == []


def test_a_split_over_http(house: House) -> None:
    client = house.client("mechanic")
    for unit in ("unit-07", "unit-08"):
        client.put(f"/units/{unit}", json={"card": CARD})
    added = client.post("/units/unit-07/identities", json={"pin": "XXXMDA1AC00000482"}).json()["items"][0]
    assert client.post("/units/unit-08/identities", json={"pin": "xxx mda1ac-00000482"}).status_code == 409
    path = f"/units/unit-07/identities/{added['id']}/split"
    assert client.post(path, json={"to": "unit-99", "why": "mixed up"}).status_code == 404
    assert client.post(path, json={"to": "unit-08", "why": "mixed up"}).json()["begun"]["unit"] == "unit-08"
    assert client.post(path, json={"to": "unit-08", "why": "mixed up"}).status_code == 404
    assert client.get("/units/unit-07/identities").json()["items"] == []
    assert client.get("/units/unit-07/identities?every=true").json()["items"][0]["ended"] is not None


def test_xml_and_json_of_one_snapshot_are_one(house: House) -> None:
    send(house)
    (first, _) = house.client().get("/import-questions").json()["items"]
    house.client("mechanic").post(f"/import-questions/{first['id']}/answer", json={"card": CARD})
    other = send(house, snapshot_xml([machine()]), headers=XML).json()
    assert [line["fate"] for line in other["lines"]] == ["nothing new"]
    assert json.dumps(other)
