"""Visits: planned from a fleet audit, planned anew, put by hand, changed, cancelled; who may, and what is told.

Outside references: RFC 9110, 13.1 (If-Match, If-None-Match); cp-sat's schedule is held to its conditions by
``audit.fleet.schedule_check``, and here to what the visits file says.
"""

from __future__ import annotations

import importlib
import json
import re
import sys
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.client import Client, Refused
from api.service import visiting
from api.store.verifying import faults
from api.visit_models import VisitSent
from tests.api.starts.conftest import HOME, OTHER, House
from tests.api.visits.conftest import DEMO, START, YAML, audit, edition, make, standing, visits_file

UNIT = "unit-90"
FARM_OF = {
    line["unit"]["id"]: line["unit"]["owner"]
    for line in map(json.loads, (DEMO / "before-corn.ndjson").read_bytes().splitlines())
}


@pytest.fixture
def planned(fleet_house: House, audited: str) -> dict[str, Any]:
    """The first plan of the demo's visits."""
    answer = make(fleet_house, audited, visits_file())
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def by_hand(**other: Any) -> dict[str, Any]:
    """A visit that somebody says."""
    return {
        "technician": "tech-01", "farm": "Oxgill Farm", "begins": f"{START}T08:00", "leaves": f"{START}T10:00",
        "work": [{"unit": UNIT, "minutes": 120}], **other,
    }  # fmt: skip


def put(house: House, id: str, said: dict[str, Any], role: str = "mechanic", **headers: str) -> Any:
    return house.client(role).put(
        f"/visits/{id}", json=said, headers={k.replace("_", "-"): v for k, v in headers.items()}
    )


@pytest.fixture
def hand(fleet_house: House) -> dict[str, Any]:
    """A visit by hand, that stands."""
    assert fleet_house.client("mechanic").put(f"/units/{UNIT}", json={"card": "axial-single"}).status_code == 201
    answer = put(fleet_house, "visit-0000000000000001", by_hand())
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def sound(house: House) -> None:
    """Nothing on the record is out of order."""
    with house.desk.store.reading(HOME) as work:
        assert [one.text for one in faults(work)] == []


def test_the_work_of_a_fleet_audit_becomes_visits(fleet_house: House, planned: dict[str, Any]) -> None:
    found = standing(fleet_house)
    assert [one["begins"] for one in found] == sorted(one["begins"] for one in found)
    harvest = {
        line.split("name: ")[1].split(",")[0]: line.split("harvest: ")[1][:10]
        for line in visits_file().splitlines()
        if "harvest" in line and "name: " in line
    }
    visited = {piece["unit"] for one in found for piece in one["work"]}
    left = {one["unit"] for one in planned["left_out"]}
    assert visited == {one["unit"] for one in planned["done"]}
    assert not visited & left
    reports = fleet_house.client("reader").get(f"/fleet-audits/{planned['fleet_audit']}/units").text.splitlines()
    wrong = {
        line["unit"]
        for line in map(json.loads, reports)
        if line["work"] and (line["work"]["steps"] or line["work"]["conflict"])
    }
    assert visited | left == wrong, "every unit with something wrong is in a visit, or told with the reason"
    work = {line["unit"]: line["work"] for line in map(json.loads, reports)}
    for one in found:
        assert one["day"] < harvest[one["farm"]]
        assert one["plan"] == planned["id"]
        assert one["arrives"] <= one["begins"] < one["leaves"]
        lasts = datetime.fromisoformat(one["leaves"]) - datetime.fromisoformat(one["begins"])
        assert lasts == timedelta(minutes=one["minutes"])
        for piece in one["work"]:
            assert FARM_OF[piece["unit"]] == one["farm"]
            assert piece["tools"] == work[piece["unit"]]["tools"]
    brought = [(piece["unit"], part) for one in found for piece in one["work"] for part in piece["parts"]]
    assert sorted(brought) == sorted((unit, part) for unit in visited for part in work[unit]["parts"]), "each once"
    sound(fleet_house)


def test_the_same_plan_again_changes_no_visit(fleet_house: House, audited: str, planned: dict[str, Any]) -> None:
    before = standing(fleet_house)
    again = make(fleet_house, audited, visits_file(), edition(fleet_house))
    assert again.status_code == 201, again.text
    assert again.json()["number"] == 2
    assert standing(fleet_house) == before
    plans = fleet_house.client("reader").get("/visit-plans").json()["items"]
    assert [one["number"] for one in plans] == [2, 1]
    assert fleet_house.client("reader").get(f"/visit-plans/{planned['id']}").json() == planned


