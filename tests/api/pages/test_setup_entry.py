"""A setup entered by a plain form, and a setup's page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Page, expect

from tests.api.pages.browsing import PHONE, House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.whole_unit import FAULTY, WHOLE, faulty, whole

JPEG = b"\xff\xd8\xff\xe0a photo"


def form_of(page: str) -> dict[str, str]:
    """Every field of the form with the value that a browser would send."""
    form: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name, value = re.search(r' name="([^"]*)"', tag), re.search(r' value="([^"]*)"', tag)
        if name and 'type="checkbox"' not in tag:
            form[name[1]] = unescape(value[1]) if value else ""
    for name, options in re.findall(r'(?s)<select[^>]* name="([^"]*)"[^>]*>(.*?)</select>', page):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        form[name] = chosen[1] if chosen else ""
    return form


def shown(client: TestClient, unit: str, **asked: str) -> str:
    return client.get(f"/unit/{unit}/setup", params={"crop": "corn", "header_kind": "corn-head", **asked}).text


def newest(client: TestClient, unit: str) -> dict[str, Any]:
    """The newest setup as it is kept."""
    id = client.get(f"/units/{unit}/setups").json()["items"][0]["id"]
    found: dict[str, Any] = client.get(f"/units/{unit}/setups/{id}").json()["content"]
    return found


def test_nothing_is_assumed_and_what_is_ticked_is_taken_to_the_last_digit(owner: TestClient) -> None:
    whole(owner)
    before = newest(owner, WHOLE)
    form = form_of(shown(owner, WHOLE))
    answer = owner.post(f"/unit/{WHOLE}/setup", data=form)
    assert answer.status_code == 303
    empty = newest(owner, WHOLE)
    assert (empty["settings"], empty["readings"], empty["events"]) == ({}, {}, {})
    page = shown(owner, WHOLE)
    ticks = re.findall(r'type="checkbox" name="([^"]*)"', page)
    assert len(ticks) > 100
    ticked = {**form_of(page), **dict.fromkeys(ticks, "yes")}
    answer = owner.post(f"/unit/{WHOLE}/setup", data=ticked)
    assert answer.status_code == 303, answer.text[:2000]
    after = newest(owner, WHOLE)
    assert after["settings"].keys() == {name for name, value in before["settings"].items() if value is not None}
    findings = owner.get(f"/units/{WHOLE}/findings").json()
    assert findings["clearance"] == "cleared"


def test_every_problem_comes_back_beside_its_field_and_all_else_is_kept(owner: TestClient) -> None:
    faulty(owner)
    form = form_of(shown(owner, FAULTY))
    wrong = {"rotor.speed": "99999", "feeder.sheave_gap": "wide", "engine_hours": "-4", "job.ground_speed": "900"}
    right = {"feeder.drum:left": "raised", "shoe.sieve": "9,5", "by": "Möller"}
    answer = owner.post(f"/unit/{FAULTY}/setup", data={**form, **wrong, **right})
    assert answer.status_code == 422
    for name in wrong:
        assert f'id="wrong-{name}"' in answer.text
    sent = form_of(answer.text)
    for name, value in {**wrong, **right}.items():
        assert sent[name] == value
    assert len(owner.get(f"/units/{FAULTY}/setups").json()["items"]) == 1
    mended = {**sent, "rotor.speed": "320", "feeder.sheave_gap": "5/32", "engine_hours": "1850,5"}
    mended |= {"job.ground_speed": "4.5", "job.ground_speed:unit": "mph", "feeder.sheave_gap:unit": "in"}
    assert owner.post(f"/unit/{FAULTY}/setup", data=mended).status_code == 303
    kept = newest(owner, FAULTY)
    assert kept["settings"]["feeder.drum"] == {"left": "raised", "right": None}
    assert kept["readings"]["feeder.sheave_gap"] == "5/32 in"
    assert kept["job"]["ground_speed"] == "4.5 mph"
    assert kept["taken"]["by"] == "Möller"


def test_what_was_recorded_meanwhile_must_be_looked_at_again(owner: TestClient) -> None:
    faulty(owner)
    page = shown(owner, FAULTY)
    form = {**form_of(page), "feeder.drum:same": "yes", "rotor.speed": "320"}
    faulty(owner)
    answer = owner.post(f"/unit/{FAULTY}/setup", data=form)
    assert answer.status_code == 412
    assert "Another setup of this machine was recorded" in answer.text
    assert 'name="feeder.drum:same" value="yes" checked' not in answer.text
    assert form_of(answer.text)["rotor.speed"] == "320"
    assert len(owner.get(f"/units/{FAULTY}/setups").json()["items"]) == 2


def test_sending_a_form_twice_records_once(owner: TestClient) -> None:
    faulty(owner)
    page = owner.get(f"/unit/{FAULTY}/setup").text
    key = form_of(page)["key"]
    text = json.dumps({**newest(owner, FAULTY), "taken": {"by": "tech-09", "state": "as-found"}})
    answers = [
        owner.post(f"/unit/{FAULTY}/setup/file", data={"key": key}, files={"setup": ("s.json", text)}) for _ in range(2)
    ]
    assert [one.status_code for one in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert len(owner.get(f"/units/{FAULTY}/setups").json()["items"]) == 2
    refused = owner.post(f"/unit/{FAULTY}/setup/file", data={"key": "other"}, files={"setup": ("s.json", "{")})
    assert refused.status_code == 422


def test_a_reader_is_told_who_records(owner: TestClient) -> None:
    faulty(owner)
    form = form_of(shown(owner, FAULTY))
    made = owner.post("/tokens", json={"name": "board", "role": "reader"}).json()
    owner.post("/sign-in", data={"token": made["secret"]})
    assert "A recorder, a mechanic, an approver or an owner can." in shown(owner, FAULTY)
    assert owner.post(f"/unit/{FAULTY}/setup", data=form).status_code == 403


def test_a_form_of_another_site_records_nothing(owner: TestClient) -> None:
    faulty(owner)
    form = form_of(shown(owner, FAULTY))
    answer = owner.post(f"/unit/{FAULTY}/setup", data=form, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403
    assert len(owner.get(f"/units/{FAULTY}/setups").json()["items"]) == 1


@pytest.fixture
def plain(chromium: Browser, watch: Watch) -> Iterator[Page]:
    """A phone's page without JavaScript."""
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    watch.over(context)
    yield context.new_page()
    context.close()


