"""Shaft speeds, tip speeds, torque and power: what one turning shaft hands to the next."""

from __future__ import annotations

import math

from audit.physics.formula import formula, within

# P = 2π n T / 60 with P in kW: 60 000 / 2π, printed in handbooks as 9549 or 9550.
TORQUE_CONSTANT = 30_000.0 / math.pi


@formula(name="Tip speed", equation="v = π D n / 60 000", unit="m/s", source="definition")
def tip_speed(diameter: float, speed: float) -> float:
    """Surface speed of a turning cylinder, rotor, fan or knife circle.

    v = π D n / 60 000

    Args:
        diameter: outer diameter D, mm, from 1 to 5000.
        speed: shaft speed n, r/min, from 0 to 20 000.
    Returns: tip speed v, m/s.
    Raises: OutOfRange: an argument outside its range.
    Source: definition of surface speed.
    Worked example, NDSU EB-25 (a 22 in cylinder at 300 r/min has a bar speed of 1725 ft/min, 8.76 m/s; π
    without rounding gives 1728 ft/min):
        >>> round(tip_speed(558.8, 300.0), 2)
        8.78
    """
    within("diameter", diameter, 1.0, 5000.0, "mm")
    within("speed", speed, 0.0, 20_000.0, "r/min")
    return math.pi * diameter * speed / 60_000.0


@formula(name="Speed for a tip speed", equation="n = 60 000 v / (π D)", unit="r/min", source="definition")
def speed_for_tip_speed(diameter: float, surface_speed: float) -> float:
    """Shaft speed that gives a wanted tip speed.

    n = 60 000 v / (π D)

    Args:
        diameter: outer diameter D, mm, from 1 to 5000.
        surface_speed: tip speed v, m/s, from 0 to 200.
    Returns: shaft speed n, r/min.
    Raises: OutOfRange: an argument outside its range.
    Source: definition of surface speed.
    Worked example, Mott 2004, Ex. 7-1 step 4 (4000 ft/min on a 13.17 in sheave at 1160 r/min):
        >>> round(speed_for_tip_speed(334.52, 20.32))
        1160
    """
    within("diameter", diameter, 1.0, 5000.0, "mm")
    within("surface_speed", surface_speed, 0.0, 200.0, "m/s")
    return surface_speed * 60_000.0 / (math.pi * diameter)


@formula(name="Speed ratio", equation="i = z₁ / z₂ = n₂ / n₁", unit="", source="khurmi-gupta", at="ch. 13")
def speed_ratio(driver_size: float, driven_size: float) -> float:
    """Turns of the driven shaft per turn of the driver, without slip.

    i = n₂ / n₁ = z₁ / z₂

    Ratios of drives in series multiply. Its inverse is what ``geared_speed`` calls ratio.

    Args:
        driver_size: pitch diameter, mm, or teeth, of the driver, from 1 to 5000.
        driven_size: the same measure of the driven wheel, from 1 to 5000.
    Returns: driven turns per driver turn.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, ch. 13 (gear trains) and ch. 11 (belts).
    Worked example, Khurmi and Gupta Ex. 11.1 (150 to 1500 r/min over 750 : 450 and 900 : 150 mm):
        >>> round(speed_ratio(750.0, 450.0) * speed_ratio(900.0, 150.0), 9)
        10.0
    """
    within("driver_size", driver_size, 1.0, 5000.0)
    within("driven_size", driven_size, 1.0, 5000.0)
    return driver_size / driven_size


