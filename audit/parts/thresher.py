"""Rotor or cylinder with its concave."""

from audit.nouns.kind import FactOf, Kind, Parameter
from audit.parts.shaft import SPEED_ERROR
from audit.physics import rotation

KIND = Kind(
    name="thresher",
    families=("shaft", "thresher"),
    meaning="Rotor or cylinder that threshes, with its concave",
    parameters=(
        Parameter("diameter", "mm", "Diameter over the threshing elements"),
        Parameter("element", "", "Threshing element", words=("rasp-bar", "peg-tooth", "tine")),
    ),
    facts=(
        FactOf("tip_speed", "Tip speed", rotation.tip_speed, ("diameter", "speed")),
        FactOf(
            "wanted_low", "Speed for the low end of the crop's tip speed", rotation.speed_for_tip_speed,
            ("diameter", "target.thresher.tip_speed.low"),
        ),
        FactOf(
            "wanted_high", "Speed for the high end of the crop's tip speed", rotation.speed_for_tip_speed,
            ("diameter", "target.thresher.tip_speed.high"),
        ),
        SPEED_ERROR,
    ),
)  # fmt: skip
