"""Both ways of the auditor refuse the same bad values."""

from __future__ import annotations

import json
from typing import Any

import pytest

from audit.auditor import Auditor
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook


@pytest.fixture(scope="module")
def auditor(rulebook: Rulebook) -> Auditor:
    return Auditor(rulebook)


def line(**parts: Any) -> bytes:
    unit = {"id": "u", "card": "axial-single", **parts.pop("unit", {})}
    return json.dumps({"unit": unit, "job": {"crop": "corn", **parts.pop("job", {})}, **parts}).encode()


@pytest.mark.parametrize(
    "parts",
    [
        {"job": {"ground_speed": -1}},
        {"job": {"ground_speed": 99}},
        {"job": {"grain_yield": 1e9}},
        {"job": {"hectares": -5}},
        {"job": {"seeds_per_kg": 1}},
        {"job": {"header": {"width": 99}}},
        {"job": {"header": {"drive_speed": 1}}},
        {"unit": {"engine_hours": -5}},
        {"unit": {"build_year": 1900}},
        {"unit": {"serial": ""}},
        {"unit": {"owner": ""}},
        {"unit": {"serial": " "}},
        {"unit": {"owner": "\t"}},
        {"taken": {"by": ""}},
        {"taken": {"by": " "}},
        {"taken": {"at": ""}},
        {"taken": {"state": " "}},
        {"settings": {"rotor.speed": 30000}},
        {"settings": {"deflector.position": {}}},
        {"readings": {"feeder.sheave_gap": -0.1}},
    ],
    ids=str,
)
def test_an_impossible_value_is_refused_by_both(auditor: Auditor, parts: dict[str, Any]) -> None:
    told = []
    for way in (auditor.report, auditor.judge, auditor.findings):
        with pytest.raises(BadInput) as refused:
            way(line(**parts), "l")
        told.append(refused.value.problems)
    assert told[0] == told[1] == told[2]


def test_messages_stay_short(auditor: Auditor) -> None:
    long = "x" * 10_000
    for parts in ({long: 1}, {"settings": {"rotor.speed": f"3 {long}"}}, {"unit": {long: 1}}):
        with pytest.raises(BadInput) as refused:
            auditor.report(line(**parts), "l")
        assert all(len(problem.message) < 400 for problem in refused.value.problems)
