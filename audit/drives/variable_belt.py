"""Variable-speed belt: two sheaves whose halves open and close against each other."""

import math

from audit.drives.belt import RUN, UPKEEP, UPKEEP_FACTS, larger, length_beyond, number, smaller
from audit.nouns.kind import Carry, FactOf, Kind, Parameter
from audit.physics import belts, rotation, variator
from audit.physics.formula import formula, within

LUMPED_FRICTION = 0.5123  # Shigley's effective friction of a V-belt in its groove, tension ratio 5 at 180°


@formula(
    name="Grip lost to a smaller wrap",
    equation="100 (1 - (1 - e^(-f θ')) / (1 - e^(-f θ))), f = 0.5123",
    unit="%",
    source="shigley-10",
    at="ch. 17, V-belts, effective coefficient of friction",
)
def grip_lost(wrap_before: float, wrap_left: float) -> float:
    """Part of the pull that a V-belt can hand to a sheave that goes with a loss of wrap.

    The pull (T1 - T2) / T1 is 1 - e^(-f θ); the share lost compares it at both wraps.

    Args:
        wrap_before: wrap θ without the idler, deg, from 60 to 300.
        wrap_left: wrap θ' with it, deg, from 30 to θ.
    Returns: share lost, %.
    Raises: OutOfRange: a wrap outside its range.
    Source: Shigley, effective coefficient of friction 0.5123, which makes the tension ratio 5 at 180°.
    Worked example: at 180° the pull is 1 - 1/5 = 0.8 of T1; at 90° the ratio is √5, the pull 0.553:
        >>> round(grip_lost(180.0, 90.0), 1)
        30.9
    """
    within("wrap_before", wrap_before, 60.0, 300.0, "deg")
    within("wrap_left", wrap_left, 30.0, wrap_before, "deg")
    before, left = (1 - math.exp(-LUMPED_FRICTION * math.radians(wrap)) for wrap in (wrap_before, wrap_left))
    return 100.0 * (1.0 - left / before)


KIND = Kind(
    name="variable_belt",
    families=("drive", "open_drive", "belt", "variable_belt"),
    meaning="V-belt on two sheaves of variable diameter",
    parameters=(
        Parameter("driver_slow", "mm", "Pitch diameter of the driving sheave at the slow end"),
        Parameter("driven_slow", "mm", "Pitch diameter of the driven sheave at the slow end"),
        Parameter("driver_fast", "mm", "Pitch diameter of the driving sheave at the fast end"),
        Parameter("driven_fast", "mm", "Pitch diameter of the driven sheave at the fast end"),
        *RUN,
        Parameter("groove_angle", "deg", "Full angle between the sheave faces"),
        Parameter(
            "idler_distance", "mm",
            "Along the span, from the tangent point on the driven sheave to the idler", required=False,
        ),
    ),
    quantities=(
        number(
            "idler_rise", "How far the idler pushes the belt out of its straight span", "mm", 0, 300,
            "Straightedge from sheave to sheave, rule to the belt at the idler; engine off, key out.", 3,
        ),
        *UPKEEP,
    ),
    facts=(
        FactOf("larger_slow", "Larger sheave at the slow end", larger, ("driver_slow", "driven_slow")),
        FactOf("smaller_slow", "Smaller sheave at the slow end", smaller, ("driver_slow", "driven_slow")),
        FactOf(
            "wrap_slow", "Wrap on the smaller sheave at the slow end", belts.wrap_small,
            ("larger_slow", "smaller_slow", "centre"),
        ),
        FactOf(
            "wrap_driven", "Wrap on the driven sheave at the slow end, no idler", belts.wrap_large,
            ("larger_slow", "smaller_slow", "centre"),
        ),
        FactOf("span", "Free span at the slow end", belts.span, ("larger_slow", "smaller_slow", "centre")),
        FactOf(
            "wrap_left", "Wrap left on the driven sheave with the idler as it stands", belts.wrap_after_idler,
            ("wrap_driven", "span", "idler_rise", "idler_distance"),
        ),
        FactOf(
            "capacity_lost", "Grip lost on the driven sheave to the idler", grip_lost,
            ("wrap_driven", "wrap_left"),
        ),
        FactOf(
            "length_slow", "Belt length needed at the slow end", belts.open_belt_length,
            ("driver_slow", "driven_slow", "centre"),
        ),
        FactOf(
            "length_fast", "Belt length needed at the fast end", belts.open_belt_length,
            ("driver_fast", "driven_fast", "centre"),
        ),
        FactOf(
            "driven_at_fast",
            "Driven sheave that the belt leaves at the fast end",
            variator.mate_diameter,
            ("driver_fast", "belt_length", "centre"),
        ),
        FactOf(
            "length_error", "Length needed at the slow end beyond the belt's", length_beyond,
            ("length_slow", "belt_length"),
        ),
        *UPKEEP_FACTS,
    ),
    carry=Carry(
        rotation.belt_driven_speed,
        ("driver_slow", "driven_slow", "slip"),
        ("driver_slow", "driven_slow", "slip"),
        ("driver_fast", "driven_fast", "slip"),
    ),
)  # fmt: skip
