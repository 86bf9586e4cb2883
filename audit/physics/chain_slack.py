"""Wear, slack and tension of roller chains.

Slack is given two ways, which differ by a factor of two. Movement: how far the middle of the slack strand can
be moved in all, from its highest to its lowest place. Sag: how far its middle hangs below the straight line.
Before any chain is moved by hand: engine off, key out, everything stopped, guards back on after.
"""

from __future__ import annotations

import math

from audit.physics.formula import OutOfRange, formula, within

GRAVITY = 9.80665  # m/s², standard value

# Total mid-span movement, % of the centre distance: least, most.
MOVEMENT_SHARE: dict[str, tuple[float, float]] = {"normal": (4.0, 6.0), "shock": (2.0, 3.0)}


@formula(
    name="Chain elongation",
    equation="100 (M - k p) / (k p)",
    unit="%",
    source="chain-maintenance-faq",
    at="wear",
)
def elongation(measured_length: float, pitches: float, pitch: float) -> float:
    """How much longer a worn chain is than a new one.

    e = 100 (M - k p) / (k p)

    Measure under tension, pin centre to pin centre, over as many pitches as can be reached, without offset
    links.

    Args:
        measured_length: M, mm, from 10 to 20 000.
        pitches: number of pitches k measured over, from 1 to 500.
        pitch: pitch p of the new chain, mm, from 4 to 150.
    Returns: elongation e, %; below 0 means a miscount or another pitch.
    Raises: OutOfRange: an argument outside its range.
    Source: roller chain maintenance questions, wear; 3 % of 24 in is 24.72 in, which a trade page rounds to
        24.75.
    Worked example, that page (24 pitches of No. 80, 24.75 in: really 3.125 %):
        >>> round(elongation(628.65, 24.0, 25.4), 3)
        3.125
    """
    within("measured_length", measured_length, 10.0, 20_000.0, "mm")
    within("pitches", pitches, 1.0, 500.0)
    within("pitch", pitch, 4.0, 150.0, "mm")
    return 100.0 * (measured_length / (pitches * pitch) - 1.0)


@formula(
    name="Chain elongation limit",
    equation="min(3, 200 / z), fixed centres min(1.5, 200 / z)",
    unit="%",
    source="chain-maintenance-faq",
    at="wear",
)
def elongation_limit(largest_teeth: float, fixed: bool) -> float:
    """Elongation at which a chain is worn out.

    min(3, 200 / z); min(1.5, 200 / z) where nothing takes up the slack

    Args:
        largest_teeth: teeth z of the largest sprocket, from 5 to 200.
        fixed: True for fixed centres without take-up, chains that run in pairs, or where smooth running
            matters.
    Returns: limit, %.
    Raises: OutOfRange: largest_teeth outside its range.
    Source: roller chain maintenance questions, wear. Another such page types the tooth rule as 2.00 / z %; it
        is 200 / z %.
    Worked example, that page (3 % holds up to 67 teeth, 200 / z beyond):
        >>> elongation_limit(60.0, False), elongation_limit(80.0, False), elongation_limit(60.0, True)
        (3.0, 2.5, 1.5)
    """
    within("largest_teeth", largest_teeth, 5.0, 200.0, "teeth")
    return min(1.5 if fixed else 3.0, 200.0 / largest_teeth)


def _movement(centre: float, duty: str, end: int) -> float:
    within("centre", centre, 10.0, 20_000.0, "mm")
    share = MOVEMENT_SHARE.get(duty)
    if share is None:
        raise OutOfRange(f"duty is {duty!r}; this formula holds for {', '.join(MOVEMENT_SHARE)}")
    return centre * share[end] / 100.0


@formula(
    name="Least slack-strand movement",
    equation="0.04 C; shock 0.02 C",
    unit="mm",
    source="chain-maintenance-faq",
    at="tension",
)
def movement_low(centre: float, duty: str) -> float:
    """Least total mid-span movement, highest to lowest, of the slack strand of a well-set chain.

    0.04 C for slow and medium drives; 0.02 C for shock: high speed, impulse, reversing, or vertical centres

    Args:
        centre: centre distance C, mm, from 10 to 20 000.
        duty: 'normal' or 'shock'.
    Returns: total movement, mm; one-way sag is half of it.
    Raises: OutOfRange: centre outside its range, or another duty.
    Source: roller chain maintenance questions, tension. Contested wording: other texts call 4 % slack or 2 to
        3 % sag.
    Worked example, chain installation note (4 % of 46.5 in, 1.86 in):
        >>> round(movement_low(1181.1, "normal") / 25.4, 2)
        1.86
    """
    return _movement(centre, duty, 0)


