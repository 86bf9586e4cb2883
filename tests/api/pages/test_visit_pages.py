"""Visits as pages: planned from a fleet audit by the form, shown by day, changed and cancelled."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from api.service.fleet_jobs import run_job
from audit.fleet.visits import read_visits
from tests.api.pages.browsing import House, Watch, accessible, fits, sign_in
from tests.api.pages.test_fleet_audit_pages import begun, work_off
from tests.api.pages.test_work_and_starts import hidden, text_of
from tests.api.pages.whole_unit import DEMO, FAULTY, faulty
from tests.api.visits.conftest import visits_file

STRANGE = "<i>Ox & Gill</i>"


@pytest.fixture
def audited(owner: TestClient) -> str:
    """Address of the page of a fleet audit that is done and planned the work."""
    key = hidden(owner.get("/fleet/audits").text, "key")
    form = {"key": key, "of": "file", "name": "Before corn", "plan": "yes"}
    where = owner.post("/fleet/audits", data=form, files={"fleet": ("fleet.ndjson", DEMO.read_bytes())})
    found: str = where.headers["location"]
    work_off(owner, found.rpartition("/")[2])
    return found


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Little effort, as these tests are about the pages."""
    monkeypatch.setattr("api.pages.visits.EFFORT", 0.3)


def plan(client: TestClient, audited: str, text: str, **other: str) -> Any:
    page = client.get(f"{audited}/visits").text
    form = {name: hidden(page, name) for name in ("key", "edition")}
    return client.post(f"{audited}/visits", data={**form, "asked": text, **other})


def test_from_the_audit_to_visits(owner: TestClient, audited: str) -> None:
    faulty(owner)
    assert f'href="{audited}/visits"' in owner.get(audited).text
    empty = text_of(owner.get("/fleet/visits").text)
    assert "No visits from this day on." in empty
    form = owner.get(f"{audited}/visits").text
    assert "Oxgill Farm" in text_of(form)
    blank = html.unescape(re.findall(r"<textarea[^>]*>([^<]*)", form)[0])
    assert plan(owner, audited, blank).status_code == 422, "it is to be filled in first"
    filled = blank.replace("name:\n", "name: tech-01\n").replace("harvest:", "harvest: 2031-09-15")
    filled = filled.replace("x_km: ,", "x_km: 4,").replace("y_km: }", "y_km: 5}")
    assert read_visits(filled.encode(), "").farms[0].name == "Brackenholt Farm"
    made = plan(owner, audited, visits_file().replace("\n", "\r\n"))
    assert made.headers["location"] == "/fleet/visits", text_of(made.text)
    page = owner.get("/fleet/visits").text
    found = owner.get("/visits?most=500").json()["items"]
    for one in found:
        assert f'href="/fleet/visits/{one["id"]}"' in page
    assert f'<a href="/unit/{FAULTY}">' in page, "it is on record"
    assert '<a href="/unit/unit-03">' not in page, "it is in the audit's file only"
    plans = owner.get("/visit-plans").json()["items"]
    for one in owner.get(f"/visit-plans/{plans[0]['id']}").json()["left_out"]:
        assert one["why"] in text_of(page)
    assert plan(owner, audited, visits_file(farms_only="Merrowdale")).status_code == 303
    newest = owner.get("/visit-plans").json()["items"][0]["id"]
    left = [one["unit"] for one in owner.get(f"/visit-plans/{newest}").json()["left_out"]]
    in_none = owner.get("/fleet/visits").text.partition("are in no visit")[2]
    in_one = {piece["unit"] for one in owner.get("/visits?most=500").json()["items"] for piece in one["work"]}
    assert in_one & set(left), "some are in visits of the plan before"
    for unit in left:
        assert (f">{unit}<" in in_none) == (unit not in in_one)
    again = owner.get(f"{audited}/visits").text
    assert "planned visits are ahead" in text_of(again)
    assert "tech-03" in again, "what was asked last is there to be changed"
    by_one = text_of(owner.get("/fleet/visits?technician=tech-03").text)
    assert not re.search(r"tech-01 +\d\d:\d\d", by_one)
    german = text_of(owner.get("/fleet/visits", headers={"Accept-Language": "de"}).text)
    assert "Technician" not in german
    assert "before the harvest" not in german


def test_what_is_wrong_is_said_and_what_was_written_stays(owner: TestClient, audited: str) -> None:
    wrong = visits_file().replace("tech-03", "tech-01") + f"\n# {STRANGE}"
    answer = plan(owner, audited, wrong)
    assert answer.status_code == 422
    said = text_of(answer.text)
    assert "stands twice" in said
    line = wrong.splitlines().index("  - name: tech-01", wrong.splitlines().index("  - name: tech-01") + 1) + 1
    assert f"Line {line}: 'tech-01' stands twice" in said
    assert STRANGE not in answer.text
    assert "Ox &amp; Gill" in answer.text
    past = plan(owner, audited, visits_file(datetime.now(UTC).date() - timedelta(days=9)))
    assert past.status_code == 409
    assert "which is over" in text_of(past.text)
    assert plan(owner, audited, visits_file()).status_code == 303
    stale = plan(owner, audited, visits_file(), edition="1-1")
    assert stale.status_code == 412
    assert "plan again" in text_of(stale.text)
    assert len(owner.get("/visit-plans").json()["items"]) == 1
    bare = begun(owner, DEMO.read_bytes()).headers["location"]
    work_off(owner, bare.rpartition("/")[2])
    assert f"{bare}/visits" not in owner.get(bare).text
    refused = owner.get(f"{bare}/visits")
    assert (refused.status_code, "planned no work" in text_of(refused.text)) == (409, True)


