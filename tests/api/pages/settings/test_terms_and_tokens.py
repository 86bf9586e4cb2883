"""Terms and tokens by forms, by rights."""

from __future__ import annotations

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tests.api.pages.browsing import House, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import hidden, text_of
from tests.api.pages.whole_unit import WHOLE, whole

FOR_ALL = ("terms", "rules", "rulebook")
OF_WHOLE = ("record", "imports")
FOR_OWNERS = ("tokens", "webhooks", "calendars")
TERMS = {"hold_at": "high", "most_hours": "40,5", "most_days": "7", "valid_for": "12"}


def test_terms_are_changed_as_they_were_seen_and_revoke_what_they_forbid(owner: TestClient) -> None:
    edition = unescape(hidden(owner.get("/settings/terms").text, "edition"))
    assert owner.post("/settings/terms", data={**TERMS, "edition": edition}).status_code == 303
    found = owner.get("/organisation").json()["terms"]
    assert (found["most_hours"], found["most_days"], found["valid_for"]) == (40.5, 7.0, 12.0)
    assert owner.post("/settings/terms", data={**TERMS, "most_days": "9", "edition": edition}).status_code == 412
    edition = unescape(hidden(owner.get("/settings/terms").text, "edition"))
    bad = owner.post("/settings/terms", data={**TERMS, "most_days": "soon", "edition": edition})
    assert bad.status_code == 422
    assert "most_days" in text_of(bad.text)


def test_a_token_is_made_shown_once_and_ended(owner: TestClient) -> None:
    whole(owner)
    form = {"name": "tablet", "role": "mechanic", "units": WHOLE, "days": "30"}
    made = owner.post("/settings/tokens", data=form)
    secret = re.search(r'value="(csa_[^"]+)"', made.text)
    assert secret is not None
    assert secret[1] not in owner.get("/settings/tokens").text
    line = next(one for one in owner.get("/tokens").json()["items"] if one["name"] == "tablet")
    assert line["units"] == [WHOLE]
    assert owner.post(f"/settings/tokens/{line['id']}/revoke").status_code == 303
    assert owner.get("/units", headers={"Authorization": f"Bearer {secret[1]}"}).status_code == 401
    assert owner.post("/settings/tokens", data={**form, "role": "king"}).status_code == 422


def test_others_see_the_terms_and_change_nothing(owner: TestClient) -> None:
    secret = owner.post("/tokens", json={"name": "board", "role": "reader"}).json()["secret"]
    edition = unescape(hidden(owner.get("/settings/terms").text, "edition"))
    owner.post("/sign-in", data={"token": secret})
    page = text_of(owner.get("/settings/terms").text)
    assert "An owner can change this" in page
    assert "<form class" not in owner.get("/settings/terms").text
    assert owner.get("/settings/tokens").status_code == 403
    assert owner.post("/settings/terms", data={**TERMS, "edition": edition}).status_code == 403
    assert owner.post("/settings/tokens", data={"name": "x", "role": "owner"}).status_code == 403


def test_terms_that_revoke_a_start_say_which(owner: TestClient) -> None:
    whole(owner)
    job = {"crop": "corn", "header_kind": "corn-head", "engine_hours": 901}
    start = owner.post(f"/units/{WHOLE}/harvest-starts", json=job).json()["id"]
    edition = unescape(hidden(owner.get("/settings/terms").text, "edition"))
    answer = owner.post("/settings/terms", data={**TERMS, "most_hours": "0,5", "edition": edition})
    assert answer.status_code == 200
    assert f"/start/{start}" in answer.text


def test_the_index_lists_what_the_caller_may_see(owner: TestClient) -> None:
    whole(owner)
    paths = set(re.findall(r'href="(/settings/\w+)"', owner.get("/settings").text))
    assert paths == {f"/settings/{name}" for name in (*FOR_ALL, *OF_WHOLE, *FOR_OWNERS)}
    secrets = {
        role: owner.post("/tokens", json={"name": role, "role": role[:6], "units": units}).json()["secret"]
        for role, units in (("reader", []), ("reader of one", [WHOLE]))
    }
    for role, names in (("reader", (*FOR_ALL, *OF_WHOLE)), ("reader of one", FOR_ALL)):
        headers = {"Authorization": f"Bearer {secrets[role]}"}
        shown = set(re.findall(r'href="(/settings/\w+)"', owner.get("/settings", headers=headers).text))
        assert shown == {f"/settings/{name}" for name in names}
        for name in (*FOR_ALL, *OF_WHOLE, *FOR_OWNERS):
            answer = owner.get(f"/settings/{name}", headers=headers)
            assert answer.status_code == (200 if name in names else 403), (role, name)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_settings_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    for path in ("/settings", "/settings/terms", "/settings/rules"):
        page.goto(f"{at.address}{path}")
        accessible(page)
        fits(page)
    page.goto(f"{at.address}/settings/tokens")
    page.get_by_text("Make a token").click()
    accessible(page)
    fits(page)
    page.fill("#name", "tablet")
    page.get_by_role("button", name="Make it").click()
    assert page.locator("#secret").input_value().startswith("csa_")
    accessible(page)
    fits(page)
