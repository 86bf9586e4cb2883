"""One auditor serves many threads from its first setup on."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from audit.auditor import Auditor
from audit.nouns.rulebook import Rulebook


def test_threads_that_share_an_auditor_get_the_same_answers(
    rulebook: Rulebook, auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [line for some in demo_lines.values() for line in some[:3]]
    wanted = [auditor.judge(line, "").hits for line in lines]
    shared = Auditor(rulebook)
    usual = sys.getswitchinterval()
    monkeypatch.setattr("audit.intake.structs.MOST_REMEMBERED", 3)
    sys.setswitchinterval(1e-5)  # threads take turns as often as they can
    try:
        with ThreadPoolExecutor(8) as threads:
            found = list(threads.map(lambda line: shared.judge(line, "").hits, lines * 8))
    finally:
        sys.setswitchinterval(usual)
    assert found == wanted * 8
