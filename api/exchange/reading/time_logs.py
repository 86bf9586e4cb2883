"""Binary time logs of ISO 11783-10: the last value of each process variable that is asked for, and when it was.

A log is a template in XML (one TIM with a PTN for positions and a DLV for each variable) beside a binary file of
records: time of day in ms (uint32), days since 1980-01-01 (uint16), those fields of the position that are empty in the
template, then a count (uint8) of pairs of variable (uint8) and value (int32). All little-endian: that and the order of
fields is as open implementations have it, and a test holds it to what one of them reads. The clock is the machine's,
local; where the position has the time of the satellites beside it (day and time of day, in UTC), that is taken.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from lxml import etree

from api.exchange.reading.dictionary import code
from api.exchange.reading.xml_text import children

FIRST_DAY = 315_532_800
"""1980-01-01 in s since 1970."""
_DAY_MS = 86_400_000
_POSITION = {"A": 4, "B": 4, "C": 4, "D": 1, "E": 2, "F": 2, "G": 1, "H": 4, "I": 2}
"""Bytes of each field of a position: north, east, up, status, PDOP, HDOP, satellites, time of day, day."""
_TIME = struct.Struct("<IH")
_PAIR = struct.Struct("<Bi")


@dataclass(frozen=True, slots=True)
class Logged:
    """The last value of a variable.

    Attributes:
        element: the device element that said so.   value: as on the bus, whole steps.
        shown: by the machine's clock.   utc: by the satellites, s since 1970; None for not known.
    """

    entry: int
    element: str
    value: int
    shown: datetime
    utc: float | None


@dataclass(frozen=True, slots=True)
class Template:
    """What a record holds: bytes of its position, where in them UTC stands, and entry and element of each variable."""

    position: int
    utc: int | None
    variables: tuple[tuple[int | None, str], ...]


def read_template(root: etree._Element) -> Template:
    """The template of a log's records. Raises ValueError."""
    times = [root] if root.tag == "TIM" else [one for one in root.iter() if one.tag == "TIM"]
    if len(times) != 1:
        raise ValueError("its template has no single TIM")
    fields = [name for one in children(times[0], "PTN") for name in _POSITION if one.get(name) == ""]
    position = sum(_POSITION[name] for name in fields)
    utc = position - _TIME.size if fields[-2:] == ["H", "I"] else None
    variables = tuple((code(one.get("A") or ""), one.get("C") or "") for one in children(times[0], "DLV"))
    return Template(position, utc, variables)


def last_values(template: Template, content: bytes, wanted: Mapping[int, object]) -> tuple[list[Logged], str]:
    """The last value of every wanted variable, and what is wrong with the log, '' for nothing.

    A log that breaks off is good up to there: machines are switched off in the middle of a record.
    """
    found: dict[int, tuple[int, float, float | None]] = {}
    at, end, said = 0, len(content), ""
    of_interest = {number for number, (entry, _) in enumerate(template.variables) if entry in wanted}
    while at < end:
        start = at + _TIME.size + template.position
        if start >= end:
            said = "its last record is not whole"
            break
        clock, day = _TIME.unpack_from(content, at)
        count = content[start]
        after = start + 1 + count * _PAIR.size
        if after > end:
            said = "its last record is not whole"
            break
        if clock >= _DAY_MS:
            said = f"the record at byte {at} has a time past midnight, so the rest is not read"
            break
        taken = FIRST_DAY + day * 86_400 + clock / 1000
        utc = None if template.utc is None else _utc(*_TIME.unpack_from(content, at + _TIME.size + template.utc))
        for number, value in _PAIR.iter_unpack(content[start + 1 : after]):
            if number >= len(template.variables):
                said = f"the record at byte {at} has a variable that the template does not name"
            elif number in of_interest and (number not in found or found[number][1] <= taken):
                found[number] = value, taken, utc
        at = after
    logged = []
    for number, (value, taken, utc) in sorted(found.items()):
        entry, element = template.variables[number]
        if entry is not None:
            shown = datetime.fromtimestamp(taken, UTC).replace(tzinfo=None)
            logged.append(Logged(entry, element, value, shown, utc))
    return logged, said


def _utc(clock: int, day: int) -> float | None:
    """Time of the satellites, s since 1970; None for a placeholder (all bits set, or none) or what is no time."""
    return FIRST_DAY + day * 86_400 + clock / 1000 if clock < _DAY_MS and 0 < day < 0xFFFF else None
