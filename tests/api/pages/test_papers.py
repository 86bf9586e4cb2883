"""Sheets over HTTP: each form of each, for who may see it, and in a browser at phone and desk size."""

from __future__ import annotations

import io
from typing import Any

import pytest
from fastapi.testclient import TestClient
from openpyxl import load_workbook
from playwright.sync_api import Page
from pypdf import PdfReader

from api.environment import rulebook
from api.pages.sheets import press
from api.service.fleet_jobs import run_job
from tests.api.legal import legal_setup
from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.whole_unit import FAULTY, WHOLE, faulty, whole

SHEETS = ("unit-sheet", "work-order", "changeover")
MEDIA = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}


def address(sheet: str, ending: str, unit: str = FAULTY) -> str:
    return f"/unit/{unit}/sheets/{sheet}.{ending}" + ("?to=soybean" if sheet == "changeover" else "")


@pytest.mark.parametrize("ending", MEDIA)
@pytest.mark.parametrize("sheet", SHEETS)
def test_every_sheet_is_there_in_every_form(owner: TestClient, sheet: str, ending: str) -> None:
    faulty(owner)
    answer = owner.get(address(sheet, ending))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == MEDIA[ending]
    assert answer.headers["cache-control"] == "private, no-store"
    if ending == "pdf":
        text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
        assert FAULTY in text
        assert "first owner" in text or "Printed by" in text
    elif ending == "xlsx":
        assert len(load_workbook(io.BytesIO(answer.content)).sheetnames) > 1
        assert f'filename="{FAULTY}' in answer.headers["content-disposition"]
    elif ending == "html":
        assert "<style" not in answer.text  # a page's policy takes no style but from this server's own files
        assert " style=" not in answer.text


