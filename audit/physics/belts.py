"""V-belt drives as geometry: length, centre distance, wrap, span, fit, speed, alignment.

Diameters are pitch diameters: those of the belt's pitch line as it lies in the groove.
"""

from __future__ import annotations

import math

from audit.physics.formula import formula, within


def _sheaves(large: float, small: float, centre: float) -> None:
    within("large", large, 10.0, 5000.0, "mm")
    within("small", small, 10.0, 5000.0, "mm")
    # Nearer than this the two sheaves would touch.
    within("centre", centre, (large + small) / 2.0, 20_000.0, "mm")


def _ordered(large: float, small: float, centre: float) -> None:
    _sheaves(large, small, centre)
    within("small", small, 10.0, large, "mm")


def _open_length(large: float, small: float, centre: float) -> float:
    half = (large - small) / 2.0
    tangent = math.sqrt(centre * centre - half * half)
    return 2.0 * tangent + math.pi * (large + small) / 2.0 + 2.0 * half * math.asin(half / centre)


@formula(
    name="Open belt length",
    equation="L = 2 √(C² - (R - r)²) + π (R + r) + 2 (R - r) asin((R - r) / C)",
    unit="mm",
    source="britannica-11",
    at="Mechanics, section 59, eq. 32B",
)
def open_belt_length(large: float, small: float, centre: float) -> float:
    """Pitch length of an open belt round two sheaves, exact. The two diameters may change places.

    L = 2 √(C² - (R - r)²) + π (R + r) + 2 (R - r) asin((R - r) / C)

    Args:
        large: pitch diameter 2R, mm, from 10 to 5000.
        small: pitch diameter 2r, mm, from 10 to 5000.
        centre: centre distance C, mm, from R + r to 20 000.
    Returns: pitch length L, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: Encyclopaedia Britannica, 11th ed., Mechanics, eq. 32B; Shigley eq. 17-2.
    Worked example, Shigley ch. 17 (18 and 6 in sheaves, 96 in apart, belt 230.074 in):
        >>> round(open_belt_length(457.2, 152.4, 2438.4) / 25.4, 3)
        230.074
    """
    _sheaves(large, small, centre)
    return _open_length(large, small, centre)


@formula(
    name="Crossed belt length",
    equation="L = 2 √(C² - (R + r)²) + (R + r) (π + 2 asin((R + r) / C))",
    unit="mm",
    source="britannica-11",
    at="Mechanics, section 59, eq. 32A, with the sign corrected",
)
def crossed_belt_length(large: float, small: float, centre: float) -> float:
    """Length of a crossed belt, which turns the driven shaft the other way, exact.

    L = 2 √(C² - (R + r)²) + (R + r) (π + 2 asin((R + r) / C))

    Args:
        large: diameter 2R, mm, from 10 to 5000.
        small: diameter 2r, mm, from 10 to 5000.
        centre: centre distance C, mm, from R + r to 20 000.
    Returns: belt length L, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: Encyclopaedia Britannica, 11th ed., Mechanics, eq. 32A. Contested: a scan of that page shows a
        minus before the arc sine, which would give 4.758 m in the example below; plus is right.
    Worked example, Khurmi and Gupta Ex. 11.6 (0.45 and 0.20 m, 1.95 m apart, 4.975 m):
        >>> round(crossed_belt_length(450.0, 200.0, 1950.0))
        4975
    """
    _sheaves(large, small, centre)
    reach = (large + small) / 2.0
    straight = 2.0 * math.sqrt(centre * centre - reach * reach)
    return straight + reach * (math.pi + 2.0 * math.asin(reach / centre))


