"""A setup that is in order, to be recorded or spoilt, and a clock that is set by hand."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from api.plan_wire import setup_json
from audit.nouns.proof import Machine
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner

NOW = 1_790_000_000.0
CARD = "axial-single"
BUILDS = (
    ("build.feeder.chain_tensioner", "spring-gauge"), ("build.shoe.stroke", "short"), ("build.unloading.rate", "high"),
)  # fmt: skip


@dataclass
class Clock:
    """A clock that stands until it is turned."""

    at: float = NOW

    def __call__(self) -> float:
        return self.at


def legal_setup(rulebook: Rulebook, crop: str = "corn") -> dict[str, Any]:
    """A setup of ``CARD`` that keeps every rule, as JSON; of the unit only its card and what is fitted.

    It is worked out once a process, and whoever asks gets a copy of their own.
    """
    made = rulebook.digest, crop
    if made not in _texts:
        _texts[made] = json.dumps(_worked_out(rulebook, crop))
    found: dict[str, Any] = json.loads(_texts[made])
    return found


_texts: dict[tuple[str, str], str] = {}


def _worked_out(rulebook: Rulebook, crop: str) -> dict[str, Any]:
    found = Planner(rulebook).legal_setup(CARD, crop, "", BUILDS, lambda: False)
    plain = setup_json(Machine(CARD, BUILDS, crop, found.header_kind), found.values, rulebook)
    sections = {name: plain[name] for name in ("job", "settings", "readings", "events")}
    return {"unit": {"card": CARD, "fitted": plain["unit"]["fitted"]}, **sections}
