"""The 64-bit NAME by which a device on an ISO 11783 bus says what it is.

Fields by their bits: ISO 11783-5, as printed in the public documentation of open implementations. Bit 0 is the lowest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

AGRICULTURE = 2
"""Industry group of agricultural and forestry machines."""
HARVESTER = 7
"""Device class of harvesters; in other industry groups the number means something else."""
_HEX = re.compile(r"[0-9A-Fa-f]{16}")
_FIELDS = {
    "identity_number": (0, 21), "manufacturer_code": (21, 11), "ecu_instance": (32, 3), "function_instance": (35, 5),
    "function": (40, 8), "device_class": (49, 7), "device_class_instance": (56, 4), "industry_group": (60, 3),
    "self_configurable": (63, 1),
}  # fmt: skip
"""Lowest bit and width; bit 48 is reserved."""


@dataclass(frozen=True, slots=True)
class Name:
    """A NAME's fields."""

    identity_number: int
    manufacturer_code: int
    ecu_instance: int
    function_instance: int
    function: int
    device_class: int
    device_class_instance: int
    industry_group: int
    self_configurable: int

    def is_harvester(self) -> bool:
        """Whether it is a harvester's; group and class both count."""
        return self.industry_group == AGRICULTURE and self.device_class == HARVESTER


def decode(text: str) -> Name | None:
    """The fields of a NAME of 16 hexadecimal digits, most significant byte first; None for anything else."""
    if not _HEX.fullmatch(text):
        return None
    number = int(text, 16)
    return Name(**{name: number >> low & (1 << width) - 1 for name, (low, width) in _FIELDS.items()})


def matches(name: str, value: str, mask: str) -> bool:
    """Whether a NAME is one that an allocation with a mask means: both are the same where the mask has ones."""
    if not all(_HEX.fullmatch(one) for one in (name, value, mask)):
        return False
    bits = int(mask, 16)
    return int(name, 16) & bits == int(value, 16) & bits


def means_harvesters(value: str, mask: str) -> bool:
    """Whether an allocation with a mask means harvesters and nothing else, so that any combine may be meant."""
    wanted = (0b111 << 60) | (0b1111111 << 49)
    if not all(_HEX.fullmatch(one) for one in (value, mask)) or int(mask, 16) & wanted != wanted:
        return False
    found = decode(value)
    return found is not None and found.is_harvester()