@formula(
    name="Centre distance for a belt",
    equation="C such that L(D, d, C) = L",
    unit="mm",
    source="britannica-11",
    at="Mechanics, section 59, eq. 32B, solved for C",
)
def centre_for_length(large: float, small: float, length: float) -> float:
    """Centre distance at which an open belt of a given length fits, exact.

    The length grows with the centre distance, ever more steeply, and never falls below 2C + π (R + r). So
    (L - π (R + r)) / 2 is at or beyond the root, and Newton's method comes down to it without a miss.

    Args:
        large: pitch diameter D, mm, from 10 to 5000.
        small: pitch diameter d, mm, from 10 to 5000.
        length: pitch length L, mm, from the length at which the sheaves touch to 40 000.
    Returns: centre distance C, mm.
    Raises: OutOfRange: an argument outside its range; a belt too short for the two sheaves.
    Source: eq. 32B of ``open_belt_length`` solved for C. Mott eq. 7-4 and Shigley eq. 17-17b are close
        approximations of it.
    Worked example, Mott 2004 p. 279 (100 in belt, 21.1 and 12.4 in sheaves, 23.30 in; exact 23.28):
        >>> round(centre_for_length(535.94, 314.96, 2540.0) / 25.4, 2)
        23.28
    """
    touching = (large + small) / 2.0
    _sheaves(large, small, touching)
    within("length", length, _open_length(large, small, touching), 40_000.0, "mm")
    half = (large - small) / 2.0
    centre = (length - math.pi * touching) / 2.0
    step = centre
    while abs(step) > 1e-10 * centre:
        slope = 2.0 * math.sqrt(1.0 - (half / centre) ** 2)
        step = (_open_length(large, small, centre) - length) / slope
        centre -= step
    return centre


@formula(
    name="Free span",
    equation="S = √(C² - ((D - d) / 2)²)",
    unit="mm",
    source="britannica-11",
    at="Mechanics, section 59, the straight part of eq. 32B",
)
def span(large: float, small: float, centre: float) -> float:
    """Straight run of an open belt from sheave to sheave. The deflection test uses this, not C.

    S = √(C² - ((D - d) / 2)²)

    Args:
        large: pitch diameter D, mm, from 10 to 5000.
        small: pitch diameter d, mm, from 10 to 5000.
        centre: centre distance C, mm, from (D + d) / 2 to 20 000.
    Returns: span S, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: the straight part of eq. 32B, Encyclopaedia Britannica, 11th ed., Mechanics.
    Worked example, the drive of Mott 2004 p. 279 (21.1 and 12.4 in sheaves, 24.0 in apart):
        >>> round(span(535.94, 314.96, 609.6) / 25.4, 2)
        23.6
    """
    _sheaves(large, small, centre)
    half = (large - small) / 2.0
    return math.sqrt(centre * centre - half * half)


@formula(
    name="Wrap on the small sheave",
    equation="θ = 180° - 2 asin((D - d) / (2C))",
    unit="deg",
    source="mott-2004",
    at="eq. 7-5",
)
def wrap_small(large: float, small: float, centre: float) -> float:
    """Arc of contact of an open belt on its smaller sheave.

    θ = 180° - 2 asin((D - d) / (2C))

    Args:
        large: pitch diameter D, mm, from 10 to 5000.
        small: pitch diameter d, mm, from 10 to D.
        centre: centre distance C, mm, from (D + d) / 2 to 20 000.
    Returns: wrap, deg, at most 180.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott eq. 7-5; Shigley eq. 17-1.
    Worked example, Mott 2004 (21.1 and 12.4 in, 23.30 in apart; printed rounded down as 158):
        >>> round(wrap_small(535.94, 314.96, 591.82), 1)
        158.5
    """
    _ordered(large, small, centre)
    return 180.0 - 2.0 * math.degrees(math.asin((large - small) / (2.0 * centre)))