def put(owner: TestClient) -> str:
    """A visit by hand; the address of its page."""
    faulty(owner)
    said = {
        "technician": "tech-01", "farm": STRANGE, "begins": "2031-09-15T08:15", "leaves": "2031-09-15T10:00",
        "work": [{"unit": FAULTY, "minutes": 105, "parts": ["belt"], "tools": ["rule"]}],
    }  # fmt: skip
    assert owner.put("/visits/visit-0000000000000001", json=said).status_code == 201
    return "/fleet/visits/visit-0000000000000001"


def sent(owner: TestClient, where: str, **other: str) -> dict[str, str]:
    page = owner.get(where).text
    names = ("edition", *(f"was.{name}" for name in ("technician", "farm", "day", "begins", "leaves")))
    form = {name: hidden(page, name) for name in names}
    fields = {"technician": "tech-01", "farm": STRANGE, "day": "2031-09-15", "begins": "08:15", "leaves": "10:00"}
    return {**form, **fields, **other}


def test_a_visit_is_changed_and_cancelled(owner: TestClient) -> None:
    where = put(owner)
    page = owner.get(where).text
    assert STRANGE not in page
    assert "engine off, key out" in text_of(page)
    assert "put by hand" in text_of(page)
    late = sent(owner, where, begins="22:00", leaves="01:00")
    assert owner.post(where, data=late).headers["location"] == where
    found = owner.get("/visits/visit-0000000000000001").json()
    assert (found["begins"], found["leaves"], found["edition"]) == ("2031-09-15T22:00", "2031-09-16T01:00", 2)
    both = owner.post(where, data={**late, "technician": "tech-09"})
    assert both.status_code == 412, "somebody else was quicker: field by field"
    assert "tech-09" in text_of(both.text)
    assert owner.post(where, data=sent(owner, where, day="soon")).status_code == 422
    assert owner.post(f"{where}/cancel", data={"edition": "1"}).status_code == 412
    assert owner.post(f"{where}/cancel", data={"edition": "2"}).headers["location"] == where
    gone = owner.get(where).text
    assert "was cancelled" in text_of(gone)
    assert '<form method="post" action="/fleet/visits' not in gone
    assert owner.post(where, data={**late, "edition": "3"}).status_code == 409
    assert owner.get("/fleet/visits/visit-00000000000000ff").status_code == 404


def test_a_technician_s_calendar_is_made_in_the_settings(owner: TestClient) -> None:
    put(owner)
    page = owner.post("/settings/calendars", data={"name": "tablet", "technician": " tech-01 "}).text
    address = re.search(r'value="http://[^/"]+(/calendar/[^"]+\.ics)"', page)
    assert address is not None
    assert "visits of tech-01" in text_of(page)
    text = owner.get(address[1]).text
    assert text.count("BEGIN:VEVENT") == 1, "the unit is held, too, but that is not asked for"
    assert "UID:visit-0000000000000001" in text


def test_by_rights(owner: TestClient, audited: str) -> None:
    where = put(owner)
    reader, some = (
        owner.post("/tokens", json={"name": name, "role": role, "units": seen}).json()["secret"]
        for name, role, seen in (("board", "reader", []), ("one", "mechanic", ["unit-99"]))
    )
    form = sent(owner, where)
    assert owner.post(where, data=form, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    owner.post("/sign-in", data={"token": reader})
    assert "Change it" not in text_of(owner.get(where).text)
    assert "Plan the visits" not in text_of(owner.get(audited).text)
    for path in (where, f"{where}/cancel", f"{audited}/visits"):
        assert owner.post(path, data={**form, "key": "k", "asked": "x"}).status_code == 403
    owner.post("/sign-in", data={"token": some})
    assert owner.get(where).status_code == 404
    assert owner.get(f"{audited}/visits").status_code == 403
    assert "No visits" in text_of(owner.get("/fleet/visits").text)
    assert "Fleet audits" not in text_of(owner.get("/fleet/visits").text)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_in_a_browser(at: House, watch: Watch, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    watch.expected = ("422",)  # a file that is wrong is sent on purpose
    sign_in(page, at)
    page.goto(f"{at.address}/fleet/audits")
    page.get_by_label("those of a file").check()
    page.set_input_files("#fleet-file", DEMO)
    page.get_by_label("Also plan the work").check()
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/fleet/audits/fleet-*")
    id = page.url.rpartition("/")[2]
    (place,) = at.folder.glob(f"*.fleet/*/{id}")
    run_job(f"sqlite:///{at.folder / 'record.db'}", place.parent.name, id, place, (), lambda: False)
    page.goto(f"{at.address}/fleet/audits/{id}")
    page.get_by_role("link", name="Plan the visits").click()
    page.wait_for_url("**/visits")
    accessible(page)
    fits(page)
    page.fill("#asked", visits_file().replace("days: 4", "days: four"))
    page.get_by_role("button", name="Plan the visits").click()
    page.get_by_text("Put this right").wait_for()
    accessible(page)
    fits(page)
    assert "days: four" in page.input_value("#asked")
    page.fill("#asked", visits_file())
    page.get_by_role("button", name="Plan the visits").click()
    page.wait_for_url("**/fleet/visits", timeout=60_000)
    accessible(page)
    fits(page)
    page.get_by_role("link", name="Thornyhough Farm").first.click()
    page.get_by_role("heading", name="Change it").wait_for()
    accessible(page)
    fits(page)
    page.fill("#visit-technician", "tech-07")
    page.get_by_role("button", name="Change it").click()
    page.get_by_text("tech-07, ").wait_for()
    page.get_by_role("button", name="Cancel the visit").click()
    page.get_by_text("This visit was cancelled").wait_for()
    accessible(page)