def test_a_newer_plan_keeps_changes_and_cancels(fleet_house: House, audited: str, planned: dict[str, Any]) -> None:
    """Later out of the workshop: the same visits at other times; a farm that harvests too soon: cancelled."""
    before = {one["id"]: one for one in standing(fleet_house)}
    text = visits_file().replace('"07:00"', '"08:00"')
    text = re.sub(r"(Saltlane Farm, harvest: )[0-9-]+", rf"\g<1>{START}", text)
    assert make(fleet_house, audited, text).status_code == 428
    assert make(fleet_house, audited, text, '"visits-1-1"').status_code == 412
    made = make(fleet_house, audited, text, edition(fleet_house))
    assert made.status_code == 201, made.text
    now = {one["id"]: one for one in standing(fleet_house, "&cancelled=true")}
    off = {id for id, one in now.items() if one["cancelled"]}
    assert {id for id, one in before.items() if one["farm"] == "Saltlane Farm"} <= off
    assert before.keys() <= now.keys()
    kept = before.keys() - off
    assert kept, "someone goes to the same farm on the same day"
    for id in kept:
        same = ("technician", "farm", "day", "created")
        assert [now[id][name] for name in same] == [before[id][name] for name in same]
        assert now[id]["begins"] != before[id]["begins"]
        assert now[id]["edition"] == before[id]["edition"] + 1
    for id in off:
        assert now[id]["edition"] == before[id]["edition"] + 1
    assert "Saltlane Farm" not in {one["farm"] for one in standing(fleet_house)}
    assert {one["unit"] for one in made.json()["left_out"] if one["farm"] == "Saltlane Farm"}
    made_events = [
        one
        for one in fleet_house.client("reader").get("/record/events?most=500").json()["items"]
        if one["what"] == "visit-plan.made"
    ]
    sums = made_events[-1]["content"]
    assert sums["cancelled"] == len(off)
    assert sums["changed"] == len(kept)
    assert sums["planned"] == len(now) - len(before)
    assert planned["id"] != made.json()["id"]
    sound(fleet_house)


def test_a_plan_of_one_farm_leaves_the_others_alone(fleet_house: House, audited: str, planned: dict[str, Any]) -> None:
    """Who plans a part of the farms takes no visit and no day of the others."""
    before = standing(fleet_house)
    farm = "Merrowdale Farm"
    made = make(fleet_house, audited, visits_file(farms_only=farm), edition(fleet_house))
    assert made.status_code == 201, made.text
    now = standing(fleet_house)
    others = [one for one in before if one["farm"] != farm]
    assert [one for one in now if one["farm"] != farm] == others
    taken = {(one["technician"], one["day"]) for one in others}
    assert not taken & {(one["technician"], one["day"]) for one in now if one["farm"] == farm}
    why = {one["unit"]: one["why"] for one in made.json()["left_out"]}
    assert "goes there already" in why["unit-16"], "it is in a visit of the plan before"
    assert planned["number"] == 1
    sound(fleet_house)


def test_visits_put_by_hand_stay_and_are_not_planned_twice(
    fleet_house: House, audited: str, hand: dict[str, Any]
) -> None:
    """The technician's day and the unit are taken; what was planned before the new plan's first day stays, too."""
    lines = fleet_house.client("reader").get(f"/fleet-audits/{audited}/units").text.splitlines()
    unit = next(
        line["unit"]
        for line in map(json.loads, lines)
        if line["work"] and line["work"]["steps"] and not line["work"]["conflict"]
    )
    mechanic = fleet_house.client("mechanic")
    assert mechanic.put(f"/units/{unit}", json={"card": "axial-single"}).status_code == 201
    said = by_hand(work=[{"unit": unit, "minutes": 60}])
    assert put(fleet_house, hand["id"], said, If_Match='"1"').status_code == 200
    made = make(fleet_house, audited, visits_file(), edition(fleet_house))
    assert made.status_code == 201, made.text
    (why,) = [one["why"] for one in made.json()["left_out"] if one["unit"] == unit]
    assert why == f"tech-01 goes there already on {START}"
    days = {(one["technician"], one["day"]) for one in standing(fleet_house) if one["plan"]}
    assert ("tech-01", START.isoformat()) not in days
    assert [one["id"] for one in standing(fleet_house) if not one["plan"]] == [hand["id"]]
    first_day = {one["id"] for one in standing(fleet_house) if one["day"] == START.isoformat()}
    tomorrow = START + timedelta(days=1)
    again = make(fleet_house, audited, visits_file(tomorrow), edition(fleet_house))
    assert again.status_code == 201, again.text
    assert {one["id"] for one in standing(fleet_house) if one["day"] == START.isoformat()} == first_day
    times = [
        piece["unit"]
        for one in standing(fleet_house)
        for piece in one["work"]
        if piece["part"] == 1 and piece["technicians"] == 1
    ]
    assert len(times) == len(set(times)), "nobody goes to a unit twice"
    sound(fleet_house)


