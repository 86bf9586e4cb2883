"""Imports as pages: shown first, taken, asked about, and taken back."""

from __future__ import annotations

import re
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tests.api.exchange.samples import machine, snapshot_json, task_data, zipped
from tests.api.legal import CARD
from tests.api.pages.browsing import House, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import hidden, text_of
from tests.api.starts.test_imports import MAPPING, TABLE

AT = "/settings/imports"
FLEET = snapshot_json([machine("Unit <07>"), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")])


def send(client: TestClient, content: bytes = FLEET, name: str = "fleet.json", mapping: str = "", **form: str) -> Any:
    """Sends the form with a file, as a browser does: a file that was not chosen comes empty and without a name."""
    key = hidden(client.get(AT).text, "key")
    files = {"file": (name, content), "mapping": ("columns.yaml" if mapping else "", mapping.encode())}
    return client.post(AT, data={"key": key, "dry_run": "", "format": "", "source": "", **form}, files=files)


def answer(client: TestClient, number: int = 0, **form: str) -> Any:
    """Answers an open question by its form."""
    one = client.get("/import-questions").json()["items"][number]
    assert f'action="{AT}/questions/{one["id"]}"' in client.get(AT).text
    return client.post(f"{AT}/questions/{one['id']}", data={"kind": one["kind"], **form})


def test_shown_first_then_taken_asked_about_and_taken_back(owner: TestClient) -> None:
    shown = send(owner, dry_run="yes")
    assert "nothing of it is on record" in text_of(shown.text)
    assert owner.get("/imports").json()["items"] == []
    done = send(owner)
    where = done.headers["location"]
    assert "2 waits for an answer" in text_of(owner.get(where).text)
    assert "Unit &lt;07&gt;" in owner.get(AT).text
    assert answer(owner, card=CARD).headers["location"] == where
    units = owner.get("/units").json()["items"]
    assert [one["engine_hours"] for one in units] == [1482.35, 1482.35]
    back = owner.post(f"{where}/undo")
    said = text_of(back.text)
    for one in units:
        assert f"{one['id']} was taken out of the fleet" in said
    assert "/undo" not in owner.get(where).text
    assert owner.post(f"{where}/undo").status_code == 409
    assert "taken back" in text_of(owner.get(AT).text)


def test_a_form_that_is_sent_twice_imports_once(owner: TestClient) -> None:
    key = hidden(owner.get(AT).text, "key")
    posts = [owner.post(AT, data={"key": key}, files={"file": ("fleet.json", FLEET)}) for _ in range(2)]
    assert posts[0].headers["location"] == posts[1].headers["location"]
    assert len(owner.get("/imports").json()["items"]) == 1


def test_a_table_with_its_mapping_and_each_row_s_fate(owner: TestClient) -> None:
    owner.put("/units/unit-07", json={"card": CARD})
    owner.post("/units/unit-07/identities", json={"fleet_number": "Unit 07"})
    done = send(owner, TABLE.encode(), "machines.csv", MAPPING)
    page = text_of(owner.get(done.headers["location"]).text)
    for line in owner.get(done.headers["location"].replace(AT, "/imports")).json()["lines"]:
        assert " ".join(line["text"].split()) in page
        assert " ".join(line["advice"].split()) in page
    assert "refused" in page


def test_what_cannot_be_read_is_refused_with_the_reason(owner: TestClient) -> None:
    assert "is of no format that is read here" in text_of(send(owner, b"hello").text)
    assert send(owner, b"").status_code == 422
    assert send(owner, mapping="x" * 70_000).status_code == 413
    assert answer_refused(owner)


def answer_refused(owner: TestClient) -> bool:
    send(owner)
    refused = answer(owner, card="no-such-card")
    return bool(refused.status_code == 409 and "say which machine card it is" in text_of(refused.text))


def test_another_unit_is_named_or_said_to_be_new(owner: TestClient) -> None:
    """The plates of the row are those of two units, so that nobody can say which one it is."""
    plate = {"maker": "Sample Works", "type": "Type A", "serial": "U07-000482"}
    for id, identity in (("unit-07", {"pin": "XXXMDA1AC00000482"}), ("unit-08", plate)):
        owner.put(f"/units/{id}", json={"card": CARD})
        owner.post(f"/units/{id}/identities", json=identity)
    send(owner, snapshot_json([machine()]))
    (question,) = owner.get("/import-questions").json()["items"]
    assert question["kind"] == "which-unit"
    assert '<option value="unit-08">' in owner.get(AT).text
    assert answer(owner, new="yes").status_code == 409, "its plates are taken"
    assert answer(owner, unit="unit-07").status_code == 303
    assert owner.get("/units/unit-07").json()["engine_hours"] == 1482.35


def test_a_meter_that_counts_back_is_asked_about(owner: TestClient) -> None:
    owner.put("/units/unit-07", json={"card": CARD})
    owner.post("/units/unit-07/identities", json={"pin": "XXXMDA1AC00000482"})
    send(owner, snapshot_json([machine(hours=1482.35)]))
    send(owner, snapshot_json([machine(hours=12.0, at="2026-06-30T17:40:10Z")]))
    assert "counts" in text_of(owner.get(AT).text)
    assert answer(owner, replaced="yes").status_code == 303
    assert owner.get("/units/unit-07").json()["engine_hours"] == 12.0


def test_rights(owner: TestClient) -> None:
    where = send(owner).headers["location"]
    question = owner.get("/import-questions").json()["items"][0]["id"]
    secret = owner.post("/tokens", json={"name": "board", "role": "reader"}).json()["secret"]
    kept = owner.post("/tokens", json={"name": "tablet", "role": "mechanic", "units": ["unit-41"]}).json()["secret"]
    reader, tablet = ({"Authorization": f"Bearer {one}"} for one in (secret, kept))
    for path in (AT, where):
        page = owner.get(path, headers=reader)
        assert page.status_code == 200
        assert "/undo" not in page.text
        assert f'action="{AT}' not in page.text
        assert "Addresses that are polled" not in page.text
        assert owner.get(path, headers=tablet).status_code == 403
    for headers in (reader, {"Sec-Fetch-Site": "cross-site"}):
        assert owner.post(f"{where}/undo", headers=headers).status_code == 403
        files = {"file": ("fleet.json", FLEET)}
        assert owner.post(AT, data={"key": "k"}, files=files, headers=headers).status_code == 403
        form = {"kind": "which-card", "card": CARD}
        assert owner.post(f"{AT}/questions/{question}", data=form, headers=headers).status_code == 403
    assert owner.post(f"{where}/undo", headers=tablet).status_code == 403
    assert "Addresses that are polled" in text_of(owner.get(AT).text)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_imports_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    page.goto(f"{at.address}{AT}")
    accessible(page)
    fits(page)
    page.set_input_files("#file", {"name": "fleet.json", "mimeType": "application/json", "buffer": FLEET})
    page.get_by_role("button", name="Show what would happen").click()
    accessible(page)
    fits(page)
    page.go_back()
    page.set_input_files("#file", {"name": "fleet.json", "mimeType": "application/json", "buffer": FLEET})
    page.get_by_role("button", name="Import it").click()
    page.wait_for_url(re.compile(rf"{AT}/import-"))
    accessible(page)
    fits(page)
    page.goto(f"{at.address}{AT}")
    accessible(page)
    fits(page)
    page.locator("select[name=card]").first.select_option(CARD)
    page.get_by_role("button", name="Answer").first.click()
    page.wait_for_url(re.compile(rf"{AT}/import-"))


def test_times_of_the_file_by_the_zone_that_is_named(owner: TestClient) -> None:
    shown = send(owner, snapshot_json([machine(at="2026-05-31T17:40:10")]), dry_run="yes", timezone="Nowhere/City")
    assert "is none" in text_of(shown.text)
    send(owner, snapshot_json([machine(at="2026-05-31T17:40:10")]), timezone="Europe/Berlin")
    answer(owner, card=CARD)
    assert owner.get("/units/Unit-07").json()["hours_at"] == "2026-05-31T15:40:10.000Z"


def test_what_a_machine_says_stands_on_its_unit_s_page(owner: TestClient) -> None:
    data = zipped({"TASKDATA.XML": task_data()})
    send(owner, data, "a.zip")
    answer(owner, card=CARD)
    told = {
        "CodeIdentifier": "SPN <110>",
        "CodeDescription": "Coolant too warm",
        "CodeSeverity": "high",
        "CodeSource": "Engine",
    }
    one = {**machine(serial=""), "FaultCode": [told]}
    send(owner, snapshot_json([one]))
    answer(owner, unit="Unit-07")
    page = owner.get("/unit/Unit-07").text
    said = text_of(page)
    assert "nothing is judged by it" in said
    assert (
        "Cleaning fan speed (Cleaning): 900 r/min · as it measured · 2026-05-20 18:00 (in which time zone is not known)"
        in said
    )
    assert "SPN &lt;110&gt;" in page
    assert "Coolant too warm · severity, as the machine says: high · Engine" in said
    german = owner.get("/unit/Unit-07", headers={"Accept-Language": "de"}).text
    assert "Was die Maschine selbst meldet" in text_of(german)
    assert "Fehlercodes" in text_of(german)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_what_a_machine_says_fits_every_screen(size: str, request: pytest.FixtureRequest, at: House) -> None:
    page: Page = request.getfixturevalue(size)
    told = {
        "CodeIdentifier": "SPN 110 FMI 3",
        "CodeDescription": "Coolant temperature above normal",
        "CodeSource": "Engine",
    }
    headers = {"Authorization": f"Bearer {at.token}"}
    with httpx2.Client(base_url=at.address, headers=headers, timeout=60) as remote:
        for content in (
            zipped({"TASKDATA.XML": task_data()}),
            snapshot_json([{**machine(serial=""), "FaultCode": told}]),
        ):
            kind = "application/zip" if content.startswith(b"PK") else "application/json"
            assert remote.post("/imports", content=content, headers={"Content-Type": kind}).status_code == 201
            for one in remote.get("/import-questions").json()["items"]:
                says = {"card": CARD} if one["kind"] == "which-card" else {"unit": "Unit-07"}
                assert remote.post(f"/import-questions/{one['id']}/answer", json=says).status_code == 200
    sign_in(page, at)
    page.goto(f"{at.address}/unit/Unit-07")
    assert page.locator("#said").is_visible()
    accessible(page)
    fits(page)
