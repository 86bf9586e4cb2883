"""Variable-speed belt drives: two sheaves whose halves move, one belt, one centre distance.

The groove angle is the full angle between the two flanges, twice the half angle that handbooks print as β.
No published figures for a variator of a farm machine were found; the tests check these formulas against a
second derivation.
"""

from __future__ import annotations

import math

from audit.physics.formula import formula, within

SMALLEST_DIAMETER = 10.0  # mm, pitch diameter; no drive belt bends tighter


def _tangent(groove_angle: float) -> float:
    within("groove_angle", groove_angle, 20.0, 60.0, "deg")
    return math.tan(math.radians(groove_angle) / 2.0)


@formula(
    name="Diameter change of a variable sheave",
    equation="ΔD = x / tan(α / 2)",
    unit="mm",
    source="skinner-2020",
    at="belt geometry",
)
def diameter_change(axial_travel: float, groove_angle: float) -> float:
    """Change of the belt's diameter on a sheave of which one flange moves along the shaft.

    ΔD = x / tan(α / 2)

    Args:
        axial_travel: x, mm, from -200 to 200; above 0 closes the sheave and lifts the belt.
        groove_angle: full groove angle α, deg, from 20 to 60.
    Returns: change of pitch diameter ΔD, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: Skinner, MSc thesis, West Virginia University, 2020 (radius slope 1 / (2 tan(α / 2))).
    Worked example, 26 deg groove, 1 mm of travel, twice the radius slope of that source (2.1655):
        >>> round(diameter_change(1.0, 26.0), 3)
        4.331
    """
    within("axial_travel", axial_travel, -200.0, 200.0, "mm")
    return axial_travel / _tangent(groove_angle)


@formula(
    name="Travel of a variable sheave",
    equation="x = ΔD tan(α / 2)",
    unit="mm",
    source="skinner-2020",
    at="belt geometry",
)
def axial_travel_for(diameter_difference: float, groove_angle: float) -> float:
    """Axial travel of the moving flange that changes the belt's diameter by a wanted amount.

    x = ΔD tan(α / 2)

    Args:
        diameter_difference: ΔD, mm, from -2000 to 2000; above 0 is a larger diameter.
        groove_angle: full groove angle α, deg, from 20 to 60.
    Returns: travel x, mm; above 0 closes the sheave. The two sheaves of a pair travel unequal amounts.
    Raises: OutOfRange: an argument outside its range.
    Source: Skinner, MSc thesis, West Virginia University, 2020.
    Worked example, the 26 deg groove of ``diameter_change``:
        >>> round(axial_travel_for(4.331, 26.0), 3)
        1.0
    """
    within("diameter_difference", diameter_difference, -2000.0, 2000.0, "mm")
    return diameter_difference * _tangent(groove_angle)


@formula(
    name="Rim gap of a variable sheave",
    equation="g = w + (D₀ - d₀) tan(α / 2)",
    unit="mm",
    source="definition",
    at="plane geometry",
)
def rim_gap(rim_diameter: float, belt_outside_diameter: float, belt_width: float, groove_angle: float) -> float:
    """Gap between the flange rims when the belt's outer face runs at a given diameter.

    g = w + (D₀ - d₀) tan(α / 2)

    Derived by geometry: where the groove is as wide as the belt's outer face, there the face lies; outwards
    the groove widens by tan(α / 2) per mm of diameter. Holds while the flanks are straight up to the rim.

    Args:
        rim_diameter: D₀, mm, from 50 to 2000.
        belt_outside_diameter: d₀, mm, over the belt's outer face, from 20 to D₀.
        belt_width: width w of the belt's outer face as it is now (worn belts are narrower), mm, from 5 to
            150.
        groove_angle: full groove angle α, deg, from 20 to 60.
    Returns: gap g, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: own derivation from plane geometry.
    Worked example, belt face flush with the rim (common practice for the closed sheave): the gap is the
        width:
        >>> rim_gap(400.0, 400.0, 50.8, 26.0)
        50.8
    """
    within("rim_diameter", rim_diameter, 50.0, 2000.0, "mm")
    within("belt_outside_diameter", belt_outside_diameter, 20.0, rim_diameter, "mm")
    within("belt_width", belt_width, 5.0, 150.0, "mm")
    return belt_width + (rim_diameter - belt_outside_diameter) * _tangent(groove_angle)