def test_a_plan_that_is_sent_twice_is_made_once(fleet_house: House, audited: str) -> None:
    key = {"Idempotency-Key": "before-corn"}
    first, second = (make(fleet_house, audited, visits_file(), **key) for _ in range(2))
    assert first.status_code == second.status_code == 201
    assert first.content == second.content
    assert len(fleet_house.client("reader").get("/visit-plans").json()["items"]) == 1
    assert make(fleet_house, audited, visits_file() + "\n# more", **key).status_code == 422


def test_a_visit_that_is_changed_while_visits_are_planned_is_not_planned_over(
    fleet_house: House, audited: str, hand: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plan is made again beside what is there now, but not under a caller who has not seen it."""
    plan_visits = visiting.plan_visits

    def meanwhile(*given: Any) -> Any:
        found = plan_visits(*given)
        assert put(fleet_house, hand["id"], by_hand(farm="Saltlane Farm"), If_Match="*").status_code == 200
        return found

    monkeypatch.setattr(visiting, "plan_visits", meanwhile)
    assert make(fleet_house, audited, visits_file(), edition(fleet_house)).status_code == 412
    assert fleet_house.client("reader").get("/visit-plans").json()["items"] == []


def test_units_whose_setups_name_no_farm_are_where_the_record_says(fleet_house: House) -> None:
    lines = [json.loads(line) for line in (DEMO / "before-corn.ndjson").read_bytes().splitlines()[:6]]
    mechanic = fleet_house.client("mechanic")
    for line in lines:
        owner = line["unit"].pop("owner")
        id = line["unit"]["id"]
        assert mechanic.put(f"/units/{id}", json={"card": line["unit"]["card"], "owner": owner}).status_code == 201
    found = audit(fleet_house, b"".join(json.dumps(line).encode() + b"\n" for line in lines))
    made = make(fleet_house, found, visits_file())
    assert made.status_code == 201, made.text
    assert not [one for one in made.json()["left_out"] if "farm" in one["why"]]
    assert {one["farm"] for one in standing(fleet_house)} <= set(FARM_OF.values())


@pytest.mark.parametrize(
    ("change", "status", "said"),
    [
        (lambda text: text.replace("harvest: ", "harvest: soon "), 422, "write a date"),
        (lambda text: text.replace("tech-03", "tech-01"), 422, "stands twice"),
        (lambda text: text.replace("axial-hybrid", "axial-hybird"), 422, "axial-hybrid"),
        (lambda text: text + "\nlorries: 2", 422, "lorries"),
        (lambda _: "", 422, ""),
        (lambda _: "[" * 10_000, 422, ""),
        (lambda _: "a: &a [*a]", 422, "anchors"),
        (lambda _: "a: &a {b: [c, d], e: f}", 422, "anchors"),
        (lambda _: visits_file(START - timedelta(days=9)), 409, "which is over"),
    ],
)
def test_a_file_that_is_wrong_is_refused_with_its_place(
    fleet_house: House, audited: str, change: Any, status: int, said: str
) -> None:
    answer = make(fleet_house, audited, change(visits_file()))
    assert answer.status_code == status, answer.text
    assert said in answer.text
    assert standing(fleet_house) == []


def test_more_places_than_ways_can_be_kept_for_are_refused(fleet_house: House, audited: str) -> None:
    farms = "\n".join(
        f"  - {{name: farm {n}, harvest: 2027-09-17, place: {{x_km: {n}, y_km: 4}}}}" for n in range(1001)
    )
    answer = make(fleet_house, audited, visits_file(farms_only="Oxgill").rstrip() + "\n" + farms)
    assert answer.status_code == 422
    assert "1,000" in answer.text


def test_what_can_not_be_planned_says_why(fleet_house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "there is no fleet audit" in make(fleet_house, "fleet-0000000000000000", visits_file()).json()["detail"]
    bare = audit(fleet_house, plan=False)
    assert "planned no work" in make(fleet_house, bare, visits_file()).json()["detail"]
    whole = audit(fleet_house)
    monkeypatch.setattr(visiting, "MOST_SETUPS", 3)
    assert "3 are the most that are read here" in make(fleet_house, whole, visits_file()).json()["detail"]
    monkeypatch.undo()
    monkeypatch.setattr(visiting, "MOST_UNITS", 3)
    assert "name fewer farms, for 3 at the most" in make(fleet_house, whole, visits_file()).json()["detail"]
    monkeypatch.undo()
    monkeypatch.delitem(sys.modules, "audit.fleet.schedule_solver", raising=False)
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    lacking = make(fleet_house, whole, visits_file())
    assert lacking.status_code == 503
    assert "extra 'schedule'" in lacking.json()["detail"]
    monkeypatch.undo()
    importlib.import_module("audit.fleet.schedule_solver")
    (fleet_house.desk.jobs.place(HOME, whole) / "out").rename(fleet_house.desk.jobs.place(HOME, whole) / "gone")
    assert "not on this server" in make(fleet_house, whole, visits_file()).json()["detail"]
    assert make(fleet_house, whole, visits_file(), **{"Content-Type": "text/plain"}).status_code == 415
    refused = fleet_house.client("mechanic").post(f"/visit-plans?fleet_audit={whole}", content=b"\xff", headers=YAML)
    assert refused.status_code == 400
    assert standing(fleet_house) == []


def test_a_visit_is_put_changed_and_cancelled_by_hand(fleet_house: House, hand: dict[str, Any]) -> None:
    id, client = hand["id"], fleet_house.client("mechanic")
    assert hand["arrives"] == hand["begins"]
    assert hand["work"] == [{"unit": UNIT, "minutes": 120, "technicians": 1, "part": 1, "parts": [], "tools": []}]
    assert put(fleet_house, id, by_hand(), If_None_Match="*").status_code == 412
    assert put(fleet_house, id, by_hand(farm="Elsewhere")).status_code == 428
    assert put(fleet_house, id, by_hand(), If_Match='"1"').json()["edition"] == 1, "nothing is other than it was"
    moved = put(fleet_house, id, by_hand(technician="tech-03"), If_Match='"1"')
    assert (moved.status_code, moved.headers["etag"], moved.json()["edition"]) == (200, '"2"', 2)
    assert put(fleet_house, id, by_hand(), If_Match='"1"').status_code == 412
    assert client.get(f"/visits/{id}", headers={"If-None-Match": '"2"'}).status_code == 304
    assert put(fleet_house, "visit-0000000000000002", by_hand(), If_Match='"1"').status_code == 412
    assert client.delete(f"/visits/{id}").status_code == 428
    off = client.delete(f"/visits/{id}", headers={"If-Match": '"2"'})
    assert off.json()["cancelled"]
    assert client.delete(f"/visits/{id}", headers={"If-Match": "*"}).status_code == 409
    assert put(fleet_house, id, by_hand(), If_Match="*").status_code == 409
    assert standing(fleet_house) == []
    assert [one["id"] for one in standing(fleet_house, "&cancelled=true")] == [id]
    sound(fleet_house)


@pytest.mark.parametrize(
    "other",
    [
        {"leaves": f"{START}T08:00"}, {"arrives": f"{START}T09:00"}, {"begins": f"{START}T08:00Z"},
        {"begins": "2026-02-30T08:00", "leaves": "2026-02-30T09:00"}, {"leaves": f"{START + timedelta(days=2)}T08:00"},
        {"work": []}, {"work": [{"unit": "unit-91", "minutes": 5}]}, {"work": [{"unit": UNIT, "minutes": 0}]},
        {"work": [{"unit": UNIT, "minutes": "5"}]}, {"technician": ""}, {"colour": "blue"},
    ],
)  # fmt: skip
def test_a_visit_that_can_not_be_is_refused(fleet_house: House, hand: dict[str, Any], other: dict[str, Any]) -> None:
    answer = put(fleet_house, "visit-0000000000000002", by_hand(**other))
    assert answer.status_code == 422, answer.text
    assert [one["id"] for one in standing(fleet_house)] == [hand["id"]]


def test_visits_are_found_by_day_technician_farm_and_unit_and_page_by_page(
    fleet_house: House, planned: dict[str, Any]
) -> None:
    every = standing(fleet_house)
    assert planned
    for key, value in (("technician", "tech-03"), ("farm", "Merrowdale Farm")):
        found = standing(fleet_house, f"&{key}={value}")
        assert found == [one for one in every if one[key] == value] != []
    day = every[0]["day"]
    assert standing(fleet_house, f"&first={day}&last={day}") == [one for one in every if one["day"] == day]
    unit = every[-1]["work"][0]["unit"]
    found = standing(fleet_house, f"&unit={unit}")
    assert found == [one for one in every if unit in [piece["unit"] for piece in one["work"]]]
    client, path, paged = fleet_house.client("reader"), "/visits?most=3", []
    while path:
        answer = client.get(path).json()
        paged += answer["items"]
        path = answer["next"]
    assert paged == every
    assert client.get("/visits?after=yesterday").status_code == 422


def limited(house: House, role: str, units: list[str]) -> TestClient:
    """A client whose token is for some units."""
    sent = {"name": f"{role} of some", "role": role, "units": units}
    secret = house.client().post("/tokens", json=sent).json()["secret"]
    return TestClient(house.app, headers={"Authorization": f"Bearer {secret}"})


def test_who_may_and_who_sees_what(fleet_house: House, audited: str, planned: dict[str, Any]) -> None:
    full = next(one for one in standing(fleet_house) if len(one["work"]) > 1)
    id, unit = full["id"], full["work"][0]["unit"]
    theirs = limited(fleet_house, "mechanic", [unit])
    seen = theirs.get("/visits").json()["items"]
    assert {piece["unit"] for one in seen for piece in one["work"]} == {unit}
    assert theirs.get(f"/visits/{id}").json()["minutes"] == full["work"][0]["minutes"]
    other = limited(fleet_house, "reader", ["unit-99"])
    assert other.get("/visits").json()["items"] == []
    assert other.get(f"/visits/{id}").status_code == 404
    for client in (theirs, fleet_house.client("reader"), fleet_house.client("recorder")):
        headers = {"If-Match": "*"}
        assert client.delete(f"/visits/{id}", headers=headers).status_code == 403
        assert client.put(f"/visits/{id}", json=by_hand(), headers=headers).status_code == 403
        path = f"/visit-plans?fleet_audit={audited}"
        assert client.post(path, content=visits_file().encode(), headers={**YAML, **headers}).status_code == 403
    assert theirs.get("/visit-plans").status_code == 403
    stranger = fleet_house.client("owner", OTHER)
    assert stranger.get("/visits").json()["items"] == []
    assert stranger.get(f"/visits/{id}").status_code == 404
    assert stranger.get(f"/visit-plans/{planned['id']}").status_code == 404
    assert stranger.delete(f"/visits/{id}", headers={"If-Match": "*"}).status_code == 404
    answer = stranger.post(f"/visit-plans?fleet_audit={audited}", content=visits_file().encode(), headers=YAML)
    assert (answer.status_code, "there is no fleet audit" in answer.text) == (409, True)


def test_other_systems_are_told(fleet_house: House, planned: dict[str, Any], hand: dict[str, Any]) -> None:
    client = fleet_house.client("mechanic")
    assert put(fleet_house, hand["id"], by_hand(technician="tech-03"), If_Match='"1"').status_code == 200
    assert client.delete(f"/visits/{hand['id']}", headers={"If-Match": '"2"'}).status_code == 200
    told = [one for one in client.get("/events?most=500").json()["items"] if one["subject"].startswith("visit/")]
    assert len([one for one in told if one["type"].endswith("visit.planned")]) == len(standing(fleet_house)) + 1
    mine = [one for one in told if one["data"]["visit"] == hand["id"]]
    assert [one["type"].rpartition("visit.")[2] for one in mine] == ["planned", "changed", "cancelled"]
    last = mine[-1]["data"]
    assert (last["technician"], last["units"], last["minutes"], last["edition"]) == ("tech-03", [UNIT], 120, 3)
    assert last["why"] == "token:mechanic cancelled it"
    assert last["links"]["visit"].endswith(f"/visits/{hand['id']}")
    assert planned


def test_the_typed_client(fleet_house: House, audited: str) -> None:
    token = fleet_house.tokens[HOME, "mechanic"]
    transport = TestClient(fleet_house.app)._transport
    with Client("http://testserver", token, transport=transport) as audit:
        audit.put_unit(UNIT, "axial-single")
        made = audit.put_visit("visit-0000000000000001", VisitSent.model_validate(by_hand()))
        with pytest.raises(Refused, match="412"):
            audit.put_visit(made.id, VisitSent.model_validate(by_hand()))
        moved = audit.put_visit(made.id, VisitSent.model_validate(by_hand(technician="tech-03")), made.edition)
        assert audit.visit(made.id) == moved
        with pytest.raises(Refused, match="412"):
            audit.plan_visits(audited, visits_file().encode(), '"visits-0-0"', effort=0.5)
        plan = audit.plan_visits(audited, visits_file().encode(), audit.visits_edition(), effort=0.5)
        found = list(audit.visits(first=START.isoformat()))
        assert {one.plan for one in found} == {plan.id, ""}
        assert {one.unit for one in plan.left_out} & {"unit-25"}
        assert audit.cancel_visit(made.id, moved.edition).cancelled
        assert [one.plan for one in audit.visits(technician="tech-03")].count("") == 0
