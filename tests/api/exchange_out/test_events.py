"""What other systems are told: written with what happened, whole, and as CloudEvents say.

Outside references: the cloudevents library (CloudEvents 1.0), jsonschema (JSON Schema 2020-12).
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from cloudevents.core.formats.json import JSONFormat
from jsonschema import Draft202012Validator
from jsonschema.validators import validator_for

from api.exchange.out.cloud_events import MEDIA, PREFIX
from api.store import events
from api.store.event_kinds import KINDS, MOST_LISTED
from tests.api.exchange_out.conftest import Place, Setup, record, spoilt, start
from tests.api.starts.conftest import HOME, OTHER

DAY = 86400.0


def story(house: Place, setup: Setup) -> None:
    """Everything happens to unit-07: found wrong, held, accepted, put right, cleared, revoked, spoilt, retired."""
    mechanic, approver = house.client("mechanic"), house.client("approver")
    found = record(house, spoilt(setup))
    assert start(house).status_code == 409
    asked = {"parties": [{"role": "OPERATOR", "name": "Ada"}], "begins": "2026-10-01T07:00:00Z", "notes": "by Friday"}
    assert mechanic.post("/units/unit-07/work-requests", json=asked).status_code == 201
    report = mechanic.get("/units/unit-07/findings").json()
    for finding in [one for one in report["findings"] if one["holds_start"] and not one["risk"]["danger_to_people"]]:
        sent = {
            "setup": found["setup"]["id"], "rule": finding["rule"], "on": finding["on"], "by": "Grace",
            "reason": "seen in the field", "until": "2026-09-25T00:00:00Z",
        }  # fmt: skip
        given = approver.post("/units/unit-07/acceptances", json=sent)
        assert given.status_code == 201, given.text
    approver.delete(f"/units/unit-07/acceptances/{given.json()['id']}")
    assert approver.post("/units/unit-07/acceptances", json=sent).status_code == 201
    record(house, setup)
    assert start(house).status_code == 201
    assert mechanic.put("/units/unit-07", json={"card": "axial-single"}, headers={"If-Match": "*"}).status_code == 200
    record(house, spoilt(setup))
    house.clock.at += 30 * DAY
    house.send()
    visit = {
        "technician": "tech-01", "farm": "Oxgill Farm", "begins": "2026-10-05T08:00", "leaves": "2026-10-05T10:00",
        "work": [{"unit": "unit-07", "minutes": 120, "parts": ["belt"], "tools": ["rule"]}],
    }  # fmt: skip
    path, seen = "/visits/visit-0000000000000001", {"If-Match": "*"}
    assert mechanic.put(path, json=visit).status_code == 201
    assert mechanic.put(path, json={**visit, "farm": "Saltlane Farm"}, headers=seen).status_code == 200
    assert mechanic.delete(path, headers=seen).status_code == 200
    assert mechanic.delete("/units/unit-07", headers={"If-Match": "*"}).status_code == 200


@pytest.fixture
def told(house: Place, unit: Setup) -> list[dict[str, Any]]:
    story(house, unit)
    return house.events()


def test_each_thing_that_happened_is_told_once_and_in_order(told: list[dict[str, Any]]) -> None:
    kinds = [one["type"].removeprefix(PREFIX) for one in told]
    assert kinds[:4] == ["rulebook.activated", "unit.added", "setup.recorded", "finding.opened"]
    for kind in ("start.held", "work.requested", "finding.closed", "start.cleared", "start.revoked", "unit.retired"):
        assert kinds.count(kind) == 1, kinds
    assert [kind for kind in kinds if kind.startswith("visit")] == ["visit.planned", "visit.changed", "visit.cancelled"]
    assert kinds.count("finding.opened") == 2  # it was put right between
    assert kinds.count("acceptance.withdrawn") == 1
    assert kinds.count("acceptance.expired") == kinds.count("acceptance.given") - 1
    assert [one["sequence"] for one in told] == sorted(one["sequence"] for one in told)
    assert len({one["id"] for one in told}) == len(told)


def test_a_general_library_reads_every_event(told: list[dict[str, Any]]) -> None:
    for one in told:
        message = HTTPMessage(headers={"content-type": MEDIA}, body=json.dumps(one).encode())
        event = from_http_event(message, JSONFormat())
        assert event.get_type() == one["type"]
        assert event.get_source() == f"https://audit.ridgeline.example/organisations/{HOME}"
        assert event.get_extension("sequence") == one["sequence"]
        assert event.get_data() == one["data"]


def test_what_an_event_says_is_what_its_schema_says(house: Place, told: list[dict[str, Any]]) -> None:
    client = house.client("reader")
    assert {one["kind"] for one in client.get("/events/kinds").json()["items"]} == set(KINDS)
    seen = set()
    for one in told:
        path = one["dataschema"].removeprefix("https://audit.ridgeline.example")
        schema = client.get(path).json()
        validator_for(schema).check_schema(schema)
        Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(one["data"])
        assert set(one["data"]) == {*schema["properties"]}, "nothing beside what is described"
        seen.add(one["type"].removeprefix(PREFIX))
    assert set(KINDS) - seen == {"fleet-audit.ended"}  # its process writes it; see below


def test_an_event_says_enough_to_act(told: list[dict[str, Any]]) -> None:
    by = {one["type"].removeprefix(PREFIX): one["data"] for one in told}
    held = by["start.held"]
    assert held["unit"] == "unit-07"
    assert held["crop"] == "corn"
    assert held["count"] == len(held["reasons"]) > 0
    assert all(reason["text"] for reason in held["reasons"])
    assert held["links"]["clearance"] == "https://audit.ridgeline.example/units/unit-07/clearance"
    opened = by["finding.opened"]["findings"]
    assert {one["rule"] for one in opened} == {one["rule"] for one in by["finding.closed"]["findings"]}
    assert all(one["title"] and one["level"] == "high" for one in opened)
    work = by["work.requested"]
    assert work["partyRoles"] == [{"role": "OPERATOR", "name": "Ada"}]
    assert work["timeScopes"] == [{"dateContextCode": "PROPOSED", "start": "2026-10-01T07:00:00.000Z"}]
    assert work["count"] == len(work["steps"]) > 0
    assert any("key" in caution.lower() for caution in work["safety"])
    assert by["start.cleared"]["expires"].endswith("Z")
    assert by["start.revoked"]["why"]
    assert by["acceptance.expired"]["by"] == "Grace"


def test_no_body_is_large(told: list[dict[str, Any]]) -> None:
    """Standard Webhooks 1.0.0, "Payload size": below 20 kB."""
    assert max(len(json.dumps(one)) for one in told) < 20_000


def test_long_lists_are_cut_and_counted(house: Place, unit: Setup) -> None:
    record(house, {"job": unit["job"]})  # nothing is known
    (opened,) = house.events("finding.opened")
    assert len(opened["data"]["findings"]) == MOST_LISTED < opened["data"]["count"]


def fail_after_an_event(house: Place) -> None:
    with house.desk.store.writing(HOME, "test", house.clock()) as work:
        events.append(work, "unit.retired", "unit/unit-07", {})
        raise RuntimeError


@pytest.mark.usefixtures("unit")
def test_nothing_is_told_of_what_did_not_happen(house: Place) -> None:
    before = len(house.events())
    with pytest.raises(RuntimeError):
        fail_after_an_event(house)
    assert len(house.events()) == before
    assert house.client("mechanic").post("/units/unit-07/setups", json={"job": {"crop": "?"}}).status_code == 422
    assert len(house.events()) == before


def test_a_late_setup_of_an_earlier_day_opens_nothing(house: Place, unit: Setup) -> None:
    record(house, unit)
    late = {**spoilt(unit), "taken": {"at": "2026-09-01T00:00:00Z"}}
    record(house, late)
    assert house.events("finding.opened") == []


def test_the_other_organisation_is_told_nothing(house: Place, unit: Setup) -> None:
    record(house, unit)
    other = house.client("owner", OTHER)
    assert house.events(client=other) == []
    id = house.events()[0]["id"]
    assert house.client().get(f"/events/{id}").status_code == 200
    assert other.get(f"/events/{id}").status_code == 404


@pytest.mark.usefixtures("unit")
def test_a_token_for_some_units_sees_their_events_only(house: Place) -> None:
    mechanic = house.client("mechanic")
    assert mechanic.put("/units/unit-08", json={"card": "axial-single"}).status_code == 201
    made = house.client().post("/tokens", json={"name": "cab", "role": "reader", "units": ["unit-08"]}).json()
    cab = house.client()
    cab.headers["Authorization"] = f"Bearer {made['secret']}"
    seen = house.events(client=cab)
    assert [one["subject"] for one in seen] == ["unit/unit-08"]
    others = [one["id"] for one in house.events() if one["subject"] != "unit/unit-08"]
    assert others
    assert {cab.get(f"/events/{id}").status_code for id in others} == {404}


def test_events_are_paged(house: Place, unit: Setup) -> None:
    for _ in range(3):
        record(house, unit)
    client, found, path = house.client(), [], "/events?most=2"
    while path:
        answer = client.get(path).json()
        found += answer["items"]
        path = answer["next"]
    assert found == house.events()
    assert client.get("/events?kind=start.hold").status_code == 422
    assert "start.held" in client.get("/events?kind=start.hold").json()["detail"]


def test_the_end_of_a_fleet_audit_is_told(house: Place) -> None:
    """Its process writes the event of the record; from there on it is as with all others."""
    with house.desk.store.writing(HOME, "fleet audit", house.clock()) as work:
        content = {"state": "done", "why": "", "summary": {"units": 3}}
        events.append(work, "fleet-audit.ended", "fleet-audit/fleet-5a1c9e0f2b7d4433", content)
    (one,) = house.events("fleet-audit.ended")
    assert one["data"] == {
        "fleet_audit": "fleet-5a1c9e0f2b7d4433", "state": "done", "why": "",
        "links": {"fleet_audit": "https://audit.ridgeline.example/fleet-audits/fleet-5a1c9e0f2b7d4433"},
    }  # fmt: skip


def test_work_is_not_asked_for_where_there_is_none(house: Place, unit: Setup) -> None:
    mechanic = house.client("mechanic")
    assert "no setup" in mechanic.post("/units/unit-07/work-requests", json={}).json()["detail"]
    record(house, unit)
    assert "needs none" in mechanic.post("/units/unit-07/work-requests", json={}).json()["detail"]
    record(house, spoilt(unit))
    twice = {"begins": "2026-10-02T00:00:00Z", "ends": "2026-10-01T00:00:00Z"}
    assert mechanic.post("/units/unit-07/work-requests", json=twice).status_code == 422
    same = {"Idempotency-Key": "work-1"}
    first = mechanic.post("/units/unit-07/work-requests", json={}, headers=same)
    assert first.json() == mechanic.post("/units/unit-07/work-requests", json={}, headers=same).json()
    assert len(house.events("work.requested")) == 1
    assert house.client("recorder").post("/units/unit-07/work-requests", json={}).status_code == 403
