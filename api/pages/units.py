"""Measures in the units that a reader wants, wherever they stand in a text that the audit composed."""

from __future__ import annotations

import re
from functools import cache

from audit.measures import SIGNS, dimension_of, show, split_number, to_canonical

US = {
    "mm": "in", "cm": "in", "m": "ft", "km/h": "mph", "m/s": "ft/min", "m/min": "ft/min", "N": "lbf", "kN": "lbf",
    "degC": "degF", "g": "lb", "kg": "lb", "t": "lb", "kg/m": "lb/ft", "ha": "ac",
    "kg/ha": "lb/ac", "t/ha": "lb/ac", "1/m2": "1/ft2", "1/kg": "1/lb", "kg/bu": "lb/bu", "ha/h": "ac/h",
    "kW": "hp", "N m": "lbf ft",
}  # fmt: skip
"""A mass in time has no US unit here, so it stays."""
SI = {
    "in": "mm", "ft": "m", "mph": "km/h", "ft/min": "m/s", "lbf": "N", "kgf": "N", "degF": "degC", "lb": "kg",
    "lb/ft": "kg/m", "ac": "ha", "lb/ac": "kg/ha", "1/ft2": "1/m2", "1/lb": "1/kg", "lb/bu": "kg/bu", "ac/h": "ha/h",
    "hp": "kW", "lbf ft": "N m",
}  # fmt: skip
INTO: dict[str, dict[str, str]] = {"card": {}, "us": US, "si": SI}
"""Unit by unit, by the system that a reader chose: as the machine card states them, US customary, SI."""
UNITS = tuple(INTO)

_NUMBER = r"-?\d+(?: \d+/\d+|/\d+|\.\d+)?"


_TWICE = re.compile(rf"{_NUMBER} (\S+) \(({_NUMBER} \1)\)")
"""A limit in the shown unit and as its author wrote it, once both are in the same unit; the author's stays."""


def measured(text: str, system: str, sign: str = ".") -> str:
    """A text with its measures in a system of units and its numbers with a decimal sign.

    Args:
        system: key of INTO.   sign: '.' or ','.
    """
    found = _measures().sub(lambda match: _one(match[1], match[2], system), text)
    found = _TWICE.sub(r"\2", found)
    return found if sign == "." else re.sub(r"(?<=\d)\.(?=\d)", sign, found)


def _one(number: str, written: str, system: str) -> str:
    unit = _units()[written]
    into = INTO[system].get(unit)
    if into is None:
        return f"{number} {written}"
    dimension = dimension_of(unit)
    return show(to_canonical(split_number(number)[0], unit, dimension), into)


@cache
def _units() -> dict[str, str]:
    """Every unit that converts, by how it is written."""
    known = {*US, *SI}
    return {**{unit: unit for unit in known}, **{SIGNS[unit]: unit for unit in known if unit in SIGNS}}


@cache
def _measures() -> re.Pattern[str]:
    written = "|".join(re.escape(one) for one in sorted(_units(), key=len, reverse=True))
    return re.compile(rf"(?<![\w.,/])({_NUMBER}) ({written})(?![\w/²])")
