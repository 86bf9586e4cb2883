"""Pair of gears."""

from audit.nouns.kind import Carry, Kind, Parameter
from audit.physics import rotation

_TEETH = ("driver_teeth", "driven_teeth")

KIND = Kind(
    name="gear_pair",
    families=("drive", "gear", "gear_pair"),
    meaning="Pair of gears",
    parameters=(
        Parameter("driver_teeth", "1", "Teeth of the driving gear"),
        Parameter("driven_teeth", "1", "Teeth of the driven gear"),
    ),
    carry=Carry(rotation.toothed_driven_speed, _TEETH, _TEETH, _TEETH),
)
