"""Gearbox whose ratio depends on a range lever, or does not."""

from audit.nouns.kind import Carry, Kind, Parameter
from audit.physics import rotation

KIND = Kind(
    name="gear_range",
    families=("drive", "gear", "gear_range"),
    meaning="Gearbox; its ratio may depend on a range lever",
    parameters=(Parameter("ratio", "1", "Turns of the driving shaft for one of the driven"),),
    carry=Carry(rotation.geared_speed, ("ratio",), ("ratio",), ("ratio",)),
)
