"""V-belt on two stepped sheaves: the belt is moved by hand from one step to the other, at both ends."""

from audit.drives.belt import CARRY_ARGS, PULLEYS, RUN, TENSION, TWO_SHEAVE_FACTS, UPKEEP, UPKEEP_FACTS
from audit.nouns.kind import Carry, FactOf, Kind
from audit.nouns.quantity import Form, Quantity, Role
from audit.physics import rotation
from audit.physics.formula import formula

STEPS = (("small", "the belt runs on the small step"), ("large", "the belt runs on the large step"))


@formula(
    name="Step of a stepped pair",
    equation="large drives small: fast; small drives large: slow; else mismatched",
    unit="",
    source="definition",
)
def step_of(driving: str, driven: str) -> str:
    """Which step the belt is on, from the steps at both ends: fast, slow or mismatched."""
    return {("large", "small"): "fast", ("small", "large"): "slow"}.get((driving, driven), "mismatched")


KIND = Kind(
    name="stepped_v_belt",
    families=("drive", "open_drive", "belt", "fixed_belt", "stepped_v_belt"),
    meaning="V-belt on two stepped sheaves",
    parameters=PULLEYS + RUN,
    quantities=(
        Quantity("driving", Role.SETTING, Form.WORD, "Step of the driving sheave the belt runs on", words=STEPS),
        Quantity("driven", Role.SETTING, Form.WORD, "Step of the driven sheave the belt runs on", words=STEPS),
        *UPKEEP,
        *TENSION,
    ),
    facts=(
        FactOf("step", "Step the drive is on", step_of, ("driving", "driven")),
        *TWO_SHEAVE_FACTS,
        *UPKEEP_FACTS,
    ),
    carry=Carry(rotation.belt_driven_speed, CARRY_ARGS, CARRY_ARGS, CARRY_ARGS),
)