@formula(
    name="Belt diameter in a variable sheave",
    equation="d₀ = D₀ - (g - w) / tan(α / 2)",
    unit="mm",
    source="definition",
    at="plane geometry",
)
def outside_diameter_for_gap(rim_diameter: float, gap: float, belt_width: float, groove_angle: float) -> float:
    """Diameter at which the belt's outer face runs when the flange rims stand a measured gap apart.

    d₀ = D₀ - (g - w) / tan(α / 2)

    Args:
        rim_diameter: D₀, mm, from 50 to 2000.
        gap: gap g between the rims, mm, from w to w + D₀ tan(α / 2), where the belt would reach the centre.
        belt_width: width w of the belt's outer face as it is now, mm, from 5 to 150.
        groove_angle: full groove angle α, deg, from 20 to 60.
    Returns: diameter d₀ over the belt's outer face, mm; the pitch diameter is less by twice the depth of the
        belt's cords.
    Raises: OutOfRange: an argument outside its range; a gap narrower than the belt, which then stands proud.
    Source: own derivation from plane geometry, the inverse of ``rim_gap``.
    Worked example, 26 deg groove opened 1 mm, diameter less by the 4.331 mm of ``diameter_change``:
        >>> round(400.0 - outside_diameter_for_gap(400.0, 51.8, 50.8, 26.0), 3)
        4.331
    """
    within("rim_diameter", rim_diameter, 50.0, 2000.0, "mm")
    within("belt_width", belt_width, 5.0, 150.0, "mm")
    tangent = _tangent(groove_angle)
    within("gap", gap, belt_width, belt_width + rim_diameter * tangent, "mm")
    return rim_diameter - (gap - belt_width) / tangent


def _length(first: float, second: float, centre: float) -> float:
    half = (first - second) / 2.0
    straight = 2.0 * math.sqrt(centre * centre - half * half)
    return straight + math.pi * (first + second) / 2.0 + 2.0 * half * math.asin(half / centre)


@formula(
    name="Diameter of the mate sheave",
    equation="d₂ such that L(d₁, d₂, C) = L",
    unit="mm",
    source="britannica-11",
    at="Mechanics, section 60, speed cones",
)
def mate_diameter(diameter: float, belt_length: float, centre: float) -> float:
    """Pitch diameter of the other sheave of a variator: belt length and centre distance stay fixed.

    Open-belt length, exact, solved for d₂. The sum of the two diameters is not constant; that would be true
    of a crossed belt only. The length grows with d₂ and ever more steeply (its slope is half the wrap on that
    sheave), so Newton's method comes down without a miss from the largest d₂ that the shafts leave room for.

    Args:
        diameter: pitch diameter d₁ of either sheave, mm, from 10 to 2000.
        belt_length: pitch length L, mm, from the length that needs d₂ = 10 to the length at which the sheaves
            touch.
        centre: centre distance C, mm, from d₁ / 2 + 10 to 5000.
    Returns: pitch diameter d₂, mm.
    Raises: OutOfRange: an argument outside its range; a belt too short or too long for any mate.
    Source: Encyclopaedia Britannica, 11th ed., Mechanics, section 60 (speed cones keep the belt's length).
    Worked example, Shigley ch. 17 (belt 230.074 in, 96 in apart, 18 in sheave: the mate is 6 in):
        >>> round(mate_diameter(457.2, 5843.88, 2438.4) / 25.4, 3)
        6.0
    """
    within("diameter", diameter, SMALLEST_DIAMETER, 2000.0, "mm")
    within("centre", centre, diameter / 2.0 + SMALLEST_DIAMETER, 5000.0, "mm")
    mate = 2.0 * centre - diameter
    shortest = _length(diameter, SMALLEST_DIAMETER, centre)
    within("belt_length", belt_length, shortest, _length(diameter, mate, centre), "mm")
    step = mate
    while abs(step) > 1e-10 * mate:
        slope = math.pi / 2.0 - math.asin((diameter - mate) / (2.0 * centre))
        step = (_length(diameter, mate, centre) - belt_length) / slope
        mate -= step
    return mate
