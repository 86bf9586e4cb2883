"""Tension of V-belts: the deflection test and its tables, tight and slack side, power, heat and life.

Before any belt is pressed, measured or moved: engine off, key out, everything stopped, guards back on after.
"""

from __future__ import annotations

import math

from audit.physics.formula import OutOfRange, formula, within

NEWTONS_PER_POUND = 4.4482216152605
INCH = 25.4  # mm

# Section: rows of smallest-pulley diameter from, to (mm), test force low, high (N per belt at 16 mm per m).
# Row D comes from a tensioner makers' table with the same test; all others from the one printed table.
TEST_FORCE_BAND: dict[str, tuple[tuple[float, float, float, float], ...]] = {
    "Z": ((56, 100, 5, 7.5),),
    "A": ((80, 140, 10, 15),),
    "B": ((125, 200, 20, 30),),
    "C": ((200, 400, 40, 60),),
    "D": ((355, 600, 70, 105),),
    "SPZ": ((56, 95, 13, 20), (100, 140, 20, 25)),
    "SPA": ((80, 132, 25, 35), (140, 200, 35, 45)),
    "SPB": ((112, 224, 45, 65), (236, 315, 65, 85)),
    "SPC": ((224, 355, 85, 115), (375, 560, 115, 150)),
}

# Section (X = cogged): rows of smallest-sheave diameter from, to (in), speed from, to (r/min), test force
# used, new (lbf per belt at 1/64 in per in). Upper speed rows, printed from 2501, 1741 or 851, begin where
# the lower ones end. AX 5.0 to 7.0 in is printed 5.7 / 9.4: every other row has new about 1.5 times used, so
# 9.4 may be a misprint for 8.4. Kept as printed.
TEST_FORCE_BY_SPEED: dict[str, tuple[tuple[float, float, float, float, float, float], ...]] = {
    "A": (
        (3.0, 3.6, 1000, 2500, 3.7, 5.5),
        (3.0, 3.6, 2500, 4000, 2.8, 4.2),
        (3.8, 4.8, 1000, 2500, 4.5, 6.8),
        (3.8, 4.8, 2500, 4000, 3.8, 5.7),
        (5.0, 7.0, 1000, 2500, 5.4, 8.0),
        (5.0, 7.0, 2500, 4000, 4.7, 7.0),
    ),
    "AX": (
        (3.0, 3.6, 1000, 2500, 4.1, 6.1),
        (3.0, 3.6, 2500, 4000, 3.4, 5.0),
        (3.8, 4.8, 1000, 2500, 5.0, 7.4),
        (3.8, 4.8, 2500, 4000, 4.3, 6.4),
        (5.0, 7.0, 1000, 2500, 5.7, 9.4),
        (5.0, 7.0, 2500, 4000, 5.1, 7.6),
    ),
    "B": (
        (4.4, 5.6, 860, 2500, 5.3, 7.9),
        (4.4, 5.6, 2500, 4000, 4.5, 6.7),
        (5.8, 8.6, 860, 2500, 6.3, 9.4),
        (5.8, 8.6, 2500, 4000, 5.5, 8.2),
    ),
    "BX": (
        (3.4, 4.2, 860, 2500, 4.9, 7.2),
        (4.4, 5.6, 860, 2500, 7.1, 10.5),
        (4.4, 5.6, 2500, 4000, 6.2, 9.1),
        (5.8, 8.6, 860, 2500, 8.5, 12.6),
        (5.8, 8.6, 2500, 4000, 7.3, 10.9),
    ),
    "C": (
        (7.0, 9.0, 500, 1740, 11.5, 17.0),
        (7.0, 9.0, 1740, 3000, 9.4, 13.8),
        (9.5, 16.0, 500, 1740, 14.1, 21.0),
        (9.5, 16.0, 1740, 3000, 12.5, 18.5),
    ),
    "CX": (
        (7.0, 9.0, 500, 1740, 14.7, 21.8),
        (7.0, 9.0, 1740, 3000, 11.9, 17.5),
        (9.5, 16.0, 500, 1740, 15.9, 23.5),
        (9.5, 16.0, 1740, 3000, 14.6, 21.6),
    ),
    "D": (
        (12.0, 16.0, 200, 850, 24.9, 37.0),
        (12.0, 16.0, 850, 1500, 21.2, 31.3),
        (18.0, 20.0, 200, 850, 30.4, 45.2),
        (18.0, 20.0, 850, 1500, 25.6, 38.0),
    ),
}


