"""Plans, changeovers and harvest starts as pages: they show what the JSON doors answer, and decide nothing."""

from __future__ import annotations

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.whole_unit import FAULTY, WHOLE, faulty, whole


def text_of(page: str) -> str:
    """What a reader sees of a page, without drawings."""
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<svg.*?</svg>", "", page))))


def hidden(page: str, name: str) -> str:
    """The value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None
    return found[1]


def ask(client: TestClient, unit: str, hours: str = "") -> object:
    """Sends the form that asks for a start, as the page has it."""
    page = client.get(f"/unit/{unit}/start").text
    form = {name: hidden(page, name) for name in ("crop", "header_kind", "key")}
    return client.post(f"/unit/{unit}/start", data={**form, "engine_hours": hours})


def test_a_plan_shows_every_step_with_its_cautions_traps_and_tools(owner: TestClient) -> None:
    setup = faulty(owner)
    found = text_of(owner.get(f"/unit/{FAULTY}/plan").text)
    content = owner.get(f"/units/{FAULTY}/setups/{setup['setup']['id']}").json()["content"]
    plan = owner.post("/plans", json={"setup": content}).json()["branches"][0]["plan"]
    assert plan["steps"]
    for step in plan["steps"]:
        said = [step["title"], *step["tools"], *step["parts"], *step["cautions"], *step["safe"]]
        said += [one["do"] for one in step["steps"]] + [one["trap"] for one in step["steps"] if one["trap"]]
        for text in said:
            assert re.sub(r"\s+", " ", text) in found
    for text in (*plan["safety"]["stopped"], *plan["safety"]["restart"], plan["safety"]["last"]):
        assert text in found


def test_what_cannot_be_done_opens_another_plan_or_says_why_there_is_none(owner: TestClient) -> None:
    faulty(owner)
    page = owner.get(f"/unit/{FAULTY}/plan", params={"leave": "feeder.drum"})
    found = text_of(page.text)
    assert page.status_code == 200
    assert "No plan" in found
    assert "may be changed after all" in found
    refused = owner.get(f"/unit/{FAULTY}/plan", params={"leave": "feeder.drumm"})
    assert refused.status_code == 422
    assert "feeder.drum" in text_of(refused.text)


def test_a_changeover_asks_for_the_crop_and_shows_the_work(owner: TestClient) -> None:
    whole(owner)
    assert "What is it to harvest next?" in text_of(owner.get(f"/unit/{WHOLE}/changeover").text)
    found = text_of(owner.get(f"/unit/{WHOLE}/changeover", params={"to": "soybean"}).text)
    assert "Changeover to soybean" in found
    assert "raised → lowered" in found
    assert owner.get(f"/unit/{WHOLE}/changeover", params={"to": "bananas"}).status_code == 422


def test_a_held_start_says_why_and_what_clears_it(owner: TestClient) -> None:
    faulty(owner)
    decision = owner.get(f"/units/{FAULTY}/clearance").json()
    assert decision["clearance"] == "held"
    answer = ask(owner, FAULTY)
    assert answer.status_code == 409  # type: ignore[attr-defined]
    found = text_of(answer.text)  # type: ignore[attr-defined]
    for reason in decision["reasons"]:
        assert (reason["finding"]["title"] if reason["finding"] else reason["text"]) in found
    for step in decision["plan"][0]["plan"]["steps"]:
        assert step["title"] in found


def test_a_cleared_start_has_its_certificate_and_code_and_is_asked_once(owner: TestClient) -> None:
    whole(owner)
    page = owner.get(f"/unit/{WHOLE}/start").text
    form = {name: hidden(page, name) for name in ("crop", "header_kind", "key")}
    answers = [owner.post(f"/unit/{WHOLE}/start", data={**form, "engine_hours": "900,5"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    started = owner.get(f"/units/{WHOLE}/harvest-starts").json()["items"]
    assert len(started) == 1
    page = owner.get(answers[0].headers["location"]).text
    assert started[0]["certificate"] in page
    assert "<svg" in page
    path = started[0]["short"].partition("/verify/")[2]
    people = owner.get(f"/verify/{path}", headers={"Accept": "text/html,*/*"})
    assert "This start counts until" in text_of(people.text)
    assert owner.get(f"/verify/{path}").json()["state"] == "good"


def test_bad_hours_are_refused_with_a_page_and_nothing_is_asked(owner: TestClient) -> None:
    whole(owner)
    for wrong in ("many", "-4", "1e9"):
        answer = ask(owner, WHOLE, wrong)
        assert answer.status_code == 422  # type: ignore[attr-defined]
        assert "engine_hours" in text_of(answer.text)  # type: ignore[attr-defined]
    assert owner.get(f"/units/{WHOLE}/harvest-starts").json()["items"] == []


def test_a_unit_without_a_setup_is_led_to_the_walk_round(owner: TestClient) -> None:
    owner.put("/units/unit-99", json={"card": "axial-single"})
    assert "Walk round it" in text_of(owner.get("/unit/unit-99/start").text)
    assert owner.get("/unit/unit-99/plan").status_code == 404
    assert owner.get("/unit/unit-00/plan").status_code == 404


def test_a_reader_sees_the_decision_and_is_told_who_may_ask(owner: TestClient) -> None:
    whole(owner)
    made = owner.post("/tokens", json={"name": "board", "role": "reader"}).json()
    owner.post("/sign-in", data={"token": made["secret"]})
    page = owner.get(f"/unit/{WHOLE}/start")
    assert "A mechanic, an approver or an owner can ask for the start." in text_of(page.text)
    assert owner.post(
        f"/unit/{WHOLE}/start", data={"crop": "corn", "header_kind": "corn-head", "key": "k"}
    ).status_code == 403  # fmt: skip


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_from_held_to_cleared_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    request.getfixturevalue("watch").expected = ("409",)
    sign_in(page, at)
    asks = Remote(at)
    faulty(asks)
    whole(asks)
    for path in ("plan", "changeover?to=soybean", "start"):
        page.goto(f"{at.address}/unit/{FAULTY}/{path}")
        accessible(page)
        fits(page)
    page.get_by_role("button", name="Ask for the start").click()
    assert page.get_by_role("alert").inner_text().startswith("The start is held")
    page.goto(f"{at.address}/unit/{WHOLE}/start")
    page.fill("#engine_hours", "901")
    page.get_by_role("button", name="Ask for the start").click()
    page.wait_for_url("**/start/*")
    accessible(page)
    fits(page)
    page.get_by_role("link", name="/verify/").click()
    page.wait_for_url("**/verify/**")
    assert "This start counts until" in page.inner_text("main")
    accessible(page)
