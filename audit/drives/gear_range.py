"""Gearbox whose ratio depends on a range lever, or does not."""

from audit.nouns.kind import Carry, FactOf, Kind, Parameter
from audit.physics import rotation
from audit.physics.formula import formula


@formula(
    name="Measured ratio against the gears'",
    equation="e = 100 (n₂ i / n₁ - 1)",
    unit="%",
    source="khurmi-gupta",
    at="ch. 13, gear trains, solved for the error",
)
def ratio_error(driver_speed: float, driven_speed: float, ratio: float) -> float:
    """How far the measured speed behind a gearbox is from what the one before it makes; above 0 is too fast.

    Args:
        driver_speed: measured speed n₁ before the gears, r/min, above 0 to 20 000.
        driven_speed: measured speed n₂ behind them, r/min.
        ratio: i, turns of the driver for one of the driven shaft, from 0.05 to 200.
    Returns: error e, %.
    Raises: OutOfRange: an argument outside its range.
    Source: n₂ = n₁ / i of Khurmi and Gupta, Theory of Machines, ch. 13.
    Worked example, Dornfeld on Hamrock, prob. 19.18 (1800 r/min and i = 2.5 give 720), measured at 756:
        >>> round(ratio_error(1800.0, 756.0, 2.5), 6)
        5.0
    """
    return rotation.speed_error(driven_speed, rotation.geared_speed(driver_speed, ratio))


KIND = Kind(
    name="gear_range",
    families=("drive", "gear", "gear_range"),
    meaning="Gearbox; its ratio may depend on a range lever",
    parameters=(Parameter("ratio", "1", "Turns of the driving shaft for one of the driven"),),
    facts=(
        FactOf(
            "ratio_error", "Measured speeds against the gear ratio", ratio_error,
            ("driver.measured_speed", "driven.measured_speed", "ratio"),
        ),
    ),
    carry=Carry(rotation.geared_speed, ("ratio",), ("ratio",), ("ratio",)),
)  # fmt: skip
