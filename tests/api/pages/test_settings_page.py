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

TERMS = {"hold_at": "high", "most_hours": "40,5", "most_days": "7", "valid_for": "12"}


def test_terms_are_changed_as_they_were_seen_and_revoke_what_they_forbid(owner: TestClient) -> None:
    edition = unescape(hidden(owner.get("/settings").text, "edition"))
    assert owner.post("/settings/terms", data={**TERMS, "edition": edition}).status_code == 303
    found = owner.get("/organisation").json()["terms"]
    assert (found["most_hours"], found["most_days"], found["valid_for"]) == (40.5, 7.0, 12.0)
    assert owner.post("/settings/terms", data={**TERMS, "edition": edition}).status_code == 412
    edition = unescape(hidden(owner.get("/settings").text, "edition"))
    bad = owner.post("/settings/terms", data={**TERMS, "most_days": "soon", "edition": edition})
    assert bad.status_code == 422
    assert "most_days" in text_of(bad.text)


def test_a_token_is_made_shown_once_and_ended(owner: TestClient) -> None:
    whole(owner)
    form = {"name": "tablet", "role": "mechanic", "units": WHOLE, "days": "30"}
    made = owner.post("/settings/tokens", data=form)
    secret = re.search(r'value="(csa_[^"]+)"', made.text)
    assert secret is not None
    assert secret[1] not in owner.get("/settings").text
    line = next(one for one in owner.get("/tokens").json()["items"] if one["name"] == "tablet")
    assert line["units"] == [WHOLE]
    assert owner.post(f"/settings/tokens/{line['id']}/revoke").status_code == 303
    assert owner.get("/units", headers={"Authorization": f"Bearer {secret[1]}"}).status_code == 401
    assert owner.post("/settings/tokens", data={**form, "role": "king"}).status_code == 422


def test_others_see_the_terms_and_change_nothing(owner: TestClient) -> None:
    secret = owner.post("/tokens", json={"name": "board", "role": "reader"}).json()["secret"]
    edition = unescape(hidden(owner.get("/settings").text, "edition"))
    owner.post("/sign-in", data={"token": secret})
    page = text_of(owner.get("/settings").text)
    assert "An owner can change this" in page
    assert "first owner" not in page
    assert owner.post("/settings/terms", data={**TERMS, "edition": edition}).status_code == 403
    assert owner.post("/settings/tokens", data={"name": "x", "role": "owner"}).status_code == 403


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_settings_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    page.goto(f"{at.address}/settings")
    page.get_by_text("Make a token").click()
    accessible(page)
    fits(page)
    page.fill("#name", "tablet")
    page.get_by_role("button", name="Make it").click()
    assert page.locator("#secret").input_value().startswith("csa_")
    accessible(page)
    fits(page)
