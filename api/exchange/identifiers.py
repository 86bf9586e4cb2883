"""Identities of machines as they are compared, and serial numbers in order.

A PIN (ISO 10261) or VIN (ISO 3779) has 17 characters without I, O and Q, and stands for one machine in the world. A
serial means something only beside its maker and type. The NAME of ISO 11783 belongs to a device that may be moved, an
id of another system to its record, and a fleet number is its owner's word: none of these proves anything.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from api.exchange.reading import names
from api.exchange.reading.nouns import ReadUnit, Scheme

PROOF = frozenset({Scheme.PIN, Scheme.SERIAL})
"""Schemes of which one that is equal proves the machine."""
_PIN = re.compile(r"[A-HJ-NPR-Z0-9]{17}")
_FRAMES = re.compile(r"[\s*\-]")
"""What stands between or around a PIN's characters on plates and in files, and is no part of it (common practice)."""
_NO_SERIALS = frozenset({"UNKNOWN", "NONE", "NULL", "NA", "N/A", "TBD", "TEST", "NOTSET", "DEFAULT"})
_SHORTEST = 4
_DIGITS = re.compile(r"(.*?)(\d+)")


@dataclass(frozen=True, slots=True)
class Claim:
    """What a file says that a machine is.

    Attributes:
        issuer: within what the value is unique.   value: as it is compared, ``shown``: as it was written.
    """

    scheme: Scheme
    issuer: str
    value: str
    shown: str


def claims(unit: ReadUnit, source: str) -> tuple[list[Claim], list[str]]:
    """Every identity that a read unit claims, the surest first, and what could not be used, in words.

    Args:
        source: where the file comes from; fleet numbers are unique within it.
    """
    found: list[Claim] = []
    said: list[str] = []
    if unit.pin:
        pin = _FRAMES.sub("", unit.pin.upper())
        if _PIN.fullmatch(pin) and len(set(pin)) > 1:
            found.append(Claim(Scheme.PIN, "", pin, unit.pin))
        else:
            hint = "; I, O and Q stand for 1 and 0 on no plate" if re.search("[IOQ]", pin) else ""
            said.append(f"'{unit.pin[:40]}' is no PIN (17 letters and digits{hint}); it proves nothing")
    if unit.serial:
        serial, series = (
            key(unit.serial),
            unit.series or (f"{unit.maker}, {unit.type}" if unit.maker and unit.type else ""),
        )
        if not series:
            said.append(f"serial '{unit.serial[:40]}' has no maker and type beside it; it proves nothing")
        elif len(serial) < _SHORTEST or len(set(serial)) == 1 or serial.upper() in _NO_SERIALS:
            said.append(f"serial '{unit.serial[:40]}' is a placeholder; it proves nothing")
        else:
            found.append(Claim(Scheme.SERIAL, key(series), serial, unit.serial))
    if unit.isobus_name:
        if names.decode(unit.isobus_name) is None:
            said.append(f"'{unit.isobus_name[:40]}' is no NAME of ISO 11783 (16 hexadecimal digits)")
        else:
            found.append(Claim(Scheme.ISOBUS_NAME, "", unit.isobus_name.upper(), unit.isobus_name))
    for one in unit.system_ids:
        found.append(Claim(Scheme.SYSTEM_ID, key(one.issuer), key(one.value), one.value))
    if unit.fleet_number:
        found.append(Claim(Scheme.FLEET_NUMBER, key(source), key(unit.fleet_number), unit.fleet_number))
    return found, said


def key(text: str) -> str:
    """A text as it is compared: case, blanks and the way accents are written are of no account."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def in_range(serial: str, first: str, last: str) -> bool | None:
    """Whether a serial lies between two, both inclusive and '' for no limit; None where that can't be decided.

    Serials have an order only within one series: the same letters before as many digits.
    """
    if not first and not last:
        return True
    own = _DIGITS.fullmatch(key(serial))
    answers: list[bool | None] = []
    for limit, above in ((first, True), (last, False)):
        if not limit:
            continue
        other = _DIGITS.fullmatch(key(limit))
        if own is None or other is None or own[1] != other[1] or len(own[2]) != len(other[2]):
            return None
        answers.append(int(own[2]) >= int(other[2]) if above else int(own[2]) <= int(other[2]))
    return all(answers)
