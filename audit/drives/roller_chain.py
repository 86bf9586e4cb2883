"""Roller chain on two sprockets."""

from audit.drives.belt import number
from audit.drives.chain import ELONGATION, FIXED_CENTRES, WEAR_READINGS, elongation_allowed
from audit.nouns.kind import Carry, FactOf, Kind, Parameter
from audit.physics import chain_slack, chains, rotation
from audit.physics.formula import formula


@formula(name="Larger tooth count", equation="max(n, N)", unit="1", source="definition")
def largest_teeth(driver_teeth: float, driven_teeth: float) -> float:
    """The larger of two tooth counts."""
    return max(driver_teeth, driven_teeth)


@formula(name="Smaller tooth count", equation="min(n, N)", unit="1", source="definition")
def smallest_teeth(driver_teeth: float, driven_teeth: float) -> float:
    """The smaller of two tooth counts."""
    return min(driver_teeth, driven_teeth)


KIND = Kind(
    name="roller_chain",
    families=("drive", "open_drive", "any_chain", "chain", "roller_chain"),
    meaning="Roller chain on two sprockets",
    parameters=(
        Parameter("pitch", "mm", "Chain pitch"),
        Parameter("driver_teeth", "1", "Teeth of the driving sprocket"),
        Parameter("driven_teeth", "1", "Teeth of the driven sprocket"),
        Parameter("centre", "mm", "Centre distance of the sprockets"),
        FIXED_CENTRES,
        Parameter("duty", "", "shock: impulse, reversing or vertical centres", words=("normal", "shock")),
        Parameter("min_ultimate", "N", "Least breaking force of the chain", required=False),
    ),
    quantities=(
        *WEAR_READINGS,
        number(
            "movement", "Total up-and-down movement of the slack strand at mid-span", "mm", 0, 500,
            "Pull one strand tight, move the other by hand against a rule; engine off, key out.", 3,
        ),
        number(
            "offset", "Offset of the sprocket faces", "mm", 0, 200,
            "Straightedge across both sprockets; engine off, key out.", 3,
        ),
    ),
    facts=(
        FactOf("largest_teeth", "Larger sprocket", largest_teeth, ("driver_teeth", "driven_teeth")),
        FactOf("smallest_teeth", "Smaller sprocket", smallest_teeth, ("driver_teeth", "driven_teeth")),
        FactOf("chain_speed", "Chain speed", chains.chain_speed, ("driver_teeth", "pitch", "driver.speed")),
        FactOf("chordal_variation", "Speed variation by the chord", chains.chordal_variation, ("smallest_teeth",)),
        FactOf(
            "length_pitches", "Chain length", chains.length_in_pitches,
            ("driver_teeth", "driven_teeth", "pitch", "centre"),
        ),
        FactOf("links", "Links to fit, an even number", chains.even_pitches, ("length_pitches",)),
        FactOf(
            "centre_needed",
            "Centre distance for that many links",
            chains.centre_for_pitches,
            ("driver_teeth", "driven_teeth", "pitch", "links"),
        ),
        FactOf("driver_pitch_diameter", "Driving sprocket", chains.pitch_diameter, ("pitch", "driver_teeth")),
        FactOf("driven_pitch_diameter", "Driven sprocket", chains.pitch_diameter, ("pitch", "driven_teeth")),
        FactOf("sag", "Sag of the slack strand", chain_slack.sag_from_movement, ("movement",)),
        FactOf(
            "tension_ceiling", "Most tension in service", chain_slack.service_tension_ceiling, ("min_ultimate",)
        ),
        ELONGATION,
        FactOf(
            "elongation_limit", "Most elongation allowed", elongation_allowed,
            ("largest_teeth", "fixed_centres"),
        ),
        FactOf("movement_low", "Least movement at mid-span", chain_slack.movement_low, ("centre", "duty")),
        FactOf("movement_high", "Most movement at mid-span", chain_slack.movement_high, ("centre", "duty")),
        FactOf("offset_limit", "Most offset allowed", chains.offset_limit, ("centre",)),
        FactOf(
            "wrap_small", "Wrap on the smaller sprocket", chains.wrap_small_sprocket,
            ("driver_teeth", "driven_teeth", "pitch", "centre"),
        ),
    ),
    carry=Carry(
        rotation.toothed_driven_speed,
        ("driver_teeth", "driven_teeth"), ("driver_teeth", "driven_teeth"), ("driver_teeth", "driven_teeth"),
    ),
)  # fmt: skip
