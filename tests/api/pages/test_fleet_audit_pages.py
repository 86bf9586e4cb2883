"""Fleet audits as pages: begun from a file or the record, watched, cancelled, and shown as their report has them."""

from __future__ import annotations

import fcntl
import gzip
import json
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from api.fleet.outputs import LOG
from api.middleware.bounds import USUAL
from api.pages import fleet_audits
from api.service.fleet_jobs import OUT, PROGRESS, run_job
from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import hidden, text_of
from tests.api.pages.whole_unit import DEMO, FAULTY, WHOLE, faulty, whole

STRANGE = "<b>A&B</b>"


def begun(client: TestClient, content: bytes, name: str = "fleet.ndjson", called: str = "Before corn") -> Any:
    """Sends the form with a file."""
    key = hidden(client.get("/fleet/audits").text, "key")
    form = {"key": key, "of": "file", "name": called}
    return client.post("/fleet/audits", data=form, files={"fleet": (name, content)})


def place_of(client: TestClient, id: str) -> Path:
    found: Path = next(client.app.state.desk.jobs.folder.glob(f"*/{id}"))  # type: ignore[attr-defined]
    return found


@contextmanager
def held(place: Path) -> Iterator[None]:
    """Holds an audit's outputs as a process that is at work on it does."""
    with (place / OUT / LOG).open("a") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)
        yield


def work_off(client: TestClient, id: str) -> None:
    """Does an audit here, as its process would."""
    place = place_of(client, id)
    desk = client.app.state.desk  # type: ignore[attr-defined]
    run_job(desk.store.address, place.parent.name, id, place, (), lambda: False)


@pytest.mark.parametrize("packed", [False, True])
def test_a_file_is_kept_byte_for_byte_and_its_result_is_the_reports(owner: TestClient, packed: bool) -> None:
    content = DEMO.read_bytes() + b"{}\n"
    sent = gzip.compress(content) if packed else content
    where = begun(owner, sent, "Spring.NDJSON.GZ" if packed else "spring.jsonl").headers["location"]
    id = where.rpartition("/")[2]
    job = owner.get(f"/fleet-audits/{id}").json()
    assert (place_of(owner, id) / job["input"]).read_bytes() == sent
    assert "waits for its turn" in text_of(owner.get(where).text)
    work_off(owner, id)
    done, page = owner.get(f"/fleet-audits/{id}").json(), owner.get(where).text
    said, sums = text_of(page), done["summary"]
    assert f"{sums['held']} of {sums['audited']} setups are held." in said
    assert "1 line could not be read" in said
    for level in ("high", "serious", "medium", "low"):
        counts = (sums["findings"][f"{level} {verdict}"] for verdict in ("broken", "unknown"))
        assert re.search(rf"{level} +{next(counts)} +{next(counts)}\b", said)
    lines = [json.loads(line) for line in owner.get(f"/fleet-audits/{id}/units").text.splitlines()]
    held = {line["unit"] for line in lines if line["clearance"] == "held"}
    listed = re.findall(r'<th scope="row">(?:<a [^>]*>)?([\w-]+)', page.partition("<h2>Worst first")[2])
    assert held == set(listed[: len(held)])
    report = text_of(owner.get(f"/fleet/audits/{id}/report.html").text)
    for title in re.findall(r'<td><a href="/rules/[^"]+">([^<]+)', page):
        assert text_of(title) in report
    for path in re.findall(r'href="(/fleet-audits/[^"]+)"', page):
        assert owner.get(path.replace("&amp;", "&")).status_code == 200


def test_what_is_on_record_is_a_fleet_and_its_units_are_linked(owner: TestClient) -> None:
    refused = owner.post("/fleet/audits", data={"key": "none", "of": "record"})
    assert refused.status_code == 409
    assert "No unit on record has a setup." in text_of(refused.text)
    faulty(owner)
    whole(owner)
    key = hidden(owner.get("/fleet/audits").text, "key")
    sent = {"key": key, "of": "record", "plan": "yes"}
    first = owner.post("/fleet/audits", data=sent, files={"fleet": ("", b"")})
    assert owner.post("/fleet/audits", data=sent).headers["location"] == first.headers["location"], "sent twice"
    (job,) = owner.get("/fleet-audits").json()["items"]
    assert job["plan"] is True
    assert first.headers["location"] == f"/fleet/audits/{job['id']}"
    work_off(owner, job["id"])
    page = owner.get(f"/fleet/audits/{job['id']}").text
    assert f'<a href="/unit/{FAULTY}">' in page
    assert "Fleet audit 1" in text_of(owner.get("/fleet/audits").text)