def test_without_javascript_in_a_browser(at: House, plain: Page) -> None:
    asks = Remote(at)
    faulty(asks)
    plain.goto(f"{at.address}/sign-in?next=/unit/{FAULTY}/setup")
    plain.fill("#token", at.token)
    plain.click("main button")
    plain.get_by_role("button", name="Show the form").click()
    drum = plain.get_by_role("group", name="Height of the drum at the intake end of the feeder house")
    drum.get_by_label("left").select_option("raised")
    drum.get_by_label("right").select_option("raised")
    plain.get_by_role("button", name="Record it").click()
    expect(plain.locator("h1")).to_have_text("Setup 2")
    plain.goto(f"{at.address}/unit/{FAULTY}/walk-round")
    expect(plain.get_by_role("link", name="Enter a setup")).to_be_visible()


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_form_and_setup_have_no_obstacle(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    asks = Remote(at)
    setup = faulty(asks)["setup"]["id"]
    where = f"/units/{FAULTY}/setups/{setup}"
    asks.post(f"{where}/notes", json={"quantity": "feeder.drum", "text": "Pin bent"})
    sign_in(page, at)
    for path in (f"/unit/{FAULTY}/setup", f"/unit/{FAULTY}/setup?crop=corn", f"/unit/{FAULTY}/setups/{setup}"):
        page.goto(at.address + path)
        accessible(page)
        fits(page)
    expect(page.locator("main")).to_contain_text("Height of the drum at the intake end of the feeder house: Pin bent")
