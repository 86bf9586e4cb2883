"""A read machine as JSON, and back: rows that wait for an answer are kept as they were read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from api.exchange.reading.nouns import HourReading, MachineFault, MachineValue, ReadUnit, Role, SystemId


def plain_unit(one: ReadUnit) -> dict[str, Any]:
    """A read unit for JSON."""
    found = asdict(one)
    found["values"] = [{**asdict(value), "role": value.role.value} for value in one.values]
    found["faults"], found["system_ids"] = list(found["faults"]), list(found["system_ids"])
    return found


def read_again(plain: Mapping[str, Any]) -> ReadUnit:
    """The read unit of ``plain_unit``."""
    hours = plain["hours"]
    values = tuple(MachineValue(**{**one, "role": Role(one["role"])}) for one in plain["values"])
    faults = tuple(MachineFault(**one) for one in plain.get("faults", ()))
    ids = tuple(SystemId(**one) for one in plain.get("system_ids", ()))
    heard = None if hours is None else HourReading(**hours)
    return ReadUnit(**{**plain, "hours": heard, "values": values, "faults": faults, "system_ids": ids})