@formula(
    name="Wrap on the large sheave",
    equation="θ = 180° + 2 asin((D - d) / (2C))",
    unit="deg",
    source="mott-2004",
    at="eq. 7-5",
)
def wrap_large(large: float, small: float, centre: float) -> float:
    """Arc of contact of an open belt on its larger sheave.

    θ = 180° + 2 asin((D - d) / (2C))

    Args:
        large: pitch diameter D, mm, from 10 to 5000.
        small: pitch diameter d, mm, from 10 to D.
        centre: centre distance C, mm, from (D + d) / 2 to 20 000.
    Returns: wrap, deg, at least 180.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott eq. 7-5; Shigley eq. 17-1.
    Worked example, Shigley ch. 17 (18 and 6 in, 96 in apart, 3.266674 rad):
        >>> import math
        >>> round(math.radians(wrap_large(457.2, 152.4, 2438.4)), 6)
        3.266674
    """
    _ordered(large, small, centre)
    return 180.0 + 2.0 * math.degrees(math.asin((large - small) / (2.0 * centre)))


@formula(
    name="Wrap of a crossed belt",
    equation="θ = 180° + 2 asin((D + d) / (2C))",
    unit="deg",
    source="khurmi-gupta",
    at="Ex. 11.6",
)
def wrap_crossed(large: float, small: float, centre: float) -> float:
    """Arc of contact of a crossed belt, the same on both sheaves.

    θ = 180° + 2 asin((D + d) / (2C))

    Args:
        large: diameter D, mm, from 10 to 5000.
        small: diameter d, mm, from 10 to 5000.
        centre: centre distance C, mm, from (D + d) / 2 to 20 000.
    Returns: wrap, deg, from 180 to 360.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta Ex. 11.6. A solved set of that exercise takes the sine for the arc sine and
        prints 3.473 rad; 3.4765 is right.
    Worked example, Khurmi and Gupta Ex. 11.6 (0.45 and 0.20 m, 1.95 m apart, rad):
        >>> import math
        >>> round(math.radians(wrap_crossed(450.0, 200.0, 1950.0)), 4)
        3.4765
    """
    _sheaves(large, small, centre)
    return 180.0 + 2.0 * math.degrees(math.asin((large + small) / (2.0 * centre)))


@formula(
    name="Wrap beside an inside idler",
    equation="θ' = θ - atan(h / a)",
    unit="deg",
    source="definition",
    at="plane geometry, tangent point held",
)
def wrap_after_idler(wrap: float, straight: float, idler_rise: float, idler_distance: float) -> float:
    """Wrap left on a sheave when an idler inside the belt pushes the neighbouring strand outwards.

    θ' = θ - atan(h / a)

    Derived by geometry: the strand leaves the sheave towards a point that lies h outside the straight line
    and a along it, so it turns by atan(h / a). The tangent point is held still, which puts the answer a
    little too low, on the safe side: in truth it creeps back along the arc. An idler outside the belt adds
    wrap.

    Args:
        wrap: arc of contact θ without the idler, deg, from 60 to 300.
        straight: free span S, mm, from 10 to 20 000.
        idler_rise: h, mm, how far the belt at the idler stands off its straight line, from 0 to a.
        idler_distance: a, mm, along the span from this sheave's tangent point to the idler's contact, from 1
            to S.
    Returns: wrap θ', deg.
    Raises: OutOfRange: an argument outside its range.
    Source: own derivation from plane geometry.
    Worked example, Mott 2004's wrap of 158 deg, strand lifted 1 in 10, so by 5.71 deg:
        >>> round(wrap_after_idler(158.0, 600.0, 30.0, 300.0), 2)
        152.29
    """
    within("wrap", wrap, 60.0, 300.0, "deg")
    within("straight", straight, 10.0, 20_000.0, "mm")
    within("idler_distance", idler_distance, 1.0, straight, "mm")
    within("idler_rise", idler_rise, 0.0, idler_distance, "mm")
    return wrap - math.degrees(math.atan(idler_rise / idler_distance))


def _arc(wrap: float) -> float:
    return 0.143543 + 0.007468 * wrap - 0.000015052 * wrap * wrap


