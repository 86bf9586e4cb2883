"""Units and the numbers people write: '5/32 in', '1 1/4"', '310 r/min', '3,5 mm', '18 %'.

Each dimension has one canonical unit in which the whole engine computes. Factors are exact by definition
(international yard and pound, 1959; standard gravity) unless noted.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from audit.nearest import nearest


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a dimension: canonical = value × factor + offset."""

    dimension: str
    factor: float
    offset: float = 0.0


_IN = 25.4
_FT = 304.8
_LB = 0.45359237
_ACRE = 0.40468564224
_LBF = 4.4482216152605
_KGF = 9.80665

# dimension: canonical unit first, then the others with their factor to it.
_TABLE: dict[str, dict[str, float]] = {
    "length": {"mm": 1, "cm": 10, "m": 1000, "in": _IN, "ft": _FT},
    "speed": {"m/s": 1, "km/h": 1 / 3.6, "mph": 0.44704, "ft/min": 0.00508, "m/min": 1 / 60},
    "rotation": {"r/min": 1},
    "force": {"N": 1, "kN": 1000, "lbf": _LBF, "kgf": _KGF},
    "temperature": {"degC": 1},
    "temperature rise": {"K": 1, "degC": 1, "degF": 5 / 9},
    "mass": {"kg": 1, "g": 0.001, "t": 1000, "lb": _LB},
    "mass per length": {"kg/m": 1, "lb/ft": _LB / 0.3048},
    "area": {"ha": 1, "ac": _ACRE, "m2": 1e-4},
    "mass per area": {"kg/ha": 1, "t/ha": 1000, "lb/ac": _LB / _ACRE},
    "bushels per area": {"bu/ac": 1},
    "count per area": {"1/m2": 1, "1/ft2": 1 / 0.3048**2},
    "count per mass": {"1/kg": 1, "1/lb": 1 / _LB},
    "bushel weight": {"kg/bu": 1, "lb/bu": _LB},
    "area per time": {"ha/h": 1, "ac/h": _ACRE},
    "mass per time": {"kg/h": 1, "t/h": 1000},
    "share": {"%": 1},
    "angle": {"deg": 1, "rad": 180 / math.pi},
    "power": {"kW": 1, "hp": 0.74569987158227},
    "torque": {"N m": 1, "lbf ft": _LBF * 0.3048},
    "time": {"h": 1, "min": 1 / 60, "s": 1 / 3600, "d": 24},
    "count": {"1": 1},
}

CANONICAL: dict[str, str] = {dimension: next(iter(units)) for dimension, units in _TABLE.items()}

_BY_DIMENSION: dict[str, dict[str, Unit]] = {
    dimension: {name: Unit(dimension, float(factor)) for name, factor in units.items()}
    for dimension, units in _TABLE.items()
}
_BY_DIMENSION["temperature"]["degF"] = Unit("temperature", 5 / 9, -160 / 9)

_DIMENSION: dict[str, str] = {}
for _dimension, _units in _BY_DIMENSION.items():
    for _name in _units:
        _DIMENSION.setdefault(_name, _dimension)

_SPELLINGS = {
    '"': "in", "″": "in", "inch": "in", "inches": "in", "'": "ft", "foot": "ft", "feet": "ft",
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "rpm": "r/min", "RPM": "r/min", "rev/min": "r/min", "1/min": "r/min", "min-1": "r/min", "U/min": "r/min",
    "kmh": "km/h", "kph": "km/h", "km/hr": "km/h", "mi/h": "mph", "fpm": "ft/min",
    "°C": "degC", "C": "degC", "°F": "degF", "F": "degF", "lbs": "lb", "Nm": "N m", "N·m": "N m", "lb ft": "lbf ft",
    "percent": "%", "per cent": "%", "deg.": "deg", "°": "deg",
    "acre": "ac", "acres": "ac", "hectare": "ha", "hectares": "ha",
    "hour": "h", "hours": "h", "hr": "h", "hrs": "h", "minutes": "min", "seconds": "s", "day": "d", "days": "d",
    "1/m²": "1/m2", "/m2": "1/m2", "/m²": "1/m2", "1/ft²": "1/ft2", "/ft2": "1/ft2", "/ft²": "1/ft2",
    "per m2": "1/m2", "per ft2": "1/ft2", "per sq ft": "1/ft2", "m²": "m2",
    "/kg": "1/kg", "per kg": "1/kg", "/lb": "1/lb", "per lb": "1/lb", "bu/acre": "bu/ac",
}  # fmt: skip