@pytest.mark.parametrize(
    ("name", "content", "status", "said"),
    [
        ("", b"", 422, "Choose the file"),
        ("fleet.xml", b"<a/>", 415, ".ndjson"),
        ("fleet.ndjson", b"", 422, "empty"),
    ],
)
def test_what_is_no_fleet_is_refused_and_leaves_nothing(
    owner: TestClient, name: str, content: bytes, status: int, said: str
) -> None:
    answer = begun(owner, content, name)
    assert answer.status_code == status
    assert said in text_of(answer.text)
    assert owner.get("/fleet-audits").json()["items"] == []
    both = owner.post("/fleet/audits", data={"key": "k", "of": "record"}, files={"fleet": ("fleet.ndjson", b"{}")})
    assert both.status_code == 422, "nobody can tell which is meant"
    assert not list(owner.app.state.desk.jobs.folder.glob("*/*"))  # type: ignore[attr-defined]


def test_one_is_worked_off_by_its_own_process(owner: TestClient) -> None:
    owner.app.state.desk.jobs.at_once = 1  # type: ignore[attr-defined]
    where = begun(owner, DEMO.read_bytes()).headers["location"]
    until = time.monotonic() + 120
    while "Look again" in owner.get(where).text:
        assert time.monotonic() < until
        time.sleep(0.3)
    assert "setups are held." in text_of(owner.get(where).text)


def test_one_of_many_megabytes_is_taken_and_one_with_no_place_is_refused(owner: TestClient) -> None:
    content = DEMO.read_bytes() * 40
    assert len(content) > USUAL
    where = begun(owner, content).headers["location"]
    kept = place_of(owner, where.rpartition("/")[2]) / "fleet.ndjson"
    assert kept.stat().st_size == len(content)
    owner.post(f"{where}/cancel")
    jobs = owner.app.state.desk.jobs  # type: ignore[attr-defined]
    jobs.folder, folder = None, jobs.folder
    refused = owner.post("/fleet/audits", data={"key": "k", "of": "record"})
    jobs.folder = folder
    assert refused.status_code == 503
    assert "SETUP_AUDIT_FLEET_FOLDER" in text_of(refused.text)


def test_one_is_cancelled_and_another_fails_with_its_reason(owner: TestClient) -> None:
    where = begun(owner, DEMO.read_bytes(), called=STRANGE).headers["location"]
    assert STRANGE not in owner.get(where).text
    assert STRANGE in text_of(owner.get(where).text)
    assert "is at work" in text_of(owner.get("/fleet").text)
    assert owner.post(f"{where}/cancel").headers["location"] == where
    assert "has no result" in text_of(owner.get(where).text)
    assert owner.post(f"{where}/cancel").status_code == 409
    table = b"unit.id,unit.card,job.crop,settings.feeder.drun\nunit-1,axial-single,corn,raised\n"
    failed = begun(owner, table, "fleet.csv").headers["location"]
    work_off(owner, failed.rpartition("/")[2])
    assert "there is no column 'settings.feeder.drun'" in text_of(owner.get(failed).text)
    german = text_of(owner.get(failed, headers={"Accept-Language": "de"}).text)
    assert "Spalte 4: eine Spalte „settings.feeder.drun“ gibt es nicht. Gemeint ist vielleicht" in german


PARQUET = BytesIO()
pl.DataFrame({"unit.id": [["a"]]}).write_parquet(PARQUET)
UNIT = b"unit.id,unit.card,job.crop"


