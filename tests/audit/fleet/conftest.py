"""Fleets made on the spot: units and findings with only what a test is about."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from audit.fleet.units import FindingLine, UnitLine, Work
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict


@pytest.fixture
def unit() -> Callable[..., UnitLine]:
    """Makes one line; what is not given is nothing in particular."""

    def make(row: int, **given: Any) -> UnitLine:
        usual: dict[str, Any] = {
            "unit": f"unit-{row:02d}", "farm": "Oxgill Farm", "serial": f"KX-{row:05d}", "build_year": 2020,
            "card": "axial-single", "crop": "corn", "header_kind": "corn-head", "taken": 1000.0 + row, "by": "",
            "held": False, "kept": 0, "broken": 0, "unknown": 0, "worst": None, "work": None,
        }  # fmt: skip
        return UnitLine(row=row, **(usual | given))

    return make


@pytest.fixture
def finding() -> Callable[..., FindingLine]:
    """Makes one finding."""

    def make(row: int, rule: str = "drum-high", **given: Any) -> FindingLine:
        usual: dict[str, Any] = {
            "on": "", "station": "feeder", "verdict": Verdict.BROKEN, "level": Level.SERIOUS, "index": 8,
            "holds": False, "downtime": 10.0, "share": 0.1, "people": False, "quantity": "feeder.drum", "side": "",
            "found": "raised", "wanted": "lowered",
        }  # fmt: skip
        return FindingLine(row=row, rule=rule, **(usual | given))

    return make


@pytest.fixture
def work() -> Callable[..., Work]:
    """Makes planned work."""

    def make(minutes: float = 60.0, people: int = 1, **given: Any) -> Work:
        usual: dict[str, Any] = {"parts": (), "tools": (), "steps": 1, "proven": True, "conflict": False}
        return Work(minutes, people, **(usual | given))

    return make
