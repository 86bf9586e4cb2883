"""Coupling, joint or common shaft: both ends turn alike."""

from audit.nouns.kind import Carry, Kind
from audit.physics.formula import formula


@formula(name="Direct drive", equation="n₂ = n₁", unit="r/min", source="definition")
def same_speed(driver_speed: float) -> float:
    """The driven shaft turns as fast as the driver, r/min."""
    return driver_speed


KIND = Kind(
    name="direct",
    families=("drive", "direct"),
    meaning="Coupling, joint or common shaft",
    carry=Carry(same_speed, (), (), ()),
)
