"""What a running V-belt carries: centrifugal, tight and slack tension, power, heat and life."""

from __future__ import annotations

import math

from audit.physics.formula import formula, within

# Beyond this many passes the source's fatigue line is not known to hold; it then gives a least life only.
MOST_PASSES = 1e9


@formula(name="Centrifugal tension", equation="Tc = m v²", unit="N", source="khurmi-gupta", at="ch. 11")
def centrifugal_tension(mass_per_m: float, speed: float) -> float:
    """Tension that the belt's own mass adds as it goes round; it drives nothing.

    Tc = m v²

    Args:
        mass_per_m: belt mass m, kg/m, from 0.01 to 10.
        speed: belt speed v, m/s, from 0 to 60.
    Returns: centrifugal tension Tc, N.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, ch. 11.
    Worked example, Jindal Ex. 21-3 (0.35 kg/m at 13.09 m/s, 59.97 N):
        >>> round(centrifugal_tension(0.35, 13.09), 2)
        59.97
    """
    within("mass_per_m", mass_per_m, 0.01, 10.0, "kg/m")
    within("speed", speed, 0.0, 60.0, "m/s")
    return mass_per_m * speed * speed


@formula(name="Belt power", equation="P = (T₁ - T₂) v / 1000", unit="kW", source="khurmi-gupta", at="ch. 11")
def belt_power(tight: float, slack: float, speed: float) -> float:
    """Power that a belt carries.

    P = (T₁ - T₂) v / 1000

    Args:
        tight: tight-side tension T₁, N, from 0 to 100 000.
        slack: slack-side tension T₂, N, from 0 to T₁.
        speed: belt speed v, m/s, from 0 to 60.
    Returns: power P, kW.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, ch. 11; Shigley ch. 17.
    Worked example, Dornfeld on Hamrock, prob. 19.14 (257.1 and 42.9 lbf at 1695 ft/min, 11.0 hp):
        >>> round(belt_power(1143.6, 190.8, 8.6106) / 0.7457, 1)
        11.0
    """
    within("tight", tight, 0.0, 100_000.0, "N")
    within("slack", slack, 0.0, tight, "N")
    within("speed", speed, 0.0, 60.0, "m/s")
    return (tight - slack) * speed / 1000.0


@formula(
    name="Initial tension",
    equation="Ti = (1000 T / d) (e + 1) / (e - 1)",
    unit="N",
    source="shigley-10",
    at="eq. 17-9",
)
def initial_tension(torque: float, diameter: float, tension_ratio: float) -> float:
    """Tension at rest that just carries a torque at a given tension ratio.

    Ti = (1000 T / d) (e + 1) / (e - 1)

    Args:
        torque: T on the sheave, N m, from 0 to 100 000.
        diameter: pitch diameter d of the same sheave, mm, from 10 to 5000.
        tension_ratio: e, tight to slack less centrifugal tension, from 1.01 to 1000; 5 is the usual design
            value at half a turn.
    Returns: initial tension Ti, N, for all belts of the drive together.
    Raises: OutOfRange: an argument outside its range.
    Source: Shigley, eq. 17-9.
    Worked example, Shigley prob. 17-19 (2935 lb in on 26 in, ratio 5, 169.3 lbf):
        >>> round(initial_tension(331.61, 660.4, 5.0) / 4.44822, 1)
        169.3
    """
    within("torque", torque, 0.0, 100_000.0, "N m")
    within("diameter", diameter, 10.0, 5000.0, "mm")
    within("tension_ratio", tension_ratio, 1.01, 1000.0)
    return 1000.0 * torque / diameter * (tension_ratio + 1.0) / (tension_ratio - 1.0)


@formula(
    name="Tight-side tension",
    equation="F₁ = Fc + 2 Ti e / (e + 1)",
    unit="N",
    source="shigley-10",
    at="eq. 17-10",
)
def tight_tension(centrifugal: float, initial: float, tension_ratio: float) -> float:
    """Tension of the pulling strand of a drive tensioned to Ti.

    F₁ = Fc + 2 Ti e / (e + 1)

    Args:
        centrifugal: Fc, N, from 0 to 20 000.
        initial: Ti, N, from 0 to 100 000.
        tension_ratio: e, from 1 to 1000.
    Returns: tight-side tension F₁, N.
    Raises: OutOfRange: an argument outside its range.
    Source: Shigley, eq. 17-10.
    Worked example, Shigley ch. 17 (73.4 and 396.6 lbf, e 11.35, 802 lbf):
        >>> round(tight_tension(73.4, 396.6, 11.35))
        802
    """
    within("centrifugal", centrifugal, 0.0, 20_000.0, "N")
    within("initial", initial, 0.0, 100_000.0, "N")
    within("tension_ratio", tension_ratio, 1.0, 1000.0)
    return centrifugal + 2.0 * initial * tension_ratio / (tension_ratio + 1.0)


