"""Conveyor of the feeder house."""

from audit.nouns.kind import FactOf, Kind
from audit.parts.conveyor import FACTS, PARAMETERS, READINGS
from audit.physics.formula import formula, within


@formula(name="Conveyor speed index", equation="v_chain / v_ground", unit="1", source="definition")
def speed_index(chain_speed: float, ground_speed: float) -> float:
    """Speed of the feeder house chain over ground speed, both m/s. Raises OutOfRange below 0.1 m/s over ground."""
    within("ground_speed", ground_speed, 0.1, 10.0, "m/s")
    return chain_speed / ground_speed


KIND = Kind(
    name="feeder_conveyor",
    families=("shaft", "any_chain", "conveyor", "feeder_conveyor"),
    meaning="Conveyor of the feeder house: chains with slats",
    parameters=PARAMETERS,
    quantities=READINGS,
    facts=(
        *FACTS,
        FactOf("speed_index", "Chain speed over ground speed", speed_index, ("chain_speed", "job.ground_speed")),
    ),
)