@formula(
    name="Greatest slack-strand movement",
    equation="0.06 C; shock 0.03 C",
    unit="mm",
    source="chain-maintenance-faq",
    at="tension",
)
def movement_high(centre: float, duty: str) -> float:
    """Greatest total mid-span movement, highest to lowest, of the slack strand of a well-set chain.

    0.06 C for slow and medium drives; 0.03 C for shock: high speed, impulse, reversing, or vertical centres

    Args:
        centre: centre distance C, mm, from 10 to 20 000.
        duty: 'normal' or 'shock'.
    Returns: total movement, mm; one-way sag is half of it.
    Raises: OutOfRange: centre outside its range, or another duty.
    Source: roller chain maintenance questions, tension.
    Worked example, that page (6 % and 3 % of the centre distance), 1 m apart:
        >>> movement_high(1000.0, "normal"), movement_high(1000.0, "shock")
        (60.0, 30.0)
    """
    return _movement(centre, duty, 1)


@formula(name="Sag from movement", equation="f = m / 2", unit="mm", source="definition")
def sag_from_movement(movement: float) -> float:
    """One-way sag of a strand whose middle can be moved so far in all.

    f = m / 2

    Args:
        movement: total movement m, highest to lowest, mm, from 0 to 2000.
    Returns: sag f below the straight line, mm.
    Raises: OutOfRange: movement outside its range.
    Source: definition.
    Worked example, roller chain maintenance questions (4 % movement of 1 m, so 2 % sag):
        >>> sag_from_movement(40.0)
        20.0
    """
    within("movement", movement, 0.0, 2000.0, "mm")
    return movement / 2.0


@formula(
    name="Sag from excess length",
    equation="f = √(3 S ΔL / 8)",
    unit="mm",
    source="definition",
    at="shallow parabola",
)
def sag_from_excess(straight: float, excess: float) -> float:
    """One-way sag of a strand that is a little longer than its span.

    f = √(3 S ΔL / 8)

    Args:
        straight: span S, mm, from 10 to 20 000.
        excess: ΔL, strand length less span, mm, from 0 to 3 % of S, where the shallow parabola still holds.
    Returns: sag f, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: arc length of a shallow parabola.
    Worked example, its printed form, excess / S = (8/3) (f / S)² (2 % sag from 0.107 % more chain):
        >>> round(sag_from_excess(1000.0, 1.0667), 1)
        20.0
    """
    within("straight", straight, 10.0, 20_000.0, "mm")
    within("excess", excess, 0.0, 0.03 * straight, "mm")
    return math.sqrt(3.0 * straight * excess / 8.0)


@formula(
    name="Strand tension from sag",
    equation="H = m g S² / (8000 f)",
    unit="N",
    source="definition",
    at="statics",
)
def strand_tension_from_sag(mass_per_m: float, straight: float, sag: float) -> float:
    """Pull in a level slack strand that hangs by its own weight.

    H = m g S² / (8000 f), lengths in mm, g = 9.80665 m/s²

    Args:
        mass_per_m: chain mass m, kg/m, from 0.1 to 50.
        straight: span S, mm, from 10 to 20 000.
        sag: one-way sag f, mm, from S / 1000 to S / 8.
    Returns: tension H, N.
    Raises: OutOfRange: an argument outside its range.
    Source: statics of a shallow parabola.
    Worked example, 2 % sag (the one-way sag of 4 % movement), 1 m of 2.6 kg/m: w S / 0.16, w in N/m:
        >>> round(strand_tension_from_sag(2.6, 1000.0, 20.0), 1), round(2.6 * 9.80665 / 0.16, 1)
        (159.4, 159.4)
    """
    within("mass_per_m", mass_per_m, 0.1, 50.0, "kg/m")
    within("straight", straight, 10.0, 20_000.0, "mm")
    within("sag", sag, straight / 1000.0, straight / 8.0, "mm")
    return mass_per_m * GRAVITY * straight * straight / (8000.0 * sag)


@formula(
    name="Service tension ceiling",
    equation="F = Fu / 6",
    unit="N",
    source="chain-engineering-guide",
    at="p. 89",
)
def service_tension_ceiling(min_ultimate: float) -> float:
    """Largest tension a chain should see in regular service: a sixth of its least breaking load.

    F = Fu / 6

    Args:
        min_ultimate: minimum ultimate tensile strength Fu, N, from 1000 to 2 000 000.
    Returns: ceiling F, N. Half of Fu must never be passed, not even once.
    Raises: OutOfRange: min_ultimate outside its range.
    Source: roller chain engineering guide, p. 89.
    Worked example, that rule on No. 60 (7030 lbf, a sixth is 1172 lbf):
        >>> round(service_tension_ceiling(31271.0) / 4.44822)
        1172
    """
    within("min_ultimate", min_ultimate, 1000.0, 2_000_000.0, "N")
    return min_ultimate / 6.0