_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+−])?\s*
        (?: (?P<whole>\d+)[\s-]+(?P<num>\d+)\s*/\s*(?P<den>\d+)      # 1 1/4   1-1/4
          | (?P<num2>\d+)\s*/\s*(?P<den2>\d+)(?!\d)                  # 5/32
          | (?P<decimal>\d+(?:[.,]\d+)?(?:[eE][-+]?\d{1,3})?|[.,]\d+)
        )\s*(?P<unit>.*?)\s*$""",
    re.VERBOSE | re.DOTALL,
)


MOST_LONG = 80
"""Most characters of a written quantity. Reading takes time by the square of the blanks, and digits by the thousand
are no measurement."""


class Unreadable(ValueError):
    """A value that cannot be read; the message says what is wrong and what to write."""


def dimension_of(unit: str) -> str:
    """Dimension of a unit by its table name. Raises KeyError for an unknown unit."""
    return _DIMENSION[unit]


def known_units(dimension: str) -> tuple[str, ...]:
    return tuple(_BY_DIMENSION[dimension])


def find_unit(text: str, dimension: str) -> Unit:
    """The unit written as ``text`` in a dimension. Raises Unreadable with the units that would do."""
    name = _SPELLINGS.get(text, text)
    unit = _BY_DIMENSION[dimension].get(name)
    if unit is not None:
        return unit
    units = ", ".join(known_units(dimension))
    if name in _DIMENSION:
        raise Unreadable(
            f"'{_shown(text)}' is a unit of {_DIMENSION[name]}, a {dimension} is wanted; write one of: {units}."
        )
    close = nearest(text, [*known_units(dimension), *(s for s in _SPELLINGS if len(s) > 2)])
    hint = f" Did you mean '{close}'?" if close else ""
    raise Unreadable(f"unknown unit '{_shown(text)}'; write one of: {units}.{hint}")


def to_canonical(value: float, unit: str, dimension: str) -> float:
    """Convert to the dimension's canonical unit."""
    found = find_unit(unit, dimension)
    return value * found.factor + found.offset


def from_canonical(value: float, unit: str) -> float:
    """Convert from the canonical unit of the unit's dimension."""
    found = _BY_DIMENSION[_DIMENSION[unit]][unit]
    return (value - found.offset) / found.factor


@lru_cache(maxsize=4096)
def split_number(text: str) -> tuple[float, str]:
    """Split '5/32 in' into 0.15625 and 'in'. The unit may be empty. Raises Unreadable."""
    if len(text) > MOST_LONG:
        raise Unreadable(f"'{_shown(text)}' is too long to be a measurement.")
    spelled = "".join(
        f" {unicodedata.normalize('NFKC', sign).replace('⁄', '/')}"
        if unicodedata.decomposition(sign).startswith("<fraction>")
        else sign
        for sign in text
    )
    found = _NUMBER.match(spelled)
    if not found:
        raise Unreadable(f"'{_shown(text)}' is not a number with a unit; write for example '12.5 mm' or '5/32 in'.")
    decimal = found["decimal"]
    if decimal is not None:
        whole, _, rest = decimal.partition(",")
        if len(rest) == 3 and whole not in ("", "0"):
            raise Unreadable(
                f"'{_shown(text)}' can be read as {whole}{rest} or as {whole}.{rest}; write it without the comma."
            )
        value = float(decimal.replace(",", "."))
    else:
        over = int(found["den"] or found["den2"])
        if over == 0:
            raise Unreadable(f"'{_shown(text)}' divides by zero.")
        value = int(found["whole"] or 0) + int(found["num"] or found["num2"]) / over
    if found["sign"] in ("-", "−"):
        value = -value
    if not math.isfinite(value):
        raise Unreadable(f"'{_shown(text)}' is too large to be a measurement.")
    unit = " ".join(found["unit"].split())
    if unit and (unit[0].isdigit() or unit[0] in ",.") and unit not in _DIMENSION and unit not in _SPELLINGS:
        raise Unreadable(f"'{_shown(text)}' is not one number with a unit; write for example '1250 mm' or '1 1/4 in'.")
    return value, unit


def read_quantity(text: str, dimension: str, bare_unit: str = "") -> float:
    """A written quantity in canonical units.

    Args:
        text: number and unit.
        dimension: what it must measure.
        bare_unit: unit of a number written without one; '' refuses such a number.

    Raises:
        Unreadable: not a number, no unit where one is needed, unknown unit, unit of another dimension.
    """
    value, unit = split_number(text)
    if not unit:
        if not bare_unit:
            raise Unreadable(f"'{_shown(text)}' has no unit; write one of: {', '.join(known_units(dimension))}.")
        unit = bare_unit
    return to_canonical(value, unit, dimension)


def show(value: float, unit: str) -> str:
    """A canonical value written in ``unit`` for a reader: inches as fractions where they are whole 64ths."""
    written = from_canonical(value, unit)
    if unit == "in" and abs(written) < 100:
        sixty_fourths = written * 64
        if abs(sixty_fourths - round(sixty_fourths)) < 1e-6:
            return f"{_fraction(round(sixty_fourths))} in"
    text = _plain(written)
    return text if unit in ("", "1") else f"{text} {SIGNS.get(unit, unit)}"


SIGNS = {"degC": "°C", "degF": "°F", "deg": "°", "1/m2": "/m²", "1/ft2": "/ft²", "m2": "m²"}


def _fraction(sixty_fourths: int) -> str:
    sign, size = ("-" if sixty_fourths < 0 else ""), abs(sixty_fourths)
    whole, rest = divmod(size, 64)
    if not rest:
        return f"{sign}{whole}"
    common = math.gcd(rest, 64)
    part = f"{rest // common}/{64 // common}"
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def _plain(value: float) -> str:
    if value == 0:
        return "0"
    digits = max(0, 3 - math.floor(math.log10(abs(value))) - 1) if abs(value) < 1000 else 0
    text = f"{value:.{min(digits, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _shown(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
