"""The record as a page: what was done, whether it is as it was written, and a copy that verifies without the server."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

import api
from api.environment import rulebook
from api.pages.event_words import EVENT_WORDS
from api.routes import record
from api.store.record_lines import verified
from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import whole
from tests.api.running.test_record import tamper

AT = "/settings/record"
KIND = re.compile(r"[a-z]+(?:[_-][a-z]+)*\.[a-z]+(?:[_-][a-z]+)*")
WRITERS = ("store", "service", "routes")
ONLY_TOLD = {"acceptance.expired"}
"""Kinds that other systems are told of and that are no event of the record."""


def kinds_written() -> Iterator[str]:
    """Kinds of events, as they stand in the code that writes them."""
    of_machines = rulebook().vocabulary.fixed
    first = {kind.partition(".")[0] for kind in EVENT_WORDS}
    for folder in WRITERS:
        for path in sorted((Path(api.__file__).parent / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and ast.unparse(node.func) in ("events.append", "Saying"):
                    said = [one.value for one in node.args[:2] if isinstance(one, ast.Constant)]
                    yield from (kind for kind in said if isinstance(kind, str) and KIND.fullmatch(kind))
                elif isinstance(node, ast.Constant) and isinstance(node.value, str) and KIND.fullmatch(node.value):
                    kind = node.value
                    if kind.partition(".")[0] in first and kind not in of_machines:
                        yield kind


def test_every_kind_of_event_has_words() -> None:
    assert set(kinds_written()) - ONLY_TOLD == set(EVENT_WORDS)


def test_an_event_is_told_in_the_readers_words(owner: TestClient) -> None:
    owner.put("/units/unit-100", json={"card": "axial-single"})
    assert "Unit added · unit/unit-100" in text_of(owner.get(AT).text)
    german = owner.get(AT, headers={"Accept-Language": "de"}).text
    assert "Maschine aufgenommen · unit/unit-100" in text_of(german)


def test_head_and_events_are_the_records_own_page_by_page(owner: TestClient) -> None:
    whole(owner)
    for number in range(60):
        owner.put(f"/units/unit-{number + 100}", json={"card": "axial-single"})
    head = owner.get("/record/head").json()
    shown: list[int] = []
    where = AT
    while where:
        page = owner.get(where).text
        assert f"{head['number']}:{head['hash']}" in page
        shown += [int(one) for one in re.findall(r'number-first">(\d+)<', page)]
        further = re.search(rf'href="({AT}\?before=\d+)"', page)
        where = further[1] if further else ""
    assert shown == list(range(head["number"], 0, -1))


def test_a_record_as_it_was_written_verifies_and_holds_what_was_noted(owner: TestClient) -> None:
    noted = owner.get("/record/head").json()
    whole(owner)
    said = text_of(owner.post(f"{AT}/verify", data={"head": ""}).text)
    assert "The record is as it was written" in said
    good = owner.post(f"{AT}/verify", data={"head": f" {noted['number']}:{noted['hash']} "})
    assert f"It holds event {noted['number']} as you noted it." in text_of(good.text)
    other = owner.post(f"{AT}/verify", data={"head": f"{noted['number']}:{'0' * 64}"})
    assert f"the record holds no event {noted['number']} with hash {'0' * 64}" in text_of(other.text)
    assert owner.post(f"{AT}/verify", data={"head": "the last one"}).status_code == 422


@pytest.mark.parametrize(
    ("deed", "said"),
    [
        ("UPDATE events SET who = 'nobody' WHERE number = 3", "event 3 was changed after it was written"),
        ("DELETE FROM events WHERE number = 3", "event 3 is missing"),
        ("UPDATE events SET content = '{' WHERE number = 3", "the event after number 2 can't be read"),
        ("UPDATE units SET serial = 'KX-9'", "serial of unit/unit-41 is not what event"),
    ],
)
def test_whatever_was_done_to_it_is_shown_where_it_is(owner: TestClient, deed: str, said: str) -> None:
    whole(owner)
    tamper(owner.app.state.desk.store, deed)  # type: ignore[attr-defined]
    page = owner.post(f"{AT}/verify", data={"head": ""})
    assert page.status_code == 200
    assert "The record is not as it was written" in text_of(page.text)
    assert said in text_of(page.text)
    assert owner.get(AT).status_code == 200
    owner.post("/settings/view", data={"language": "de", "next": "/"})
    german = text_of(owner.post(f"{AT}/verify", data={"head": ""}).text)
    assert "ist nicht, wie sie geschrieben wurde" in german
    assert said not in german


@pytest.mark.parametrize("piece", [1, 3, 1000])
def test_the_copy_verifies_by_itself_however_it_is_read(
    owner: TestClient, monkeypatch: pytest.MonkeyPatch, piece: int
) -> None:
    monkeypatch.setattr(record, "PIECE", piece)
    whole(owner)
    assert 'href="/record/events.ndjson"' in owner.get(AT).text
    answer = owner.get("/record/events.ndjson")
    head = owner.get("/record/head").json()
    (found,) = verified(answer.content.splitlines(keepends=True), (head["number"], head["hash"]))
    assert (found.number, found.hash, found.faults) == (head["number"], head["hash"], [])


def test_a_token_kept_to_some_units_is_told_nothing(owner: TestClient) -> None:
    whole(owner)
    secret = owner.post("/tokens", json={"name": "tablet", "role": "mechanic", "units": ["unit-41"]}).json()["secret"]
    headers = {"Authorization": f"Bearer {secret}"}
    assert owner.get(AT, headers=headers).status_code == 403
    assert owner.get("/record/events.ndjson", headers=headers).status_code == 403
    assert owner.post(f"{AT}/verify", data={"head": ""}, headers=headers).status_code == 403
    assert owner.post(f"{AT}/verify", data={"head": ""}, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_record_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    whole(Remote(at))
    sign_in(page, at)
    page.goto(f"{at.address}{AT}")
    accessible(page)
    fits(page)
    page.get_by_role("button", name="Verify the record").click()
    assert page.get_by_role("status").is_visible()
    accessible(page)
    fits(page)
