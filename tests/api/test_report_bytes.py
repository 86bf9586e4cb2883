"""Reports in bytes are the plain report's JSON, whichever were written before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from random import Random

import msgspec
import pytest

from api import report_bytes
from api.report_bytes import ReportBytes
from api.wire import report_json
from audit.auditor import Auditor
from audit.nouns.finding import Report


def changed(lines: Sequence[bytes], count: int) -> list[bytes]:
    """Demo setups with a few readings moved, turned round or left out."""
    chance = Random(3)
    found = []
    for _ in range(count):
        setup = json.loads(chance.choice(lines))
        readings = setup.get("readings", {})
        for key in chance.sample(sorted(readings), min(5, len(readings))):
            value = readings[key]
            if isinstance(value, bool):
                readings[key] = not value
            elif isinstance(value, (int, float)) and chance.random() < 0.7:
                readings[key] = round(value * chance.uniform(0.8, 1.2), 1)
            else:
                del readings[key]
        found.append(json.dumps(setup).encode())
    return found


@pytest.fixture(scope="module")
def lines(demo_lines: dict[str, tuple[bytes, ...]]) -> list[bytes]:
    demo = [line for lines in demo_lines.values() for line in lines]
    return [*demo, *changed(demo, 400)]


def expected(report: Report, auditor: Auditor) -> bytes:
    return msgspec.json.encode(report_json(report, auditor.rulebook))


def test_bytes_are_the_plain_report(auditor: Auditor, lines: list[bytes]) -> None:
    writer = ReportBytes(auditor.rulebook)
    lengths = set()
    for turn in ("first", "again"):
        for line in lines:
            report = auditor.findings(line, "")
            assert writer.report(report) == expected(report, auditor), turn
            lengths.add(min(len(report.findings), 2))
    assert lengths == {0, 1, 2}


def test_nothing_is_mixed_up_when_what_was_kept_is_let_go(
    auditor: Auditor, lines: list[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_bytes, "_MOST_KEPT", 3)
    writer = ReportBytes(auditor.rulebook)
    for line in lines:
        for report in (auditor.findings(line, ""), auditor.report(line, "")):  # the second's findings are its own
            assert writer.report(report) == expected(report, auditor)
