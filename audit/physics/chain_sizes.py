"""Standard roller chains by number: dimensions, least strength and speed limits by lubrication."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from audit.physics.formula import OutOfRange, formula

INCH = 25.4  # mm
FOOT_A_MINUTE = 0.00508  # m/s
NEWTONS_PER_POUND = 4.4482216152605


@dataclass(frozen=True, slots=True)
class ChainSize:
    """One chain of a standard series.

    Attributes:
        pitch: mm.
        roller_diameter: largest diameter of the standard (small) roller, mm.
        inner_width: width between the inner plates, mm.
        min_ultimate: minimum ultimate tensile strength, N.
    """

    pitch: float
    roller_diameter: float
    inner_width: float
    min_ultimate: float


def _inch(pitch: float, roller_diameter: float, inner_width: float, pounds: float) -> ChainSize:
    return ChainSize(pitch * INCH, roller_diameter * INCH, inner_width * INCH, pounds * NEWTONS_PER_POUND)


# ASME B29.1 as printed, in and lbf; then double pitch, ISO 1275 A series (ANSI B29.4 numbers), mm and N.
CHAIN_SIZES: dict[str, ChainSize] = {
    "40": _inch(0.500, 0.312, 0.312, 3125),
    "41": _inch(0.500, 0.306, 0.250, 1500),
    "50": _inch(0.625, 0.400, 0.375, 4880),
    "60": _inch(0.750, 0.469, 0.500, 7030),
    "80": _inch(1.000, 0.625, 0.625, 12500),
    "100": _inch(1.250, 0.750, 0.750, 19530),
    "120": _inch(1.500, 0.875, 1.000, 28125),
    "140": _inch(1.750, 1.000, 1.000, 38280),
    "160": _inch(2.000, 1.125, 1.250, 50000),
    "2040": ChainSize(25.40, 7.95, 7.85, 14_100),
    "2050": ChainSize(31.75, 10.16, 9.40, 22_200),
    "2060": ChainSize(38.10, 11.91, 12.57, 31_800),
    "2080": ChainSize(50.80, 15.88, 15.75, 56_700),
    "2100": ChainSize(63.50, 19.05, 18.90, 88_500),
    "2120": ChainSize(76.20, 22.23, 25.22, 127_000),
}

# Pitch, mm, of agricultural conveyor chains. All from memory: check against the chain itself.
AGRICULTURAL_PITCH: dict[str, float] = {
    "CA550": 41.40,
    "CA555": 41.40,
    "CA557": 41.40,
    "CA620": 42.01,
    "CA2050": 31.75,
    "CA2060H": 38.10,
}

# Number: fastest chain with manual lubrication, with an oil bath, ft/min.
SPEED_LIMIT: dict[str, tuple[float, float]] = {
    "40": (300, 2300),
    "50": (250, 2000),
    "60": (220, 1800),
    "80": (170, 1500),
    "100": (150, 1300),
    "120": (130, 1200),
    "140": (115, 1100),
    "160": (100, 1000),
}


def _unknown(number: str, known: Iterable[str]) -> str:
    return f"number is {number!r}; this formula holds for {', '.join(known)}"


def _size(number: str) -> ChainSize:
    size = CHAIN_SIZES.get(number)
    if size is None:
        raise OutOfRange(_unknown(number, CHAIN_SIZES))
    return size


def _limit(number: str, column: int) -> float:
    row = SPEED_LIMIT.get(number)
    if row is None:
        raise OutOfRange(_unknown(number, SPEED_LIMIT))
    return row[column] * FOOT_A_MINUTE


@formula(name="Chain pitch", equation="table of chain numbers", unit="mm", source="asme-b29-1")
def chain_pitch(number: str) -> float:
    """Pitch of a standard roller chain.

    In numbers 40 to 160 the digits before the last are eighths of an inch; 20xx has twice the pitch of xx.

    Args:
        number: '40' to '160', or double pitch '2040' to '2120'.
    Returns: pitch, mm.
    Raises: OutOfRange: a number that the tables do not hold.
    Source: ASME B29.1 series table; double pitch: ISO 1275 A series table.
    Worked example, No. 80 (eight eighths: one inch):
        >>> chain_pitch("80"), chain_pitch("2080")
        (25.4, 50.8)
    """
    return _size(number).pitch


@formula(name="Chain roller diameter", equation="table of chain numbers", unit="mm", source="asme-b29-1")
def roller_diameter(number: str) -> float:
    """Largest roller diameter of a standard roller chain.

    Args:
        number: '40' to '160', or double pitch '2040' to '2120' (standard, not large, rollers).
    Returns: roller diameter, mm.
    Raises: OutOfRange: a number that the tables do not hold.
    Source: ASME B29.1 series table; double pitch: ISO 1275 A series table.
    Worked example, No. 60 (0.469 in):
        >>> round(roller_diameter("60"), 2)
        11.91
    """
    return _size(number).roller_diameter


@formula(name="Chain inner width", equation="table of chain numbers", unit="mm", source="asme-b29-1")
def inner_width(number: str) -> float:
    """Width between the inner plates of a standard roller chain.

    Args:
        number: '40' to '160', or double pitch '2040' to '2120'.
    Returns: inner width, mm.
    Raises: OutOfRange: a number that the tables do not hold.
    Source: ASME B29.1 series table; double pitch: ISO 1275 A series table.
    Worked example, No. 50 (0.375 in, 9.53 mm):
        >>> round(inner_width("50"), 3)
        9.525
    """
    return _size(number).inner_width


@formula(name="Chain minimum strength", equation="table of chain numbers", unit="N", source="asme-b29-1")
def min_ultimate(number: str) -> float:
    """Minimum ultimate tensile strength of a standard single-strand roller chain.

    Args:
        number: '40' to '160', or double pitch '2040' to '2120'.
    Returns: strength, N.
    Raises: OutOfRange: a number that the tables do not hold.
    Source: ASME B29.1 series table; double pitch: ISO 1275 A series table.
    Worked example, No. 80 (12 500 lbf, 55.6 kN):
        >>> round(min_ultimate("80") / 1000.0, 1)
        55.6
    """
    return _size(number).min_ultimate


@formula(name="Agricultural chain pitch", equation="table of chain numbers", unit="mm", source="memory")
def agricultural_pitch(number: str) -> float:
    """Pitch of an agricultural conveyor (CA) chain. From memory; measure the chain before relying on it.

    Args:
        number: CA550, CA555, CA557, CA620, CA2050 or CA2060H.
    Returns: pitch, mm.
    Raises: OutOfRange: a number that the table does not hold.
    Source: memory. A web page prints 0.625 in for CA550, which is the pitch of No. 50.
    Worked example, CA550, remembered as 1.630 in:
        >>> round(agricultural_pitch("CA550") / 25.4, 2)
        1.63
    """
    pitch = AGRICULTURAL_PITCH.get(number)
    if pitch is None:
        raise OutOfRange(_unknown(number, AGRICULTURAL_PITCH))
    return pitch


@formula(
    name="Chain speed limit, manual lubrication",
    equation="table of chain numbers",
    unit="m/s",
    source="chain-performance",
)
def manual_speed_limit(number: str) -> float:
    """Fastest chain for which brush or oil-can lubrication (about every 8 h) is enough.

    Args:
        number: '40' to '160', without '41'.
    Returns: chain speed, m/s.
    Raises: OutOfRange: a number that the table does not hold.
    Source: Better chain performance. Contested: another text allows 600 ft/min for all sizes.
    Worked example, No. 60 (220 ft/min):
        >>> round(manual_speed_limit("60") / 0.00508, 6)
        220.0
    """
    return _limit(number, 0)


@formula(
    name="Chain speed limit, oil bath",
    equation="table of chain numbers",
    unit="m/s",
    source="chain-performance",
)
def bath_speed_limit(number: str) -> float:
    """Fastest chain for which an oil bath is enough; beyond it oil must be pumped.

    Args:
        number: '40' to '160', without '41'.
    Returns: chain speed, m/s.
    Raises: OutOfRange: a number that the table does not hold.
    Source: Better chain performance.
    Worked example, No. 60 (1800 ft/min):
        >>> round(bath_speed_limit("60") / 0.00508, 6)
        1800.0
    """
    return _limit(number, 1)