@formula(
    name="Speed of a belt-driven shaft",
    equation="n₂ = n₁ (d₁ / d₂) (1 - s / 100)",
    unit="r/min",
    source="khurmi-gupta",
    at="Ex. 11.1",
)
def belt_driven_speed(
    driver_speed: float, driver_diameter: float, driven_diameter: float, slip_percent: float
) -> float:
    """Speed of the shaft at the far end of a belt.

    n₂ = n₁ (d₁ / d₂) (1 - s / 100)

    Args:
        driver_speed: speed n₁, r/min, from 0 to 20 000.
        driver_diameter: pitch diameter d₁, mm, from 10 to 5000.
        driven_diameter: pitch diameter d₂, mm, from 10 to 5000.
        slip_percent: total slip s of this drive, %, from 0 to 50. Published exercises use 2 to 5.
    Returns: speed n₂, r/min.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, Ex. 11.1; the same in Bansal and in Sarkar.
    Worked example, Khurmi and Gupta Ex. 11.1 (1500 r/min without slip, 1440 with 2 % on each belt):
        >>> first = belt_driven_speed(150.0, 750.0, 450.0, 2.0)
        >>> round(belt_driven_speed(first, 900.0, 150.0, 2.0), 1)
        1440.6
    """
    within("driver_speed", driver_speed, 0.0, 20_000.0, "r/min")
    within("driver_diameter", driver_diameter, 10.0, 5000.0, "mm")
    within("driven_diameter", driven_diameter, 10.0, 5000.0, "mm")
    within("slip_percent", slip_percent, 0.0, 50.0, "%")
    return driver_speed * driver_diameter / driven_diameter * (1.0 - slip_percent / 100.0)


@formula(
    name="Speed of a chain- or gear-driven shaft",
    equation="n₂ = n₁ z₁ / z₂",
    unit="r/min",
    source="mott-2004",
    at="ch. 7, chain drives",
)
def toothed_driven_speed(driver_speed: float, driver_teeth: float, driven_teeth: float) -> float:
    """Speed of a shaft driven by chain, toothed belt or gears: no slip.

    n₂ = n₁ z₁ / z₂

    Args:
        driver_speed: speed n₁, r/min, from 0 to 20 000.
        driver_teeth: teeth z₁, from 5 to 400.
        driven_teeth: teeth z₂, from 5 to 400.
    Returns: speed n₂, r/min, as an amount (gears reverse it, a chain does not).
    Raises: OutOfRange: an argument outside its range.
    Source: Mott, Machine Elements, ch. 7, chain drives.
    Worked example, Mott's sprockets of p. 295 (17 and 65 teeth), 900 r/min in:
        >>> round(toothed_driven_speed(900.0, 17.0, 65.0), 1)
        235.4
    """
    within("driver_speed", driver_speed, 0.0, 20_000.0, "r/min")
    within("driver_teeth", driver_teeth, 5.0, 400.0)
    within("driven_teeth", driven_teeth, 5.0, 400.0)
    return driver_speed * driver_teeth / driven_teeth


@formula(name="Speed behind a gearbox", equation="n₂ = n₁ / i", unit="r/min", source="khurmi-gupta", at="ch. 13")
def geared_speed(driver_speed: float, ratio: float) -> float:
    """Speed at the output of a gearbox whose ratio is known.

    n₂ = n₁ / i

    Args:
        driver_speed: input speed n₁, r/min, from 0 to 20 000.
        ratio: i, turns of the driver per turn of the driven shaft, from 0.05 to 200.
    Returns: output speed n₂, r/min.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, ch. 13.
    Worked example, Dornfeld on Hamrock, prob. 19.18 (1800 r/min, 20 to 50 mm, so i = 2.5, gives 720):
        >>> geared_speed(1800.0, 2.5)
        720.0
    """
    within("driver_speed", driver_speed, 0.0, 20_000.0, "r/min")
    within("ratio", ratio, 0.05, 200.0)
    return driver_speed / ratio