def _band(section: str, small_diameter: float) -> tuple[float, float]:
    rows = TEST_FORCE_BAND.get(section)
    if rows is None:
        raise OutOfRange(f"section is {section!r}; this formula holds for {', '.join(TEST_FORCE_BAND)}")
    for smallest, largest, low, high in rows:
        if smallest <= small_diameter <= largest:
            return low, high
    ranges = " or ".join(f"from {row[0]:g} to {row[1]:g} mm" for row in rows)
    raise OutOfRange(f"small_diameter is {small_diameter:g} mm; for section {section} this formula holds {ranges}")


def _by_speed(section: str, small_diameter: float, speed: float) -> tuple[float, float]:
    rows = TEST_FORCE_BY_SPEED.get(section)
    if rows is None:
        raise OutOfRange(f"section is {section!r}; this formula holds for {', '.join(TEST_FORCE_BY_SPEED)}")
    inches = small_diameter / INCH
    slack = 0.005  # in: lets a diameter that was rounded to 0.1 mm reach the printed edge
    fitting = [row for row in rows if row[0] - slack <= inches <= row[1] + slack]
    if not fitting:
        ranges = " or ".join(
            f"from {low * INCH:g} to {high * INCH:g} mm" for low, high in dict.fromkeys(row[:2] for row in rows)
        )
        raise OutOfRange(f"small_diameter is {small_diameter:g} mm; for section {section} this formula holds {ranges}")
    within("speed", speed, fitting[0][2], fitting[-1][3], "r/min")
    row = next(row for row in fitting if speed <= row[3])
    return row[4] * NEWTONS_PER_POUND, row[5] * NEWTONS_PER_POUND


@formula(name="Test deflection", equation="q = 0.016 S", unit="mm", source="belt-tension-table", at="p. 7")
def test_deflection(straight: float) -> float:
    """How far the middle of a V-belt's span is pressed in the tension test: 16 mm per metre.

    q = 0.016 S (the inch rule, 1/64 in per in, is 15.625 mm per m)

    Args:
        straight: free span S, mm, from 10 to 20 000. Not the centre distance.
    Returns: deflection q, mm.
    Raises: OutOfRange: straight outside its range.
    Source: belt-tension indicator table, p. 7; inch rule: Power transmission products, 2015, p. 13.
    Worked example, that p. 13 (100 in of span, 1.5625 in; the metric rule gives 1.6):
        >>> round(test_deflection(2540.0) / 25.4, 4)
        1.6
    """
    within("straight", straight, 10.0, 20_000.0, "mm")
    return 0.016 * straight


@formula(
    name="Test force, low",
    equation="table of section and pulley",
    unit="N",
    source="belt-tension-table",
    at="p. 7",
)
def force_low(section: str, small_diameter: float) -> float:
    """Smallest force per belt that should give the test deflection. Less force: the belt is too loose.

    Args:
        section: Z, A, B, C, D, SPZ, SPA, SPB or SPC.
        small_diameter: diameter of the smallest pulley, mm, inside the section's printed rows.
    Returns: force, N per belt, at 16 mm per m of span.
    Raises: OutOfRange: a section or diameter that the table does not hold.
    Source: belt-tension indicator table, p. 7; row D: Tensioner devices, p. 4.11. The US table
        (``force_used``, ``force_new``) asks for up to 2.4 times as much (section A): keep to one table for
        one drive.
    Worked example, the table's row B, 125 to 200 mm (20 to 30 N):
        >>> force_low("B", 160.0)
        20.0
    """
    return float(_band(section, small_diameter)[0])


@formula(
    name="Test force, high",
    equation="table of section and pulley",
    unit="N",
    source="belt-tension-table",
    at="p. 7",
)
def force_high(section: str, small_diameter: float) -> float:
    """Largest force per belt that should give the test deflection; a new belt is set to it.

    Re-check about 30 min after a new belt was fitted, and set it to this value again.

    Args:
        section: Z, A, B, C, D, SPZ, SPA, SPB or SPC.
        small_diameter: diameter of the smallest pulley, mm, inside the section's printed rows.
    Returns: force, N per belt, at 16 mm per m of span.
    Raises: OutOfRange: a section or diameter that the table does not hold.
    Source: belt-tension indicator table, p. 7; row D: Tensioner devices, p. 4.11.
    Worked example, the table's row B, 125 to 200 mm (20 to 30 N):
        >>> force_high("B", 160.0)
        30.0
    """
    return float(_band(section, small_diameter)[1])