@pytest.mark.parametrize(
    ("content", "name", "english", "german"),
    [
        (UNIT + b",readings.feeder.slats,readings.feeder.slats\n", "f.csv", "stands twice", "steht doppelt"),
        (
            UNIT + b",settings.feeder.drum,settings.feeder.drum.left\n", "f.csv", "stands for both sides",
            "eine eigene Seite",
        ),
        (b"unit.id,job.crop\n", "f.csv", "lacks the column 'unit.card'", "Spalte „unit.card“ fehlt"),
        (UNIT + b",\xff\xfe\n", "f.csv", "is not UTF-8. Save", "ist nicht UTF-8. Die Datei"),
        (b"PAR1 and nothing more", "f.parquet", "is no Parquet file", "keine lesbare Parquet-Datei"),
        (PARQUET.getvalue(), "f.parquet", "is of type List", "ist vom Typ List"),
    ],
)  # fmt: skip
def test_why_one_failed_is_told_in_the_reader_s_language(
    owner: TestClient, content: bytes, name: str, english: str, german: str
) -> None:
    failed = begun(owner, content, name).headers["location"]
    work_off(owner, failed.rpartition("/")[2])
    assert english in text_of(owner.get(failed).text)
    told = text_of(owner.get(failed, headers={"Accept-Language": "de"}).text)
    assert german in told
    assert english not in told


def test_progress_is_shown_and_who_watches_is_given_the_whole_page_at_the_end(owner: TestClient) -> None:
    where = begun(owner, DEMO.read_bytes()).headers["location"]
    id, watching = where.rpartition("/")[2], {"HX-Request": "true"}
    assert "HX-Refresh" not in owner.get(where, headers=watching).headers
    work_off(owner, id)
    assert owner.get(where, headers=watching).headers["HX-Refresh"] == "true"
    assert "HX-Refresh" not in owner.get(where).headers


def test_a_large_result_and_one_whose_files_are_gone_say_so(owner: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    where = begun(owner, DEMO.read_bytes()).headers["location"]
    id = where.rpartition("/")[2]
    work_off(owner, id)
    monkeypatch.setattr(fleet_audits, "MOST_READ", 3)
    large = text_of(owner.get(where).text)
    assert "there are too many" in large
    assert "Fleet report" in large
    monkeypatch.undo()
    (place_of(owner, id) / OUT).rename(place_of(owner, id) / "elsewhere")
    gone = owner.get(where)
    assert gone.status_code == 200
    assert "are not on this server" in text_of(gone.text)
    assert "report.pdf" not in gone.text


def test_by_rights(owner: TestClient) -> None:
    whole(owner)
    where = begun(owner, DEMO.read_bytes()).headers["location"]
    reader, some = (
        owner.post("/tokens", json={"name": name, "role": role, "units": seen}).json()["secret"]
        for name, role, seen in (("board", "reader", []), ("one", "recorder", [WHOLE]))
    )
    assert owner.post("/fleet/audits", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    owner.post("/sign-in", data={"token": reader})
    assert "can begin one" in text_of(owner.get("/fleet/audits").text)
    assert "Cancel it" not in text_of(owner.get(where).text)
    assert owner.post("/fleet/audits", data={"of": "record"}).status_code == 403
    assert owner.post(f"{where}/cancel").status_code == 403
    owner.post("/sign-in", data={"token": some})
    assert owner.get("/fleet/audits").status_code == 403
    assert owner.get(where).status_code == 403
    assert "/fleet/audits" not in owner.get("/fleet").text


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_from_the_form_to_the_result_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    faulty(Remote(at))
    page.goto(f"{at.address}/fleet")
    page.get_by_role("link", name="Fleet audits").click()
    page.wait_for_url("**/fleet/audits")
    accessible(page)
    fits(page)
    page.fill("#audit-name", "Before corn")
    page.get_by_label("those of a file").check()
    page.set_input_files("#fleet-file", DEMO)
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/fleet/audits/fleet-*")
    accessible(page)
    fits(page)
    id = page.url.rpartition("/")[2]
    (place,) = at.folder.glob(f"*.fleet/*/{id}")
    page.evaluate("window.kept = true")
    far = {"setups": 5, "set_aside": 0, "held": 2, "read": 50, "size": 100, "setups_per_second": 9.5}
    (place / PROGRESS).write_text(json.dumps(far))
    (place / OUT).mkdir()
    with held(place):
        page.get_by_text("50 % of the file").wait_for(timeout=20_000)
        accessible(page)
        fits(page)
    assert page.evaluate("window.kept"), "only the progress was put in"
    run_job(f"sqlite:///{at.folder / 'record.db'}", place.parent.name, id, place, (), lambda: False)
    page.get_by_role("heading", name="Worst first").wait_for(timeout=20_000)
    assert page.url.endswith(id)
    accessible(page)
    fits(page)
    page.get_by_role("link", name=FAULTY).click()
    page.wait_for_url(f"**/unit/{FAULTY}")
