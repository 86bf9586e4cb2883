"""The fleet, worst first, as the gate decides; first steps; the demo."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from api.service.fleet_standing import Standings
from tests.api.pages.browsing import House, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import DEMO, FAULTY, WHOLE, faulty, whole


def units_in(page: str) -> list[str]:
    """Ids of the units on a page, in its order."""
    return re.findall(r'<th scope="row"><a href="/unit/([^"]+)"', page)


def test_an_empty_service_leads_by_the_hand(owner: TestClient) -> None:
    page = owner.get("/")
    assert page.status_code == 200
    for words in ("First steps", "Put a machine on record", "Load the demo co-op"):
        assert words in text_of(page.text)
    assert "No unit is like that" in text_of(owner.get("/fleet").text)


def test_a_unit_is_put_on_record_by_the_form_and_never_overwritten(owner: TestClient) -> None:
    form = {"id": "unit-07", "card": "axial-single", "serial": "KX-01822", "build_year": "2021", "owner": "Our farm"}
    assert owner.post("/fleet/units", data=form).headers["location"] == "/unit/unit-07"
    assert owner.post("/fleet/units", data={**form, "owner": "Another"}).status_code == 412
    assert owner.get("/units/unit-07").json()["owner"] == "Our farm"
    assert owner.post("/fleet/units", data={**form, "id": "../x"}).status_code == 422
    assert owner.post("/fleet/units", data={**form, "id": "unit-08", "card": "nothing"}).status_code == 422
    assert owner.post("/fleet/units", data={**form, "id": "unit-09", "build_year": "soon"}).status_code == 422
    empty = {"id": "unit-10", "card": "axial-single", "serial": "", "build_year": "", "owner": ""}
    assert owner.post("/fleet/units", data=empty).headers["location"] == "/unit/unit-10", "as a browser sends them"
    assert owner.get("/").headers["location"] == "/fleet"
    assert "no setup yet" in text_of(owner.get("/fleet").text)


def test_the_list_says_what_the_gate_says_of_each_unit(owner: TestClient) -> None:
    owner.post("/fleet/demo")
    page = owner.get("/fleet").text
    listed = units_in(page)
    assert len(listed) == len(DEMO.read_text().splitlines())
    states = [owner.get(f"/units/{unit}/clearance?plan=false").json()["clearance"] for unit in listed]
    assert states == sorted(states, reverse=True), "held first"
    assert states == re.findall(r'<td><span class="state (held|cleared)">', page)
    assert f"{states.count('held')} of {len(states)} units are held." in text_of(page)
    worst = [owner.get(f"/units/{unit}/clearance?plan=false").json()["reasons"] for unit in listed[:3]]
    for unit, reasons in zip(listed, worst, strict=False):
        line = text_of(page.partition(f'href="/unit/{unit}"')[2].partition("</tr>")[0])
        assert reasons[0]["finding"]["title"] in line


def test_a_server_has_judged_its_fleets_before_anybody_asks(owner: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    owner.post("/fleet/demo")
    asked = owner.get("/fleet").text
    state = owner.app.state  # type: ignore[attr-defined]
    desk = state.desk
    monkeypatch.setattr("api.store.setups._AT_ONCE", 7)  # so that one look is not enough
    fresh = Standings(desk.in_force)
    monkeypatch.setattr(state, "desk", replace(desk, standings=fresh))
    fresh.make_ready(desk.store, desk.clock())

    def judge(*_: object) -> None:
        raise AssertionError("judged while somebody waits")

    monkeypatch.setattr("audit.auditor.Auditor.judge", judge)
    assert units_in(owner.get("/fleet").text) == units_in(asked)


def test_time_alone_holds_a_unit_that_was_cleared(owner: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    whole(owner)
    assert 'class="state cleared"' in owner.get("/fleet").text
    state = owner.app.state  # type: ignore[attr-defined]
    desk = state.desk
    later = desk.clock() + 20 * 86400
    monkeypatch.setattr(type(desk), "clock", property(lambda _: lambda: later), raising=False)
    page = owner.get("/fleet").text
    assert 'class="state held"' in page
    assert "days old" in text_of(page)


def test_units_are_filtered_and_paged(owner: TestClient) -> None:
    owner.post("/fleet/demo")
    lines = [json.loads(line) for line in DEMO.read_text().splitlines()]
    farm = lines[0]["unit"]["owner"]
    wanted = {f"demo-{line['unit']['id']}" for line in lines if line["unit"]["owner"] == farm}
    assert set(units_in(owner.get("/fleet", params={"farm": farm}).text)) == wanted
    assert units_in(owner.get("/fleet", params={"text": "demo-unit-02"}).text) == ["demo-unit-02"]
    held = units_in(owner.get("/fleet", params={"state": "held"}).text)
    cleared = units_in(owner.get("/fleet", params={"state": "cleared"}).text)
    assert len(held) + len(cleared) == len(lines)
    assert not set(held) & set(cleared)
    assert units_in(owner.get("/fleet", params={"at": 20}).text) == (held + cleared)[20:]
    assert units_in(owner.get("/fleet", params={"crop": "wheat"}).text) == []


def test_the_demo_is_marked_and_can_be_taken_out(owner: TestClient) -> None:
    owner.post("/fleet/demo")
    owner.post("/fleet/demo")
    assert "are invented" in text_of(owner.get("/fleet").text)
    whole(owner)
    assert owner.post("/fleet/demo/take-out").status_code == 303
    page = owner.get("/fleet").text
    assert units_in(page) == [WHOLE]
    assert "are invented" not in text_of(page)


def test_who_may_not_is_not_offered_it_and_can_t(owner: TestClient) -> None:
    faulty(owner)
    made = owner.post("/tokens", json={"name": "board", "role": "reader", "units": [FAULTY]}).json()
    whole(owner)
    owner.post("/sign-in", data={"token": made["secret"]})
    page = owner.get("/fleet").text
    assert units_in(page) == [FAULTY]
    assert "Put a machine on record" not in text_of(page)
    assert owner.post("/fleet/demo").status_code == 403
    assert owner.post("/fleet/units", data={"id": "x", "card": "axial-single"}).status_code == 403


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_first_steps_and_fleet_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    page.goto(f"{at.address}/")
    accessible(page)
    fits(page)
    page.get_by_role("button", name="Load the demo co-op").click()
    page.wait_for_url("**/fleet")
    accessible(page)
    fits(page)
    page.fill("#text", "unit-02")
    page.wait_for_url("**/fleet?*text=unit-02*")
    assert page.locator("#found tbody tr").count() == 1
    page.get_by_role("link", name="demo-unit-02").click()
    page.wait_for_url("**/unit/demo-unit-02")
    accessible(page)
    fits(page)
