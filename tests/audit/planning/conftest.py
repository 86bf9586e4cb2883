"""Planners and demo setups for the tests of planning."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping

import pytest

from audit.intake.setups import read_setup
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from tests.audit.planning.plans import never


@pytest.fixture(scope="session")
def planner(rulebook: Rulebook) -> Planner:
    """A planner by the shipped rulebook; it keeps its work sheets for the session."""
    return Planner(rulebook)


@pytest.fixture(scope="session")
def demo_units(rulebook: Rulebook, demo_lines: Mapping[str, tuple[bytes, ...]]) -> dict[tuple[str, str], Setup]:
    """The demo fleet's setups by crop and unit."""
    return {
        (crop, json.loads(line)["unit"]["id"]): read_setup(line, "demo", rulebook)
        for crop, lines in demo_lines.items()
        for line in lines
    }


@pytest.fixture(scope="session")
def legal(planner: Planner) -> Callable[[str, str], Setup]:
    """A setup of a card that is right for a crop, by card and crop; each is made once."""
    made: dict[tuple[str, str], Setup] = {}

    def setup(card: str, crop: str) -> Setup:
        if (card, crop) not in made:
            made[card, crop] = planner.legal_setup(card, crop, "", (), never)
        return made[card, crop]

    return setup
