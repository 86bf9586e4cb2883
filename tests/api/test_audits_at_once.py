"""``POST /audits`` answers by the compiled reading, in the event loop where it can: always what the plain reading says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.identity.caller import Caller
from api.routes import audits
from api.wire import report_json
from audit.auditor import Auditor
from audit.intake.json_text import MOST_BYTES
from tests.api.whole import whole_app


@pytest.fixture(scope="module")
def client() -> TestClient:
    return TestClient(create_app())


def test_the_demo_fleet_is_answered_as_by_the_plain_reading(
    client: TestClient, auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice each: the first time may compile a reading in another thread, the second finds it ready."""
    waited: list[bytes] = []
    in_a_thread = audits._audit

    def noted(by: Auditor, body: bytes, facts: bool) -> audits.Answer:
        waited.append(body)
        return in_a_thread(by, body, facts)

    monkeypatch.setattr(audits, "_audit", noted)
    headers = {"content-type": "application/json"}
    for line in (line for lines in demo_lines.values() for line in lines):
        plain = report_json(auditor.report(line, ""), auditor.rulebook)
        for turn in ("first", "second"):
            before = len(waited)
            answer = client.post("/audits", content=line, headers=headers)
            assert answer.status_code == 200
            assert answer.json() == json.loads(json.dumps(plain)), f"{plain['unit']} {turn}"
        assert len(waited) == before  # the second was answered at once
    assert waited


def test_a_large_setup_and_one_with_facts_do_not_keep_others_waiting(
    client: TestClient, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    line = demo_lines["corn"][0]
    small = client.post("/audits", content=line, headers={"content-type": "application/json"}).json()
    monkeypatch.setattr(audits, "_audit_at_once", lambda *_: pytest.fail("it was audited in the event loop"))
    spaced = line.rstrip()[:-1] + b" " * audits.SMALL + b"}"
    large = client.post("/audits", content=spaced, headers={"content-type": "application/json"}).json()
    full = client.post("/audits?facts=true", content=line, headers={"content-type": "application/json"}).json()
    assert large == small
    assert full.pop("facts")
    assert full == small


JSON = {"content-type": "application/json"}
REFUSED: dict[str, tuple[bytes, dict[str, str], int]] = {
    "no JSON": (b"{", JSON, 400),
    "another kind": (b"{}", {"content-type": "text/plain"}, 415),
    "packed": (b"{}", {**JSON, "content-encoding": "gzip"}, 415),
    "too large": (b" " * (MOST_BYTES + 1), JSON, 413),
    "too large by its own words": (b"{}", {**JSON, "content-length": str(MOST_BYTES + 1)}, 413),
    "no setup": (b"{}", JSON, 422),
    "half a surrogate pair": (
        rb'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"taken":{"by":"\ud800"}}', JSON, 422,
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_request_is_refused_alike_whether_it_has_parameters_to_read_or_not(client: TestClient, case: str) -> None:
    """A query that says only what holds anyway takes FastAPI's own way to the route."""
    body, headers, status = REFUSED[case]
    told = []
    for path in ("/audits", "/audits?facts=false"):
        answer = client.post(path, content=body, headers={**headers, "x-request-id": "same-request"})
        assert answer.status_code == status, answer.text
        told.append((answer.json(), sorted(answer.headers.items())))
    assert told[0] == told[1]


def test_an_audit_is_the_same_whether_there_are_parameters_to_read_or_not(
    client: TestClient, demo_lines: dict[str, tuple[bytes, ...]]
) -> None:
    line = demo_lines["corn"][0]
    straight, usual = (
        client.post(path, content=line, headers={**JSON, "x-request-id": "same-request"})
        for path in ("/audits", "/audits?hold_at=high")
    )
    assert straight.content == usual.content
    assert sorted(straight.headers.items()) == sorted(usual.headers.items())
    assert client.post("/audits?hold_at=soon", content=line, headers=JSON).status_code == 422
    assert client.get("/audits").status_code == 405


def test_with_a_record_only_who_may_read_is_let_in(
    tmp_path: Path, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first request with a token looks it up in another thread, the next finds it at hand."""
    app, token = whole_app(tmp_path)
    line = demo_lines["corn"][0]
    with TestClient(app) as client:
        for sent, status in (("", 401), ("Bearer nonsense", 401), (f"Bearer {token}", 200), (f"Bearer {token}", 200)):
            headers = {**JSON, "authorization": sent} if sent else JSON
            assert client.post("/audits", content=line, headers=headers).status_code == status
        monkeypatch.setattr(Caller, "may", lambda *_: False)
        assert client.post("/audits", content=line, headers=headers).status_code == 403
