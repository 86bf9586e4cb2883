"""V-belt on two fixed sheaves."""

from audit.drives.belt import CARRY_ARGS, PULLEYS, RUN, TENSION, TWO_SHEAVE_FACTS, UPKEEP, UPKEEP_FACTS
from audit.nouns.kind import Carry, Kind
from audit.physics import rotation

KIND = Kind(
    name="v_belt",
    families=("drive", "open_drive", "belt", "fixed_belt", "v_belt"),
    meaning="V-belt, or banded V-belts, on two fixed sheaves",
    parameters=PULLEYS + RUN,
    quantities=UPKEEP + TENSION,
    facts=TWO_SHEAVE_FACTS + UPKEEP_FACTS,
    carry=Carry(rotation.belt_driven_speed, CARRY_ARGS, CARRY_ARGS, CARRY_ARGS),
)
