"""From a unit on record to a harvest start: cleared, held, accepted, revoked; and who may not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.certificates.certificate import Expected, read
from api.certificates.jws import named_key
from api.certificates.keyset import read_jwks
from api.certificates.revocations import mark
from api.certificates.revocations import read as read_list
from api.client import Client, Held
from api.service.withdrawing import withdraw_key
from api.store.keys import rotate
from api.store.verifying import faults
from tests.api.legal import NOW
from tests.api.starts.conftest import HOME, OTHER, House

Legal = Callable[..., dict[str, Any]]
UNIT = {"card": "axial-single", "serial": "KX-01822", "build_year": 2021}
JOB = {"crop": "corn", "header_kind": "corn-head"}
DAY = 86400.0


def one_side_down(setup: dict[str, Any]) -> dict[str, Any]:
    """The same setup with one side of the drum set for another crop."""
    return {**setup, "settings": {**setup["settings"], "feeder.drum": {"left": "raised", "right": "lowered"}}}


@pytest.fixture
def ready(house: House, legal: Legal) -> House:
    """A house with a unit on record that is in order."""
    mechanic = house.client("mechanic")
    assert mechanic.put("/units/unit-07", json=UNIT).status_code == 201
    answer = mechanic.post("/units/unit-07/setups", json=legal())
    assert answer.status_code == 201, answer.text
    assert answer.json()["audit"]["clearance"] == "cleared"
    return house


def test_a_unit_in_order_is_cleared_with_a_certificate_that_verifies_offline(ready: House) -> None:
    answer = ready.client("mechanic").post("/units/unit-07/harvest-starts", json={**JOB, "engine_hours": 1001.0})
    assert answer.status_code == 201
    start = answer.json()
    keys = TestClient(ready.app).get("/.well-known/jwks.json")
    claims = read(start["certificate"], read_jwks(keys.content), NOW + 60, Expected(organisation=HOME, unit="unit-07"))
    assert (claims.crop, claims.header_kind, claims.start) == ("corn", "corn-head", start["id"])
    assert claims.setup_digest == ready.client().get(f"/units/unit-07/setups/{claims.setup}").json()["digest"]
    assert answer.headers["location"] == f"/harvest-starts/{start['id']}"
    assert ready.client("reader").get(answer.headers["location"]).json() == start


def test_a_fault_holds_with_the_finding_and_what_would_clear_it(ready: House, legal: Legal) -> None:
    mechanic = ready.client("mechanic")
    found = mechanic.post("/units/unit-07/setups", json=one_side_down(legal()))
    assert found.json()["audit"]["clearance"] == "held"
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == 409
    decision = problem["decision"]
    assert [reason["finding"]["rule"] for reason in decision["reasons"]] == ["drum-set-for-another-crop"]
    steps = decision["plan"][0]["plan"]["steps"]
    assert any(question["rule"] == "drum-set-for-another-crop" for step in steps for question in step["clears"])
    assert mechanic.get("/units/unit-07/clearance").json()["clearance"] == "held"
    assert mechanic.get("/units/unit-07/harvest-starts").json()["items"] == []
    assert ready.client("reader").get("/record/events?what=start.held").json()["items"]


def test_nothing_on_record_holds(house: House) -> None:
    mechanic = house.client("mechanic")
    mechanic.put("/units/unit-07", json=UNIT)
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert answer.status_code == 409
    assert [reason["why"] for reason in answer.json()["decision"]["reasons"]] == ["no-setup"]


def test_a_later_fault_revokes_the_certificate(ready: House, legal: Legal) -> None:
    mechanic = ready.client("mechanic")
    start = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    answer = mechanic.post("/units/unit-07/setups", json=one_side_down(legal()))
    assert answer.json()["revoked"] == [start["id"]]
    after = mechanic.get(f"/harvest-starts/{start['id']}").json()
    assert after["revoked"] is not None
    assert "drum" in after["revoked_why"].lower()
    listed = TestClient(ready.app).get("/.well-known/revoked-starts.json")
    assert listed.status_code == 200


def test_a_key_that_is_no_longer_secret_takes_its_starts_along(ready: House, legal: Legal) -> None:
    """In every organisation, and only its own; the next start and the list are signed by another key."""
    mechanic, anyone = ready.client("mechanic"), TestClient(ready.app)
    stranger = ready.client("mechanic", OTHER)
    assert stranger.put("/units/unit-07", json=UNIT).status_code == 201
    assert stranger.post("/units/unit-07/setups", json=legal()).status_code == 201
    first = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    with ready.desk.store.connection(writes=True) as connection:
        rotate(connection, ready.desk.secret, ready.clock())
    second = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    third = stranger.post("/units/unit-07/harvest-starts", json=JOB).json()
    old, new = (named_key(one["certificate"]) for one in (first, second))
    gone = withdraw_key(ready.desk.store, new, ready.desk.secret, "command line", ready.clock())
    assert {start.id for start in gone} == {second["id"], third["id"]}
    assert [mechanic.get(f"/harvest-starts/{one['id']}").json()["revoked"] is None for one in (first, second)] == [
        True, False,
    ]  # fmt: skip
    events = {
        one["what"]: one
        for one in ready.client().get("/record/events").json()["items"]
        if one["what"] in ("start.revoked", "signing-key.compromised")
    }
    assert events["start.revoked"]["subject"] == f"start/{second['id']}"
    assert events["signing-key.compromised"]["content"] == {"revoked": [second["id"]]}
    keys = read_jwks(anyone.get("/.well-known/jwks.json").content)
    assert new not in keys
    listed = read_list(anyone.get("/.well-known/revoked-starts.json").content, keys, ready.clock())
    assert listed.compromised == (new,)
    assert set(listed.starts) == {mark(HOME, second["id"]), mark(OTHER, third["id"])}
    again = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    assert named_key(again["certificate"]) not in (old, new)
    for organisation in (HOME, OTHER):
        with ready.desk.store.reading(organisation) as work:
            assert list(faults(work)) == []


def test_terms_that_grow_stricter_revoke(ready: House) -> None:
    mechanic, owner = ready.client("mechanic"), ready.client()
    start = mechanic.post("/units/unit-07/harvest-starts", json={**JOB, "engine_hours": 1030.0}).json()
    before = owner.get("/organisation")
    terms = {**before.json()["terms"], "most_hours": 20.0}
    answer = owner.put(
        "/organisation", json={"terms": terms, "effects": {}}, headers={"If-Match": before.headers["etag"]}
    )
    assert answer.status_code == 200, answer.text
    assert answer.json()["revoked_starts"] == [start["id"]]


@pytest.mark.parametrize(
    ("hours", "later", "why"),
    [(1050.0, 0.0, None), (1050.5, 0.0, "too-many-hours"), (None, 14 * DAY, None), (None, 14 * DAY + 1, "too-old")],
)
def test_a_setup_grows_stale(ready: House, hours: float | None, later: float, why: str | None) -> None:
    ready.clock.at += later
    answer = ready.client("mechanic").post("/units/unit-07/harvest-starts", json={**JOB, "engine_hours": hours})
    if why is None:
        assert answer.status_code == 201
    else:
        assert [one["why"] for one in answer.json()["decision"]["reasons"]] == [why]


def test_another_job_and_a_setup_for_another_job_since_hold(ready: House, legal: Legal) -> None:
    mechanic = ready.client("mechanic")
    answer = mechanic.post("/units/unit-07/harvest-starts", json={"crop": "corn", "header_kind": "draper"})
    assert answer.json()["decision"]["reasons"][0]["why"] == "other-job"
    assert mechanic.post("/units/unit-07/setups", json=legal("soybean")).status_code == 201
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert answer.json()["decision"]["reasons"][0]["why"] == "other-job"


def test_a_setup_that_arrives_late_is_no_longer_certain(ready: House, legal: Legal) -> None:
    late = {**legal(), "taken": {"at": "2020-01-01T00:00:00Z", "by": "tech-03", "state": "as-found"}}
    mechanic = ready.client("mechanic")
    assert mechanic.post("/units/unit-07/setups", json=late).status_code == 201
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert [one["why"] for one in answer.json()["decision"]["reasons"]] == ["overtaken"]
    assert mechanic.post("/units/unit-07/setups", json=legal()).status_code == 201
    assert mechanic.post("/units/unit-07/harvest-starts", json=JOB).status_code == 201


def test_a_setup_from_the_future_is_refused(ready: House, legal: Legal) -> None:
    ahead = {**legal(), "taken": {"at": "2099-01-01T00:00:00Z"}}
    answer = ready.client("mechanic").post("/units/unit-07/setups", json=ahead)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["path"] == "taken/at"


def test_a_unit_that_is_another_since_holds(ready: House) -> None:
    mechanic = ready.client("mechanic")
    etag = mechanic.get("/units/unit-07").headers["etag"]
    assert mechanic.put("/units/unit-07", json=UNIT, headers={"If-Match": etag}).status_code == 200
    assert mechanic.post("/units/unit-07/harvest-starts", json=JOB).status_code == 201
    etag = mechanic.get("/units/unit-07").headers["etag"]
    changed = {**UNIT, "serial": "KX-01823"}
    assert mechanic.put("/units/unit-07", json=changed, headers={"If-Match": etag}).status_code == 200
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert [one["why"] for one in answer.json()["decision"]["reasons"]] == ["unit-changed"]


def test_a_setup_of_another_machine_is_refused(ready: House, legal: Legal) -> None:
    for unit in ({"serial": "KX-09999"}, {"id": "unit-08"}, {"card": "axial-hybrid"}, {"build_year": 2020}):
        setup = {**legal(), "unit": unit}
        answer = ready.client("mechanic").post("/units/unit-07/setups", json=setup)
        assert answer.status_code == 409, unit
        assert "on record" in answer.json()["detail"]


def test_a_retired_unit_is_held_and_its_certificates_are_revoked(ready: House) -> None:
    mechanic = ready.client("mechanic")
    start = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    assert mechanic.delete("/units/unit-07").status_code == 428
    etag = mechanic.get("/units/unit-07").headers["etag"]
    assert mechanic.delete("/units/unit-07", headers={"If-Match": etag}).status_code == 200
    assert mechanic.get(f"/harvest-starts/{start['id']}").json()["revoked"] is not None
    answer = mechanic.post("/units/unit-07/harvest-starts", json=JOB)
    assert answer.json()["decision"]["reasons"][0]["why"] == "retired"


def test_a_clock_that_steps_back_clears_nothing(ready: House) -> None:
    ready.clock.at -= 3600
    answer = ready.client("mechanic").post("/units/unit-07/harvest-starts", json=JOB)
    assert answer.status_code == 503
    assert answer.json()["title"] == "Clock behind"
    ready.clock.at += 3600
    assert ready.client("mechanic").post("/units/unit-07/harvest-starts", json=JOB).status_code == 201


def test_an_accepted_finding_clears_until_it_is_taken_back(ready: House, legal: Legal) -> None:
    mechanic, approver = ready.client("mechanic"), ready.client("approver")
    found = mechanic.post("/units/unit-07/setups", json=one_side_down(legal())).json()["setup"]["id"]
    sent = {
        "setup": found, "rule": "drum-set-for-another-crop", "by": "Foreman of the north yard",
        "reason": "Ten hectares of thin stand, then it is set right.", "until": "2026-09-25T18:00:00Z",
    }  # fmt: skip
    assert mechanic.post("/units/unit-07/acceptances", json=sent).status_code == 403
    answer = approver.post("/units/unit-07/acceptances", json=sent)
    assert answer.status_code == 201, answer.text
    clearance = mechanic.get("/units/unit-07/clearance").json()
    assert clearance["clearance"] == "cleared"
    assert clearance["accepted"][0]["acceptance"]["by"] == "Foreman of the north yard"
    start = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    assert start["expires"] <= answer.json()["until"]
    assert approver.delete(f"/units/unit-07/acceptances/{answer.json()['id']}").json()["withdrawn"] is not None
    assert mechanic.get(f"/harvest-starts/{start['id']}").json()["revoked"] is not None
    again = mechanic.get("/units/unit-07/clearance").json()
    assert again["clearance"] == "held"
    assert "taken back" in again["lapsed"][0]["why"]


def test_what_can_not_be_accepted(ready: House, legal: Legal) -> None:
    mechanic, approver = ready.client("mechanic"), ready.client("approver")
    setup = one_side_down(legal())
    setup["readings"] = {**setup["readings"], "header.safety_stop": False}
    recorded = mechanic.post("/units/unit-07/setups", json=setup).json()
    danger = next(one for one in recorded["audit"]["findings"] if one["risk"]["danger_to_people"])
    good = {
        "setup": recorded["setup"]["id"], "rule": "drum-set-for-another-crop", "on": "", "by": "Foreman",
        "reason": "Ten hectares of thin stand.", "until": "2026-09-25T18:00:00Z",
    }  # fmt: skip
    for changes, status in (
        ({"rule": danger["rule"], "on": danger["on"]}, 409),
        ({"rule": "no-such-rule"}, 404),
        ({"setup": "setup-0000000000000000"}, 409),
        ({"until": "2026-01-01T00:00:00Z"}, 409),
        ({"until": "2028-01-01T00:00:00Z"}, 409),
        ({"until": "2026-09-25T18:00:00"}, 422),
        ({"reason": "ok"}, 409),
        ({"by": "  "}, 409),
        ({"more": 1}, 422),
    ):
        answer = approver.post("/units/unit-07/acceptances", json={**good, **changes})
        assert answer.status_code == status, (changes, answer.text)
    assert approver.get("/units/unit-07/acceptances").json()["items"] == []


def test_a_request_that_is_sent_twice_is_done_once(ready: House) -> None:
    mechanic = ready.client("mechanic")
    headers = {"Idempotency-Key": "start-of-the-day-1"}
    first = mechanic.post("/units/unit-07/harvest-starts", json=JOB, headers=headers)
    second = mechanic.post("/units/unit-07/harvest-starts", json=JOB, headers=headers)
    assert (first.status_code, first.content) == (second.status_code, second.content)
    assert len(mechanic.get("/units/unit-07/harvest-starts").json()["items"]) == 1
    other = mechanic.post("/units/unit-07/harvest-starts", json={**JOB, "engine_hours": 1.0}, headers=headers)
    assert other.status_code == 422
    assert mechanic.post("/units/unit-07/harvest-starts", json=JOB, headers={"Idempotency-Key": ""}).status_code == 400
    # the key is the caller's own
    third = ready.client("approver").post("/units/unit-07/harvest-starts", json=JOB, headers=headers)
    assert third.json()["number"] == 2


def test_an_organisation_sees_nothing_of_another(ready: House, legal: Legal) -> None:
    mechanic = ready.client("mechanic")
    start = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    setup = mechanic.get("/units/unit-07/setups").json()["items"][0]["id"]
    stranger = ready.client("owner", OTHER)
    for path in (
        "/units/unit-07", "/units/unit-07/setups", f"/units/unit-07/setups/{setup}", "/units/unit-07/findings",
        "/units/unit-07/clearance", "/units/unit-07/harvest-starts", f"/harvest-starts/{start['id']}",
        "/units/unit-07/acceptances",
    ):  # fmt: skip
        assert stranger.get(path).status_code == 404, path
        missing = stranger.get(path.replace("unit-07", "unit-99").replace(start["id"], "start-99"))
        told = {**stranger.get(path).json()}
        assert told["detail"].replace("unit-07", "unit-99").replace(start["id"], "start-99") == missing.json()["detail"]
    assert stranger.post("/units/unit-07/setups", json=legal()).status_code == 404
    assert stranger.post("/units/unit-07/harvest-starts", json=JOB).status_code == 404
    assert stranger.get("/units").json()["items"] == []
    assert "unit-07" not in stranger.get("/record/events").text
    # the same id there is another unit
    assert stranger.put("/units/unit-07", json={"card": "axial-hybrid"}).status_code == 201
    assert mechanic.get("/units/unit-07").json()["card"] == "axial-single"


@pytest.mark.parametrize(
    ("role", "status"),
    [("reader", 403), ("recorder", 403), ("author", 403), ("mechanic", 201), ("approver", 201), ("owner", 201)],
)
def test_who_may_ask_for_a_start(ready: House, role: str, status: int) -> None:
    assert ready.client(role).post("/units/unit-07/harvest-starts", json=JOB).status_code == status


def test_a_recorder_records_as_found_but_not_as_left(ready: House, legal: Legal) -> None:
    recorder = ready.client("recorder")
    taken = {"at": "2026-09-20T07:40:00Z", "by": "tech-03"}
    for state, status in (("as-found", 201), ("as-left", 403)):
        answer = recorder.post("/units/unit-07/setups", json={**legal(), "taken": {**taken, "state": state}})
        assert answer.status_code == status, answer.text


def test_nobody_gets_in_without_a_token(ready: House) -> None:
    nobody = TestClient(ready.app, raise_server_exceptions=False)
    for path in ("/units", "/units/unit-07/clearance", "/rulebook", "/record/events", "/organisation", "/tokens"):
        answer = nobody.get(path)
        assert answer.status_code == 401, path
        assert answer.headers["www-authenticate"].startswith("Bearer")
    assert nobody.post("/audits", json={}).status_code == 401
    assert nobody.post("/units/unit-07/harvest-starts", json=JOB).status_code == 401
    assert nobody.get("/health/live").status_code == 200


HOSTILE = {
    "deep": b'{"settings":' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    "not a number": b'{"job":{"crop":"corn"},"readings":{"feeder.sheave_gap":NaN}}',
    "infinity": b'{"job":{"crop":"corn"},"readings":{"feeder.sheave_gap":1e999}}',
    "huge": b'{"job":{"crop":"corn"},"unit":{"engine_hours":' + b"9" * 5000 + b"}}",
    "past 2^53": b'{"job":{"crop":"corn"},"unit":{"build_year":9007199254740993}}',
    "twice": b'{"job":{"crop":"corn"},"job":{"crop":"wheat"}}',
    "not UTF-8": b'{"job":{"crop":"c\xff"}}',
    "surrogate": b'{"job":{"crop":"corn"},"taken":{"by":"\\ud800"}}',
    "nothing": b"",
    "an array": b"[]",
    "a text": b'"corn"',
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_body_is_refused_and_nothing_is_written(ready: House, kind: str) -> None:
    mechanic = ready.client("mechanic")
    before = mechanic.get("/record/head").json()
    for path in ("/units/unit-07/setups", "/units/unit-07/harvest-starts", "/units/unit-07/acceptances"):
        client = ready.client("approver") if "acceptances" in path else mechanic
        answer = client.post(path, content=HOSTILE[kind], headers={"Content-Type": "application/json"})
        assert answer.status_code in (400, 422), (path, answer.status_code, answer.text[:300])
        assert answer.headers["content-type"] == "application/problem+json"
    assert mechanic.get("/record/head").json() == before


@pytest.mark.parametrize("id", ["..", "%2e%2e%2funit-07", "unit-07%00", "a" * 81, "%C3%BC", "unit 07", "-x"])
def test_an_id_that_is_a_trick_is_no_unit(ready: House, id: str) -> None:
    answer = ready.client().get(f"/units/{id}")
    people = answer.status_code in (200, 303) and answer.url.path != f"/units/{id}"  # '..' leads to the first page
    assert people or answer.status_code in (404, 422)
    assert ready.client().put(f"/units/{id}", json=UNIT).status_code in (404, 405, 422)


def test_units_are_listed_page_by_page(house: House) -> None:
    owner = house.client()
    for number in range(7):
        assert owner.put(f"/units/unit-{number}", json={**UNIT, "owner": f"Farm {number % 2}"}).status_code == 201
    ids, link = [], "/units?most=3"
    while link:
        answer = owner.get(link)
        ids += [unit["id"] for unit in answer.json()["items"]]
        link = answer.json()["next"]
        assert ("link" in answer.headers) == bool(link)
    assert ids == [f"unit-{number}" for number in range(7)]
    assert [unit["id"] for unit in owner.get("/units?owner=Farm%201").json()["items"]] == ["unit-1", "unit-3", "unit-5"]


def test_the_client_does_the_whole_job(house: House, legal: Legal) -> None:
    transport = house.client("approver")._transport
    with Client("http://testserver", house.tokens[HOME, "approver"], transport=transport) as audit:
        unit = audit.put_unit("unit-07", "axial-single", serial="KX-01822", build_year=2021)
        assert audit.put_unit("unit-07", "axial-single", edition=unit.edition, serial="KX-01822", build_year=2021)
        recorded = audit.record_setup("unit-07", one_side_down(legal()))
        held = audit.start("unit-07", "corn", "corn-head")
        assert isinstance(held, Held)
        assert held.problem.decision.clearance == "held"
        audit.record_setup("unit-07", legal())
        start = audit.start("unit-07", "corn", "corn-head", 1001.0)
        assert not isinstance(start, Held)
        assert [one.id for one in audit.starts("unit-07")] == [start.id]
        assert [one.number for one in audit.setups("unit-07")] == [2, 1]
        assert audit.setup("unit-07", recorded.setup.id).audits[0].clearance == "held"
        assert audit.findings("unit-07").clearance == "cleared"
        assert audit.clearance("unit-07").clearance == "cleared"
        assert [one.id for one in audit.units()] == ["unit-07"]
        whole = {**legal(), "unit": {**legal()["unit"], "id": "unit-07"}}
        assert audit.audit(whole).clearance == "cleared"


def test_history_tells_wear_and_what_is_due(ready: House, legal: Legal) -> None:
    mechanic = ready.client("mechanic")
    name = "feeder.wear_strip_left"
    for number, thickness in enumerate((9, 8, 7), 1):
        ready.clock.at += 5 * DAY
        setup = legal()
        setup["unit"]["engine_hours"] = 1000.0 + 100 * number
        setup["readings"][name] = f"{thickness} mm"
        assert mechanic.post("/units/unit-07/setups", json=setup).status_code == 201
    answer = ready.client("reader").get("/units/unit-07/history")
    assert answer.status_code == 200, answer.text
    trend = next(one for one in answer.json()["trends"] if one["quantity"] == name)
    assert trend["unit"] == "mm"
    assert trend["rate_per_100_h"]["points"] == 3
    assert trend["rate_per_100_h"]["value"] == pytest.approx(-1.0)
    assert ready.client("owner", OTHER).get("/units/unit-07/history").status_code == 404


def test_the_code_on_the_machine_says_whether_the_start_still_counts(ready: House, legal: Legal) -> None:
    mechanic, anyone = ready.client("mechanic"), TestClient(ready.app)
    start = mechanic.post("/units/unit-07/harvest-starts", json=JOB).json()
    image = mechanic.get(f"/harvest-starts/{start['id']}/qr")
    assert image.headers["content-type"] == "image/svg+xml"
    assert image.text.startswith("<svg")
    path = start["short"].removeprefix("https://audit.ridgeline.example")
    assert anyone.get(path).json()["state"] == "good"
    assert anyone.get(f"{path[:-1]}{'0' if path[-1] != '0' else '1'}").status_code == 404
    ready.clock.at += 25 * 3600
    assert anyone.get(path).json()["state"] == "expired"
    ready.clock.at -= 25 * 3600
    mechanic.post("/units/unit-07/setups", json=one_side_down(legal()))
    assert anyone.get(path).json()["state"] == "revoked"
    assert ready.client("owner", OTHER).get(f"/harvest-starts/{start['id']}/qr").status_code == 404


@pytest.mark.parametrize("view", ["side", "drive-train"])
def test_a_unit_is_drawn_with_its_findings(ready: House, legal: Legal, view: str) -> None:
    reader = ready.client("reader")
    clean = reader.get(f"/units/unit-07/drawing?view={view}")
    assert clean.headers["content-type"] == "image/svg+xml"
    known = {"if-none-match": clean.headers["etag"]}
    again = reader.get(f"/units/unit-07/drawing?view={view}", headers=known)
    assert (again.status_code, again.content) == (304, b"")
    ready.client("mechanic").post("/units/unit-07/setups", json=one_side_down(legal()))
    faulty = reader.get(f"/units/unit-07/drawing?view={view}", headers=known)
    assert clean.headers["etag"] != faulty.headers["etag"]
    assert "Feeder house drum" in faulty.text or view == "drive-train"
    assert reader.get(f"/machine-cards/axial-single/drawing?view={view}&crop=corn").text.startswith("<svg")
    assert reader.get("/machine-cards/axial-single/drawing?crop=maise").status_code == 404
    assert ready.client("owner", OTHER).get(f"/units/unit-07/drawing?view={view}").status_code == 404