@formula(
    name="Slack-side tension",
    equation="F₂ = Fc + 2 Ti / (e + 1)",
    unit="N",
    source="shigley-10",
    at="eq. 17-10 with F₂ = F₁ - ΔF",
)
def slack_tension(centrifugal: float, initial: float, tension_ratio: float) -> float:
    """Tension of the returning strand of a drive tensioned to Ti.

    F₂ = Fc + 2 Ti / (e + 1)

    Args:
        centrifugal: Fc, N, from 0 to 20 000.
        initial: Ti, N, from 0 to 100 000.
        tension_ratio: e, from 1 to 1000.
    Returns: slack-side tension F₂, N.
    Raises: OutOfRange: an argument outside its range.
    Source: Shigley, eq. 17-10 with F₂ = F₁ - ΔF.
    Worked example, Shigley prob. 17-19 (25.9 and 169.3 lbf, e 5, 82.3 lbf):
        >>> round(slack_tension(25.9, 169.3, 5.0), 1)
        82.3
    """
    within("centrifugal", centrifugal, 0.0, 20_000.0, "N")
    within("initial", initial, 0.0, 100_000.0, "N")
    within("tension_ratio", tension_ratio, 1.0, 1000.0)
    return centrifugal + 2.0 * initial / (tension_ratio + 1.0)


@formula(
    name="Belt life left by heat",
    equation="2^(-(t - t₀) / 10)",
    unit="",
    source="shepherd-1992",
)
def life_factor_for_temperature(temperature: float, reference_temperature: float) -> float:
    """Life of a belt as a multiple of its life at a reference temperature: half for every 10 degC more.

    f = 2^(-(t - t₀) / 10)

    Rule of thumb. Most belts are made for -34 to 54-71 degC; beyond that the factor only says how bad it is.

    Args:
        temperature: belt temperature t, degC, from -34 to 110.
        reference_temperature: t₀, degC, from -34 to 110; a well-kept V-belt drive stays below 60.
    Returns: life factor f.
    Raises: OutOfRange: an argument outside its range.
    Source: Shepherd, Hot and cold running belts, Power Transmission Design, Oct 1992 (18 degF, which is 10
        degC, of belt temperature; the same page halves life for 20 degC of ambient temperature).
    Worked example, Shepherd 1992 (18 degF above the 140 degF ceiling halves the life):
        >>> life_factor_for_temperature(70.0, 60.0)
        0.5
    """
    within("temperature", temperature, -34.0, 110.0, "degC")
    within("reference_temperature", reference_temperature, -34.0, 110.0, "degC")
    return math.exp2((reference_temperature - temperature) / 10.0)


@formula(
    name="Belt passes to failure",
    equation="N = 1 / ((T₁ / K)^b + (T₂ / K)^b)",
    unit="",
    source="shigley-10",
    at="eq. 17-27",
)
def belt_passes(peak_small: float, peak_large: float, coefficient: float, exponent: float) -> float:
    """Times a V-belt can go round before it fails by fatigue.

    N = 1 / ((T₁ / K)^b + (T₂ / K)^b)

    Args:
        peak_small: peak tension T₁ where the belt bends onto the small sheave, N, from 1 to 50 000.
        peak_large: peak tension T₂ where it bends onto the large sheave, N, from 1 to 50 000.
        coefficient: K of the belt's section, N, from 1000 to 50 000.
        exponent: b of the section, from 8 to 15.
    Returns: passes N. Above 1e9 the source says no more than that they exceed 1e9.
    Raises: OutOfRange: an argument outside its range.
    Source: Shigley, eq. 17-27. For industrial belts: farm-machine belts have their own standard, which gives
        no load-life line.
    Worked example, Shigley prob. 17-17 (150.1 and 105.2 lbf, section B: K 1193 lbf, b 10.929; 6.76e9):
        >>> f"{belt_passes(667.68, 467.95, 5306.7, 10.929):.2e}"
        '6.76e+09'
    """
    within("peak_small", peak_small, 1.0, 50_000.0, "N")
    within("peak_large", peak_large, 1.0, 50_000.0, "N")
    within("coefficient", coefficient, 1000.0, 50_000.0, "N")
    within("exponent", exponent, 8.0, 15.0)
    return 1.0 / (math.pow(peak_small / coefficient, exponent) + math.pow(peak_large / coefficient, exponent))


@formula(
    name="Belt life",
    equation="t = min(N, 1e9) L / (3 600 000 v)",
    unit="h",
    source="shigley-10",
    at="eq. 17-28",
)
def belt_life(passes: float, belt_length: float, speed: float) -> float:
    """Hours in which a belt makes its passes; a least life when the passes exceed 1e9.

    t = min(N, 1e9) L / (3 600 000 v)

    Args:
        passes: N, from 1 to 1e15; counted as 1e9 at most.
        belt_length: pitch length L, mm, from 100 to 40 000.
        speed: belt speed v, m/s, from 0.1 to 60.
    Returns: life t, h.
    Raises: OutOfRange: an argument outside its range.
    Source: Shigley, eq. 17-28.
    Worked example, Shigley prob. 17-17 (6.76e9 passes, 91.8 in, 5031.8 ft/min, more than 25 340 h):
        >>> round(belt_life(6.76e9, 2331.72, 25.5615), -1)
        25340.0
    """
    within("passes", passes, 1.0, 1e15)
    within("belt_length", belt_length, 100.0, 40_000.0, "mm")
    within("speed", speed, 0.1, 60.0, "m/s")
    return min(passes, MOST_PASSES) * belt_length / (3_600_000.0 * speed)
