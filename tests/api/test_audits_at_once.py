"""``POST /audits`` answers by the compiled reading, in the event loop where it can: always what the plain reading says."""

from __future__ import annotations

import json

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.routes import audits
from api.wire import report_json
from audit.auditor import Auditor


@pytest.fixture(scope="module")
def client() -> TestClient:
    return TestClient(create_app())


def test_the_demo_fleet_is_answered_as_by_the_plain_reading(
    client: TestClient, auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice each: the first time may compile a reading in another thread, the second finds it ready."""
    waited: list[bytes] = []
    in_a_thread = audits._audit

    def noted(by: Auditor, body: bytes, facts: bool) -> dict[str, object]:
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
