"""Two people change the same thing: the second one sees what is theirs and what is hers, and decides field by field."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import WHOLE, whole


def fields_of(page: str, action: str) -> dict[str, str]:
    """The form that is sent to an address, as a browser would send it unchanged."""
    form = re.search(rf'<form[^>]*method="post" action="{re.escape(action)}".*?</form>', page, re.DOTALL)
    assert form is not None
    found = {
        unescape(name): unescape(value)
        for name, value in re.findall(r'<input(?! type="radio")[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', form[0])
    }
    for name, body in re.findall(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', form[0], re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', body) or re.search(r'<option value="([^"]*)"', body)
        assert chosen is not None
        found[unescape(name)] = unescape(chosen[1])
    return found


def choices(page: str) -> dict[str, tuple[list[str], str | None]]:
    """What can be chosen for each field that differs, and what is proposed."""
    found: dict[str, tuple[list[str], str | None]] = {}
    for name, value, rest in re.findall(r'<input type="radio" name="([^"]+)" value="([^"]*)"([^>]*)>', page):
        values, proposed = found.get(name, ([], None))
        found[name] = ([*values, unescape(value)], unescape(value) if "checked" in rest else proposed)
    return found


def test_of_a_unit_each_change_is_shown_and_only_what_both_changed_is_left_open(owner: TestClient) -> None:
    whole(owner)
    at = f"/unit/{WHOLE}/edit"
    mine = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    theirs = mine | {"serial": "KX-2", "owner": "South <yard>"}
    assert owner.post(at, data=theirs).status_code == 303
    answer = owner.post(at, data=mine | {"owner": "North yard", "build_year": "2019"})
    assert answer.status_code == 412
    found = choices(answer.text)
    assert found == {
        "serial": (["KX-2", mine["serial"]], "KX-2"),
        "owner": (["South <yard>", "North yard"], None),
        "build_year": ([mine["build_year"], "2019"], "2019"),
    }
    assert "South &lt;yard&gt;" in answer.text
    assert "by token:first owner" in text_of(answer.text)
    unit = owner.get(f"/units/{WHOLE}").json()
    assert (unit["serial"], unit["owner"], unit["build_year"]) == ("KX-2", "South <yard>", None), (
        "nothing is written yet"
    )
    decided = fields_of(answer.text, at) | {"serial": "KX-2", "owner": "North yard", "build_year": "2019"}
    assert owner.post(at, data=decided).status_code == 303
    unit = owner.get(f"/units/{WHOLE}").json()
    assert (unit["serial"], unit["owner"], unit["build_year"]) == ("KX-2", "North yard", 2019)
    assert unit["fitted"] == {
        name.removeprefix("fitted."): value for name, value in mine.items() if name.startswith("fitted.") and value
    }


def test_it_can_change_again_while_somebody_decides(owner: TestClient) -> None:
    whole(owner)
    at = f"/unit/{WHOLE}/edit"
    mine = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    owner.post(at, data=mine | {"owner": "South yard"})
    first = owner.post(at, data=mine | {"owner": "North yard"})
    seen = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    owner.post(at, data=seen | {"owner": "West yard"})
    second = owner.post(at, data=fields_of(first.text, at) | {"owner": "North yard"})
    assert second.status_code == 412
    assert choices(second.text)["owner"] == (["West yard", "North yard"], None)


def test_where_both_want_the_same_there_is_nothing_to_decide(owner: TestClient) -> None:
    whole(owner)
    at = f"/unit/{WHOLE}/edit"
    mine = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    assert owner.post(at, data=mine | {"owner": "South yard", "engine_hours": "950"}).status_code == 303
    same = owner.post(at, data=mine | {"owner": "South yard", "engine_hours": "950,0"})
    assert (same.status_code, same.headers["location"]) == (303, f"/unit/{WHOLE}")


def test_a_unit_that_is_gone_meanwhile_is_not_brought_back(owner: TestClient) -> None:
    whole(owner)
    at = f"/unit/{WHOLE}/edit"
    mine = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    owner.post(f"/unit/{WHOLE}/take-out", data={"edition": mine["edition"]})
    answer = owner.post(at, data=mine | {"owner": "North yard"})
    assert answer.status_code == 412
    assert not choices(answer.text)
    assert owner.get(f"/units/{WHOLE}").json()["retired"]


def test_hours_that_nobody_wrote_stay_what_a_setup_said_since(owner: TestClient) -> None:
    whole(owner)
    at = f"/unit/{WHOLE}/edit"
    mine = fields_of(owner.get(f"/unit/{WHOLE}").text, at)
    text = owner.get(f"/units/{WHOLE}/setups/{owner.get(f'/units/{WHOLE}/setups').json()['items'][0]['id']}").json()
    setup: dict[str, Any] = text["content"]
    setup["unit"] = {"engine_hours": 960}
    owner.post(f"/units/{WHOLE}/setups", json=setup)
    assert owner.get(f"/units/{WHOLE}").json()["engine_hours"] == 960
    assert owner.post(at, data=mine | {"owner": "North yard"}).status_code == 303
    assert owner.get(f"/units/{WHOLE}").json()["engine_hours"] == 960


def test_of_the_terms_too_and_what_rules_do_stays(owner: TestClient) -> None:
    mine = fields_of(owner.get("/settings/terms").text, "/settings/terms")
    owner.post("/settings/terms", data=mine | {"most_days": "7"})
    owner.post("/settings/rules/slat-loose", data={"effect": "warned"})
    answer = owner.post("/settings/terms", data=mine | {"most_days": "9,5", "hold_at": "serious"})
    assert answer.status_code == 412
    assert choices(answer.text) == {"hold_at": (["high", "serious"], "serious"), "most_days": (["7", "9,5"], None)}
    decided = fields_of(answer.text, "/settings/terms") | {"hold_at": "serious", "most_days": "9,5"}
    assert owner.post("/settings/terms", data=decided).status_code == 303
    found = owner.get("/organisation").json()
    assert (found["terms"]["hold_at"], found["terms"]["most_days"]) == ("serious", 9.5)
    assert found["effects"] == {"slat-loose": "warned"}


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_deciding_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    remote = Remote(at)
    whole(remote)
    sign_in(page, at)
    page.goto(f"{at.address}/unit/{WHOLE}")
    page.get_by_text("Change what the machine is").click()
    page.fill("#owner", "North yard")
    unit = remote.get(f"/units/{WHOLE}").json()
    sent = {name: unit[name] for name in ("card", "fitted")}
    changed = remote.put(f"/units/{WHOLE}", json=sent | {"owner": "South yard"}, headers={"If-Match": "*"})
    assert changed.json().get("owner") == "South yard", changed.text
    request.getfixturevalue("watch").expected = ("412",)
    page.locator(f'form[action="/unit/{WHOLE}/edit"] button').click()
    accessible(page)
    fits(page)
    page.get_by_role("button", name="Change it so").click()
    assert page.locator("input[name=owner]:checked").count() == 0, "it must be decided before it is sent"
    page.get_by_label("North yard").check()
    page.get_by_role("button", name="Change it so").click()
    page.wait_for_url(f"{at.address}/unit/{WHOLE}")
    assert remote.get(f"/units/{WHOLE}").json()["owner"] == "North yard"
