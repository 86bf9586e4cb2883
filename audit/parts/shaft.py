"""A shaft and what every shaft has."""

from audit.nouns.kind import FactOf, Kind, Parameter
from audit.physics import rotation

SPEED_ERROR = FactOf(
    "speed_error",
    "Measured speed against what it should be",
    rotation.speed_error,
    ("measured_speed", "speed"),
)
TIP = Parameter("tip_diameter", "mm", "Diameter over the tips of what the shaft carries", required=False)

KIND = Kind(
    name="shaft",
    families=("shaft",),
    meaning="A shaft with what it carries",
    parameters=(
        TIP,
        Parameter("governed_speed", "r/min", "Governed speed, for the engine only", required=False),
    ),
    facts=(
        FactOf("tip_speed", "Tip speed", rotation.tip_speed, ("tip_diameter", "speed")),
        SPEED_ERROR,
    ),
)