@pytest.mark.parametrize("ending", MEDIA)
def test_the_fleet_as_the_newest_setups_have_it(owner: TestClient, ending: str) -> None:
    faulty(owner)
    whole(owner)
    answer = owner.get(f"/fleet/report.{ending}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == MEDIA[ending]
    if ending == "html":
        assert FAULTY in answer.text
        assert WHOLE in answer.text
        assert "Speeds of all machines" in answer.text
    if ending == "csv":
        assert answer.content.decode("utf-8-sig").count("\r\n") == 3


def test_a_fleet_without_a_unit_has_a_report_that_says_so(owner: TestClient) -> None:
    answer = owner.get("/fleet/report.html")
    assert answer.status_code == 200
    assert "There is no unit with a setup yet." in answer.text


def test_work_of_the_fleet_report_is_that_of_the_plans(owner: TestClient) -> None:
    setup = faulty(owner)
    content = owner.get(f"/units/{FAULTY}/setups/{setup['setup']['id']}").json()["content"]
    plan = owner.post("/plans", json={"setup": content}).json()["branches"][0]["plan"]
    leaf = load_workbook(io.BytesIO(owner.get("/fleet/report.xlsx").content))["Units"]
    heads = [cell.value for cell in leaf[1]]
    row = dict(zip(heads, (cell.value for cell in leaf[2]), strict=True))
    assert row["Work [min]"] == plan["minutes"]
    assert row["Parts needed"] == ", ".join(plan["parts_needed"])


def test_the_report_of_a_fleet_audit_waits_for_its_end(owner: TestClient) -> None:
    faulty(owner)
    id = owner.post("/fleet-audits?of=record").json()["id"]
    answer = owner.get(f"/fleet/audits/{id}/report.html")
    assert answer.status_code == 409
    assert "running" in answer.text
    assert owner.get("/fleet/audits/fleet-0000000000000000/report.pdf").status_code == 404


def test_the_report_of_a_fleet_audit_that_is_done(owner: TestClient) -> None:
    faulty(owner)
    found: dict[str, Any] = owner.post("/fleet-audits?of=record&plan=true&name=Before+corn").json()
    desk = owner.app.state.desk  # type: ignore[attr-defined]
    place = next(desk.jobs.folder.glob(f"*/{found['id']}"))
    run_job(desk.store.address, place.parent.name, found["id"], place, (), lambda: False)
    answer = owner.get(f"/fleet/audits/{found['id']}/report.html")
    assert answer.status_code == 200, answer.text
    assert "Before corn" in answer.text
    assert FAULTY in answer.text


def test_who_is_not_signed_on_is_led_to_sign_on_and_a_unit_of_others_is_not_there(stranger: TestClient) -> None:
    for path in (address("unit-sheet", "pdf"), "/fleet/report.xlsx"):
        answer = stranger.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in?next=")
    headers = {"Authorization": f"Bearer {stranger.token}"}  # type: ignore[attr-defined]
    faulty(stranger, headers=headers)
    whole(stranger, headers=headers)
    asked = {"name": "one unit", "role": "reader", "units": [WHOLE]}
    token = stranger.post("/tokens", json=asked, headers=headers).json()["secret"]
    seen = {"Authorization": f"Bearer {token}"}
    assert stranger.get(address("unit-sheet", "html", WHOLE), headers=seen).status_code == 200
    assert stranger.get(address("unit-sheet", "html"), headers=seen).status_code == 404
    report = stranger.get("/fleet/report.csv", headers=seen).text
    assert WHOLE in report
    assert FAULTY not in report


def test_no_setup_yet_and_no_such_form(owner: TestClient) -> None:
    owner.put("/units/unit-90", json={"card": "axial-single"})
    for sheet in SHEETS:
        answer = owner.get(address(sheet, "pdf", "unit-90"))
        assert answer.status_code == 404
        assert "walk round it first" in answer.text
    assert owner.get("/unit/unit-90/sheets/unit-sheet.doc").status_code == 422


def test_a_server_without_the_layout_library_says_what_to_install(
    owner: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    faulty(owner)

    def lacks(_: str) -> bytes:
        raise press.LacksLayout(press.INSTALL)

    monkeypatch.setattr("api.pages.sheets.printout.pressed", lacks)
    answer = owner.get(address("unit-sheet", "pdf"))
    assert answer.status_code == 503
    assert "libpango" in answer.text
    assert owner.get(address("unit-sheet", "html")).status_code == 200
    assert owner.get(address("unit-sheet", "xlsx")).status_code == 200


def test_letter_where_us_units_are_wanted_and_a4_elsewhere(owner: TestClient) -> None:
    faulty(owner)
    assert "paper-a4.css" in owner.get(address("unit-sheet", "html")).text
    owner.cookies.set("setup_audit_view", "de.us")
    answer = owner.get(address("unit-sheet", "html")).text
    assert "paper-letter.css" in answer
    assert '<html lang="de">' in answer
    assert "paper-a4.css" in owner.get(f"{address('unit-sheet', 'html')}?paper=a4").text


def test_wear_has_a_plot_and_the_date_of_its_limit(owner: TestClient) -> None:
    setup = legal_setup(rulebook())
    owner.put(f"/units/{WHOLE}", json={**setup["unit"], "engine_hours": 900})
    for month, (hours, length) in enumerate(((900, 766.0), (1010, 769.2), (1105, 771.9), (1190, 774.6)), 1):
        setup["unit"] = {"engine_hours": hours}
        setup["taken"] = {"at": f"2026-{month:02d}-10T08:00:00Z", "by": "tech-01", "state": "as-found"}
        setup["readings"] |= {"feeder.measured_length": f"{length} mm", "feeder.measured_pitches": 20}
        assert owner.post(f"/units/{WHOLE}/setups", json=setup).status_code == 201
    trends = owner.get(f"/units/{WHOLE}/history").json()["trends"]
    trend = next(one for one in trends if one["quantity"] == "feeder.elongation")
    date = trend["projections"][0]["date"]["value"][:10]
    for path in (address("unit-sheet", "html", WHOLE), "/fleet/report.html"):
        text = owner.get(path).text
        assert 'class="drawing wear"' in text
        assert date in text
    leaf = load_workbook(io.BytesIO(owner.get(address("unit-sheet", "xlsx", WHOLE)).content))["Wear"]
    assert leaf["E2"].value == pytest.approx(trend["projections"][0]["hours_left"]["value"])


def test_sheets_in_a_browser(at: House, phone: Page, desk: Page) -> None:
    faulty(Remote(at))
    for screen in (desk, phone):
        sign_in(screen, at)
        for path in (f"/unit/{FAULTY}/sheets", *(address(sheet, "html") for sheet in SHEETS), "/fleet/report.html"):
            screen.goto(at.address + path)
            accessible(screen)
            fits(screen)


def test_a_sheet_is_chosen_and_shown(at: House, desk: Page) -> None:
    faulty(Remote(at))
    sign_in(desk, at)
    desk.goto(f"{at.address}/unit/{FAULTY}/sheets")
    desk.select_option("#to", "wheat")
    desk.get_by_role("button", name="Show the sheet").click()
    assert "/changeover.html" in desk.url
    assert desk.get_by_role("link", name="PDF to print").get_attribute("href")
