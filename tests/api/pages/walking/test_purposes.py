"""What a walk is for: a change of crop asks for what the work changes, a re-check for what is open; nothing is hidden."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Page, expect

from tests.api.pages.browsing import CHROMIUM, FLAGS, PHONE, House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.walking.walking import WALK, begin, content, finish, open_walk, setups
from tests.api.pages.whole_unit import DEMO, FAULTY, WHOLE, faulty, whole


def purposes(client: TestClient, unit: str, crop: str) -> dict[str, Any]:
    """What walks for a crop may be for, with the names that each asks for."""
    found: dict[str, Any] = client.get(f"/unit/{unit}/walk-round.json?crop={crop}").json()["purposes"]
    return found


def due(client: TestClient, unit: str) -> set[str]:
    items = client.get(f"/units/{unit}/history").json()["due"]
    return {name for one in items if one["state"] in ("due", "overdue") for name in (*one["take"], *one["instead"])}


def test_a_change_of_crop_asks_for_what_the_plan_touches(owner: TestClient) -> None:
    """By the door for programs, which plans the same work for itself."""
    faulty(owner)
    given = next(one for one in map(json.loads, DEMO.read_text().splitlines()) if one["unit"]["id"] == FAULTY)
    found = purposes(owner, FAULTY, "soybean")
    assert found["open"] is None  # the newest setup is of another crop
    assert set(found["changeover"]) == {"flex-platform", "draper"}
    for header, names in found["changeover"].items():
        sent = {"setup": given, "to": {"crop": "soybean", "header": header}}
        answer = owner.post("/changeovers", json=sent)
        assert answer.status_code == 200, answer.text
        steps = [step for branch in answer.json()["branches"] for step in branch["plan"]["steps"]]
        touched = {change["quantity"] for step in steps for change in step["changes"]}
        touched |= {record["event"] for step in steps for record in step["records"]}
        assert touched
        assert set(names) == touched | due(owner, FAULTY)


def test_open_things_are_those_that_findings_stand_on(owner: TestClient) -> None:
    faulty(owner)
    names = set(purposes(owner, FAULTY, "corn")["open"])
    findings = owner.get(f"/units/{FAULTY}/findings").json()["findings"]
    assert findings
    for one in findings:
        wanted = {each["name"] for each in one["missing"]} | {each["quantity"] for each in one["found"]}
        assert wanted & names, one["rule"]
    whole(owner)
    assert set(purposes(owner, WHOLE, "corn")["open"]) == due(owner, WHOLE)


def test_where_nothing_is_on_record_only_the_whole_machine_is_offered(owner: TestClient) -> None:
    assert owner.put("/units/unit-77", json={"card": "axial-single", "serial": "KX-00001"}).status_code == 201
    assert purposes(owner, "unit-77", "corn") == {"open": None, "changeover": {}}


def asked(page: Page, purpose: str) -> int:
    """How many things a purpose says that it asks for."""
    there = page.locator(".purpose").filter(has=page.get_by_role("button", name=purpose))
    return int(there.locator("p").first.inner_text().split()[0])


def test_a_change_of_crop_in_the_yard_says_what_it_leaves_and_the_gate_judges(
    at: House, asks: Remote, phone: Page
) -> None:
    open_walk(phone, at)
    phone.select_option("[name=crop]", "soybean")
    phone.select_option("[name=header]", "draper")
    phone.get_by_role("button", name="Begin", exact=True).click()
    expect(phone.locator("h1")).to_have_text("What is this walk for?")
    accessible(phone)
    fits(phone)
    every, some = asked(phone, "The whole machine"), asked(phone, "Change of crop")
    assert 0 < some < every / 4
    expect(phone.locator("main")).to_contain_text(f"Leaves out {every - some} that rules ask for.")
    phone.get_by_role("button", name="Change of crop").click()
    expect(phone.locator(".progress")).to_contain_text(f"0 / {some}")
    phone.get_by_role("button", name="List").click()
    phone.locator("details.station").filter(has_text="Feeder house ·").locator("> summary").click()
    drum = phone.get_by_role("button", name="Height of the drum at the intake end of the feeder house")
    expect(drum).to_contain_text("to do")
    drum.click()
    for side in ("left", "right"):
        phone.get_by_role("group", name=side).locator("label").filter(has_text="lowered").click()
    phone.get_by_role("button", name="List").click()
    phone.get_by_role("button", name="Summary").click()
    expect(phone.locator("main")).to_contain_text(f"Not part of this walk: {every - some} that rules ask for.")
    accessible(phone)
    phone.get_by_role("button", name="Go on round the whole machine").click()
    expect(phone.locator(".progress")).to_contain_text(f"1 / {every}")
    phone.reload()
    expect(phone.locator(".progress")).to_contain_text(f"1 / {every}")
    phone.get_by_role("button", name="List").click()
    phone.get_by_role("button", name="This walk is for: The whole machine").click()
    phone.get_by_role("button", name="Change of crop").click()
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Recorded")
    expect(phone.locator(".state")).to_have_text("held")
    kept = content(asks)
    assert kept["settings"] == {"feeder.drum": {"left": "lowered", "right": "lowered"}}
    assert "readings" not in kept
    assert len(setups(asks)) == 2


@pytest.mark.usefixtures("asks")
def test_a_re_check_is_a_few_screens(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone, purpose="Wrong, not known or due again")
    expect(phone.locator(".progress")).to_contain_text("0 / 5")
    for _ in range(5):
        assert phone.locator(".where .tag").count() == 0
        step = phone.locator("#walk").get_attribute("data-step") or ""
        phone.get_by_role("button", name="Can't tell").click()
        expect(phone.locator("#walk")).not_to_have_attribute("data-step", step)
    expect(phone.locator("h1")).to_have_text("Summary")
    expect(phone.locator("main")).to_contain_text("Settled: 5 of 5. Can't tell: 5.")


YARD = "yard.test"
"""A name that no browser takes for its own machine; .test is for this (RFC 2606)."""


@contextmanager
def unsafe(at: House, browser: Browser, **options: Any) -> Iterator[tuple[Page, House, Watch]]:
    """A page of a browser that reaches the server without HTTPS, by a name other than localhost."""
    flags = [*FLAGS, f"--host-resolver-rules=MAP {YARD} 127.0.0.1"]
    there = replace(at, address=f"http://{YARD}:{urlsplit(at.address).port}")
    watch = Watch(urlsplit(there.address).netloc)
    with browser.browser_type.launch(executable_path=CHROMIUM, args=flags) as own:
        context = own.new_context(viewport=PHONE, has_touch=True, is_mobile=True, **options)  # type: ignore[arg-type]
        watch.over(context)
        yield context.new_page(), there, watch


@pytest.mark.usefixtures("asks")
@pytest.mark.parametrize("scripts", [True, False])
def test_without_https_the_page_leads_to_the_plain_form(at: House, chromium: Browser, scripts: bool) -> None:
    """Service workers and the walk's keys need a secure context (W3C Secure Contexts; Service Workers, section 2)."""
    with unsafe(at, chromium, java_script_enabled=scripts) as (page, there, watch):
        sign_in(page, there)
        page.goto(there.address + WALK)
        if scripts:
            assert page.evaluate("window.isSecureContext") is False
            expect(page.locator(".wrong")).to_contain_text("This page came without HTTPS")
            accessible(page)
        fits(page) if scripts else None
        expect(page.get_by_role("button", name="Begin")).to_have_count(0)
        page.get_by_role("link", name="Enter a setup").click()
        expect(page.locator("h1")).to_contain_text("setup")
        page.select_option("[name=crop]", "corn")
        page.select_option("[name=header_kind]", "corn-head")
        page.locator("main form button").first.click()
        page.wait_for_url("**/setup?*crop=corn*")
        expect(page.get_by_role("button", name="Record it")).to_be_visible()
        watch.clean()
