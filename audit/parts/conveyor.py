"""What chain conveyors share: the feeder house conveyor and the elevators."""

from __future__ import annotations

from audit.drives.chain import ELONGATION, FIXED_CENTRES, WEAR_READINGS, elongation_allowed
from audit.nouns.kind import FactOf, Parameter
from audit.parts.shaft import SPEED_ERROR
from audit.physics import chains

PARAMETERS = (
    Parameter("sprocket_teeth", "1", "Teeth of the driving sprocket"),
    Parameter("pitch", "mm", "Chain pitch"),
    FIXED_CENTRES,
)
FACTS = (
    FactOf("chain_speed", "Chain speed", chains.chain_speed, ("sprocket_teeth", "pitch", "speed")),
    FactOf("pitch_diameter", "Driving sprocket", chains.pitch_diameter, ("pitch", "sprocket_teeth")),
    FactOf("chordal_variation", "Speed variation by the chord", chains.chordal_variation, ("sprocket_teeth",)),
    ELONGATION,
    FactOf("elongation_limit", "Most elongation allowed", elongation_allowed, ("sprocket_teeth", "fixed_centres")),
    SPEED_ERROR,
)
READINGS = WEAR_READINGS
