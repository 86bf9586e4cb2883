"""Setups of one made-up unit, read the same way as anyone's."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from audit.auditor import Auditor
from audit.history.unit import history_of
from audit.intake.setups import read_setup
from audit.nouns.history import DueItem, History, Trend
from audit.nouns.setup import Setup

START = datetime(2024, 7, 1, 8, tzinfo=UTC)


def moment(day: float) -> str:
    """A date and time, so many days after the first."""
    return (START + timedelta(days=day)).isoformat()


def seconds(day: float) -> float:
    """The same in seconds since 1970."""
    return (START + timedelta(days=day)).timestamp()


@dataclass(frozen=True, slots=True)
class Unit:
    """Makes setups of one unit and reads its history. ``base``: what every setup starts from, as JSON."""

    auditor: Auditor
    base: Mapping[str, Any]

    def text(
        self, day: float | None, hours: float | None, state: str = "as-found", crop: str = "corn",
        settings: Mapping[str, Any] | None = None, events: Mapping[str, float] | None = None, **readings: Any,
    ) -> bytes:  # fmt: skip
        """A setup as JSON; readings by name, ``__`` for the dot; events by the day on which they were recorded."""
        made = dict(self.base)
        made["unit"] = {**made["unit"]} | ({} if hours is None else {"engine_hours": hours})
        made["job"] = {**made["job"], "crop": crop}
        made["taken"] = {"state": state} | ({} if day is None else {"at": moment(day)})
        made["settings"] = {**made.get("settings", {}), **(settings or {})}
        named = {name.replace("__", "."): value for name, value in readings.items()}
        made["readings"] = {**made.get("readings", {}), **named}
        made["events"] = {name: moment(at) for name, at in (events or {}).items()}
        return json.dumps(made).encode()

    def setup(self, *args: Any, **kwargs: Any) -> Setup:
        """The same, read."""
        return read_setup(self.text(*args, **kwargs), "setup", self.auditor.rulebook)

    def history(self, setups: Sequence[Setup], day: float = 2000.0, engine_hours: float | None = None) -> History:
        """The history as of a day."""
        return history_of(self.auditor.rulebook, self.auditor.sheet, setups, seconds(day), engine_hours)


def trend(history: History, quantity: str, side: str = "") -> Trend:
    """The one trend of a quantity and side."""
    (found,) = [t for t in history.trends if (t.quantity, t.side) == (quantity, side)]
    return found


def due(history: History, procedure: str, on: str = "") -> DueItem:
    """The one due item of a procedure on a component."""
    (found,) = [item for item in history.due if (item.procedure, item.on) == (procedure, on)]
    return found
