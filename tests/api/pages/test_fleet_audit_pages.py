"""Fleet audits as pages: begun of the record or of a file, watched, read."""

from __future__ import annotations

import time

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tests.api.pages.browsing import House, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import DEMO


def at_work(client: TestClient) -> None:
    """Lets jobs run, which the tests of made-up requests keep from it."""
    client.app.state.desk.jobs.at_once = 2  # type: ignore[attr-defined]


def finished(client: TestClient, path: str) -> str:
    """The page once the audit has ended."""
    until = time.monotonic() + 120
    while "Look again" in (page := client.get(path).text):
        assert time.monotonic() < until
        time.sleep(0.3)
    return page


def test_an_audit_of_the_record_is_begun_watched_and_read(owner: TestClient) -> None:
    at_work(owner)
    assert owner.post("/fleet/audits/of-record").status_code == 409
    owner.post("/fleet/demo")
    path = owner.post("/fleet/audits/of-record", data={"name": "spring"}).headers["location"]
    page = finished(owner, path)
    assert f"Setups {len(DEMO.read_text().splitlines())}" in text_of(page)
    assert owner.get(f"{path}/report.html").status_code == 200
    assert "spring" in text_of(owner.get("/fleet/audits").text)


def test_an_audit_of_a_file_and_a_file_that_is_none(owner: TestClient) -> None:
    at_work(owner)
    sent = {"fleet": ("fleet.ndjson", DEMO.read_bytes(), "application/octet-stream")}
    path = owner.post("/fleet/audits/of-file", files=sent).headers["location"]
    page = finished(owner, path)
    assert f"Setups {len(DEMO.read_text().splitlines())}" in text_of(page)
    assert owner.post("/fleet/audits/of-file", files={"fleet": ("fleet.exe", b"x", "text/plain")}).status_code == 415


def test_one_that_waits_is_cancelled(owner: TestClient) -> None:
    owner.post("/fleet/demo")
    path = owner.post("/fleet/audits/of-record").headers["location"]
    assert "It waits for its turn" in text_of(owner.get(path).text)
    assert "is at work" in text_of(owner.get("/fleet").text)
    assert owner.post(f"{path}/cancel").status_code == 303
    assert "cancelled" in text_of(owner.get(path).text)
    assert owner.post(f"{path}/cancel").status_code == 409


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    page.goto(f"{at.address}/fleet/audits")
    accessible(page)
    fits(page)
    page.set_input_files("#fleet", str(DEMO))
    page.get_by_role("button", name="Send the file").click()
    page.wait_for_url("**/fleet/audits/fleet-*")
    accessible(page)
    fits(page)