@formula(
    name="Test force, used belt (US table)",
    equation="table of section, sheave and speed",
    unit="N",
    source="belt-maintenance-2015",
    at="p. 13, Table 5",
)
def force_used(section: str, small_diameter: float, speed: float) -> float:
    """Force per belt that should give the test deflection on a belt that has run in; inch rule.

    Args:
        section: A, B, C, D, or AX, BX, CX (cogged).
        small_diameter: diameter of the smallest sheave, mm, inside the section's printed rows.
        speed: speed of that sheave, r/min, inside the section's printed rows.
    Returns: force, N per belt, at 1/64 in per in of span.
    Raises: OutOfRange: a section, diameter or speed that the table does not hold.
    Source: Power transmission products: maintenance and troubleshooting, 2015, p. 13, Table 5.
    Worked example, section C, 9.5 to 16 in, 500 to 1740 r/min (14.1 lbf):
        >>> round(force_used("C", 254.0, 1000.0) / 4.44822, 1)
        14.1
    """
    return _by_speed(section, small_diameter, speed)[0]


@formula(
    name="Test force, new belt (US table)",
    equation="table of section, sheave and speed",
    unit="N",
    source="belt-maintenance-2015",
    at="p. 13, Table 5",
)
def force_new(section: str, small_diameter: float, speed: float) -> float:
    """Force per belt that should give the test deflection on a new belt; inch rule.

    Contested: US tables set a new belt about 1.5 times as tight as a used one, European ones 1.25 times.

    Args:
        section: A, B, C, D, or AX, BX, CX (cogged).
        small_diameter: diameter of the smallest sheave, mm, inside the section's printed rows.
        speed: speed of that sheave, r/min, inside the section's printed rows.
    Returns: force, N per belt, at 1/64 in per in of span.
    Raises: OutOfRange: a section, diameter or speed that the table does not hold.
    Source: Power transmission products: maintenance and troubleshooting, 2015, p. 13, Table 5.
    Worked example, section C, 9.5 to 16 in, 500 to 1740 r/min (21.0 lbf):
        >>> round(force_new("C", 254.0, 1000.0) / 4.44822, 1)
        21.0
    """
    return _by_speed(section, small_diameter, speed)[1]


@formula(
    name="Strand tension from the test",
    equation="T = F S / (4 q)",
    unit="N",
    source="definition",
    at="statics",
)
def strand_tension(force: float, straight: float, deflection: float) -> float:
    """Tension in a belt strand that a force at mid-span bends by a small amount.

    T = F S / (4 q)

    The belt's own stiffness is left out: it makes the true tension a little lower.

    Args:
        force: F, N, from 0 to 2000.
        straight: free span S, mm, from 10 to 20 000.
        deflection: q, mm, from S / 1000 to S / 20.
    Returns: strand tension T, N.
    Raises: OutOfRange: an argument outside its range.
    Source: statics of a string; the inch test (1/64 in per in) prints the same as 16 F less a stiffness term
        in Power transmission products, 2015, p. 54.
    Worked example, that rule (10 N at 1/64 of the span, 16 times as much):
        >>> strand_tension(10.0, 640.0, 10.0)
        160.0
    """
    within("force", force, 0.0, 2000.0, "N")
    within("straight", straight, 10.0, 20_000.0, "mm")
    within("deflection", deflection, straight / 1000.0, straight / 20.0, "mm")
    return force * straight / (4.0 * deflection)


@formula(
    name="Tension ratio in a V groove",
    equation="(T₁ - Tc) / (T₂ - Tc) = exp(μ θ / sin(α / 2))",
    unit="",
    source="khurmi-gupta",
    at="Ex. 11.17",
)
def v_groove_tension_ratio(friction: float, wrap: float, groove_angle: float) -> float:
    """Largest ratio of tight to slack tension, less centrifugal tension, before the belt slips.

    (T₁ - Tc) / (T₂ - Tc) = exp(μ θ / sin(α / 2))

    Args:
        friction: coefficient μ, from 0 to 1.
        wrap: arc of contact θ, deg, from 30 to 360.
        groove_angle: full groove angle α, deg, from 20 to 180 (180 is a flat belt).
    Returns: tension ratio, at least 1.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta Ex. 11.17; Jindal Ex. 21-3.
    Worked example, Dornfeld on Hamrock, prob. 19.14 (μ 0.2, half groove 18 deg: μ / sin = 0.647; at half a
        turn):
        >>> import math
        >>> round(math.log(v_groove_tension_ratio(0.2, 180.0, 36.0)) / math.pi, 3)
        0.647
    """
    within("friction", friction, 0.0, 1.0)
    within("wrap", wrap, 30.0, 360.0, "deg")
    within("groove_angle", groove_angle, 20.0, 180.0, "deg")
    return math.exp(friction * math.radians(wrap) / math.sin(math.radians(groove_angle) / 2.0))
