"""One auditor serves many threads from its first setup on."""

from __future__ import annotations

import json
import threading
import time
from typing import Any

import msgspec
import pytest

from audit.auditor import Auditor
from audit.intake.structs import CardDecoder, Tables
from audit.judged import Hit
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

THREADS = 8


def test_threads_that_share_an_auditor_get_the_same_answers(
    rulebook: Rulebook, auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing that is made when it is first needed may come out of two threads making it at once."""
    lines = [line for line in demo_lines["corn"] if json.loads(line)["unit"]["card"] == "axial-single"]
    wanted = [auditor.judge(line, "").hits for line in lines]
    shared = Auditor(rulebook)
    found: list[list[list[Hit]]] = []
    together = threading.Barrier(THREADS)

    def judge_all() -> None:
        together.wait()
        found.append([shared.judge(line, "").hits for line in lines])

    def run_and_let_others_on(code: Any, space: dict[str, Any]) -> None:
        exec(code, space)
        time.sleep(0.001)

    monkeypatch.setattr("audit.compiling.exec", run_and_let_others_on, raising=False)
    threads = [threading.Thread(target=judge_all) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [wanted] * THREADS


def test_decoders_are_made_one_at_a_time(rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two that are made at once may share a type that is half worked out, and end the process when they decode."""
    names = on_card(rulebook.machines["axial-single"], rulebook.vocabulary)
    make, inside = msgspec.json.Decoder, list[object]()
    met: list[int] = []
    together = threading.Barrier(THREADS)

    def make_slowly(line: type[msgspec.Struct]) -> msgspec.json.Decoder[msgspec.Struct]:
        inside.append(line)
        time.sleep(0.002)
        met.append(len(inside))
        inside.remove(line)
        return make(line)

    def make_one() -> None:
        together.wait()
        CardDecoder(names, Tables())

    monkeypatch.setattr("audit.intake.structs.msgspec.json.Decoder", make_slowly)
    threads = [threading.Thread(target=make_one) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert met == [1] * THREADS