@formula(
    name="Measured belt slip",
    equation="s = 100 (1 - n₂ d₂ / (n₁ d₁))",
    unit="%",
    source="khurmi-gupta",
    at="ch. 11, slip of belt, solved for s",
)
def slip(driver_speed: float, driven_speed: float, driver_diameter: float, driven_diameter: float) -> float:
    """Slip of a belt from two measured speeds.

    s = 100 (1 - n₂ d₂ / (n₁ d₁))

    Below 0 means that a speed or a diameter is not what was written down: no belt runs ahead of its driver.

    Args:
        driver_speed: measured speed n₁, r/min, from 1 to 20 000.
        driven_speed: measured speed n₂, r/min, from 0 to 20 000.
        driver_diameter: pitch diameter d₁, mm, from 10 to 5000.
        driven_diameter: pitch diameter d₂, mm, from 10 to 5000.
    Returns: slip s, %.
    Raises: OutOfRange: an argument outside its range.
    Source: Khurmi and Gupta, Theory of Machines, ch. 11, solved for s.
    Worked example, Bansal Ex. 11.3 (200 to 300 r/min with 4 % slip: 60 cm with 0.5 cm of belt, to 38.22 cm):
        >>> round(slip(200.0, 300.0, 605.0, 387.2), 1)
        4.0
    """
    within("driver_speed", driver_speed, 1.0, 20_000.0, "r/min")
    within("driven_speed", driven_speed, 0.0, 20_000.0, "r/min")
    within("driver_diameter", driver_diameter, 10.0, 5000.0, "mm")
    within("driven_diameter", driven_diameter, 10.0, 5000.0, "mm")
    return 100.0 * (1.0 - driven_speed * driven_diameter / (driver_speed * driver_diameter))


@formula(name="Speed error", equation="e = 100 (m - c) / c", unit="%", source="definition")
def speed_error(measured: float, computed: float) -> float:
    """How far a measured speed is from the computed one; above 0 is too fast.

    e = 100 (m - c) / c

    Args:
        measured: measured speed m, r/min, from 0 to 20 000.
        computed: computed speed c, r/min, from 1 to 20 000.
    Returns: error e, % of the computed speed.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, Khurmi and Gupta Ex. 11.1 (1500 r/min without slip, 1440 printed with it):
        >>> speed_error(1440.0, 1500.0)
        -4.0
    """
    within("measured", measured, 0.0, 20_000.0, "r/min")
    within("computed", computed, 1.0, 20_000.0, "r/min")
    return 100.0 * (measured - computed) / computed


@formula(name="Torque", equation="T = 30 000 P / (π n)", unit="N m", source="definition")
def torque(power_kw: float, speed: float) -> float:
    """Torque on a shaft that carries a power at a speed.

    T = 30 000 P / (π n), often printed as 9549 P / n

    Args:
        power_kw: power P, kW, from 0 to 1000.
        speed: shaft speed n, r/min, from 1 to 20 000.
    Returns: torque T, N m.
    Raises: OutOfRange: an argument outside its range.
    Source: definition of power. Texts that print 63 000 for 63 025 (inches, hp) are 0.04 % low.
    Worked example, Dornfeld on Hamrock, prob. 19.18 (62.5 W at 1800 r/min gives 0.332 N m):
        >>> round(torque(0.0625, 1800.0), 3)
        0.332
    """
    within("power_kw", power_kw, 0.0, 1000.0, "kW")
    within("speed", speed, 1.0, 20_000.0, "r/min")
    return TORQUE_CONSTANT * power_kw / speed


@formula(name="Shaft power", equation="P = π T n / 30 000", unit="kW", source="definition")
def power(shaft_torque: float, speed: float) -> float:
    """Power that a shaft carries at a torque and a speed.

    P = π T n / 30 000

    Args:
        shaft_torque: torque T, N m, from 0 to 100 000.
        speed: shaft speed n, r/min, from 0 to 20 000.
    Returns: power P, kW.
    Raises: OutOfRange: an argument outside its range.
    Source: definition of power.
    Worked example, Wentzell Ex. 14.1 (51.43 lb in, 5.811 N m, at 2450 r/min is 2 hp, 1.491 kW):
        >>> round(power(5.811, 2450.0), 3)
        1.491
    """
    within("shaft_torque", shaft_torque, 0.0, 100_000.0, "N m")
    within("speed", speed, 0.0, 20_000.0, "r/min")
    return shaft_torque * speed / TORQUE_CONSTANT
