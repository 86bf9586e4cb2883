"""Clean grain or tailings elevator."""

from audit.nouns.kind import Kind
from audit.parts.conveyor import FACTS, PARAMETERS, READINGS

KIND = Kind(
    name="elevator",
    families=("shaft", "any_chain", "conveyor", "elevator"),
    meaning="Clean grain or tailings elevator: chain with paddles",
    parameters=PARAMETERS,
    quantities=READINGS,
    facts=FACTS,
)
