"""Codes by which settings of a combine travel in ADAPT documents, as they are written and as they are read.

The standard has no word for them and leaves them to definitions of one's own (``customDataTypeDefinitions``). So the
last part of a code says which setting it is, whoever wrote the document; what stands before names the writer and place.
"""

from __future__ import annotations

from types import MappingProxyType

WORDS = MappingProxyType(
    {
        "CONCAVE_CLEARANCE": "concave_gap",
        "CHAFFER_CLEARANCE": "chaffer",
        "SIEVE_CLEARANCE": "sieve",
        "FAN_SPEED": "fan_speed",
    }
)
"""Quantity by the last part of a definition's code."""
_OF = {quantity: word for word, quantity in WORDS.items()}
OWN = "INTERNAL.SETUP_AUDIT."
"""What codes of our own definitions begin with."""


def code_of(name: str, side: str = "") -> str:
    """The code of a setting's definition: ``INTERNAL.SETUP_AUDIT.ROTOR_LEFT.CONCAVE_CLEARANCE``.

    Args:
        name: of the setting, ``rotor.concave_gap``.   side: '' for the whole.
    """
    place, _, quantity = name.rpartition(".")
    word = _OF.get(quantity)
    parts = [part for part in (*place.split("."), "" if word else quantity, side) if part]
    return OWN + ".".join(filter(None, ("_".join(parts).upper().replace("-", "_"), word)))


def quantity_of(code: str) -> str | None:
    """The quantity that a definition's code stands for, None for one that is not known."""
    return WORDS.get(code.rpartition(".")[2])