@formula(
    name="Arc-of-contact factor",
    equation="K₁ = 0.143543 + 0.007468 θ - 0.000015052 θ²",
    unit="",
    source="shigley-10",
    at="Table 17-13, footnote, V-V drives",
)
def arc_factor(wrap: float) -> float:
    """Share of a V-belt's rated power left when the small sheave is wrapped less than halfway (V to V).

    K₁ = 0.143543 + 0.007468 θ - 0.000015052 θ²

    Args:
        wrap: arc of contact on the small sheave θ, deg, from 83 to 180, the range of the
            handbook table, whose V-V column it meets within 0.011.
    Returns: factor K₁, 1 at 180 deg.
    Raises: OutOfRange: wrap outside its range.
    Source: Shigley, Table 17-13, footnote; table: Machinery's Handbook, 31st ed., p. 2581, Table 12.
    Worked example, Machinery's Handbook, Table 12 (133 deg, 0.87):
        >>> round(arc_factor(133.0), 2)
        0.87
    """
    within("wrap", wrap, 83.0, 180.0, "deg")
    return _arc(wrap)


@formula(
    name="Capacity lost to small wrap",
    equation="100 (1 - K₁(θ) / K₁(180°))",
    unit="%",
    source="shigley-10",
    at="Table 17-13, footnote, V-V drives",
)
def capacity_lost(wrap: float) -> float:
    """Part of the power a V-belt carries at 180 deg that is lost at a smaller wrap.

    100 (1 - K₁(θ) / K₁(180°))

    Args:
        wrap: arc of contact on the small sheave θ, deg, from 83 to 180.
    Returns: lost capacity, % of the capacity at 180 deg.
    Raises: OutOfRange: wrap outside its range.
    Source: ``arc_factor``; Machinery's Handbook, 31st ed., p. 2581, Table 12.
    Worked example, Machinery's Handbook, Table 12 (120 deg, factor 0.82, so 18 % lost):
        >>> round(capacity_lost(120.0))
        18
    """
    within("wrap", wrap, 83.0, 180.0, "deg")
    return 100.0 * (1.0 - _arc(wrap) / _arc(180.0))


@formula(name="Belt speed", equation="v = π d n / 60 000", unit="m/s", source="mott-2004", at="ch. 7")
def belt_speed(diameter: float, speed: float) -> float:
    """Speed of the belt along itself.

    v = π d n / 60 000

    Args:
        diameter: pitch diameter d of either sheave, mm, from 10 to 5000.
        speed: speed n of that sheave, r/min, from 0 to 20 000.
    Returns: belt speed v, m/s.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott, Machine Elements, ch. 7; Khurmi and Gupta, ch. 11.
    Worked example, Wentzell Ex. 14.1 (6 in at 2450 r/min, 3848.45 ft/min):
        >>> round(belt_speed(152.4, 2450.0) / 0.00508, 2)
        3848.45
    """
    within("diameter", diameter, 10.0, 5000.0, "mm")
    within("speed", speed, 0.0, 20_000.0, "r/min")
    return math.pi * diameter * speed / 60_000.0


@formula(
    name="Misalignment limit of V-belt sheaves",
    equation="C tan 0.5°",
    unit="mm",
    source="v-belt-installation",
    at="alignment",
)
def misalignment_limit(centre: float) -> float:
    """Largest offset of one V-belt sheave from the other's plane: half a degree.

    m = C tan 0.5°, which is 8.73 mm per m (printed also as 1/10 in per ft, rounded)

    Args:
        centre: centre distance C, mm, from 10 to 20 000.
    Returns: limit, mm.
    Raises: OutOfRange: centre outside its range.
    Source: V-belt installation checklist. Others allow less: 1/16 in per ft as a house rule, 1/4 deg for
        ribbed and toothed belts.
    Worked example, alignment note (8.73 mm per m):
        >>> round(misalignment_limit(1000.0), 2)
        8.73
    """
    within("centre", centre, 10.0, 20_000.0, "mm")
    return centre * math.tan(math.radians(0.5))
