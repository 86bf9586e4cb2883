"""What all belt kinds share. A formula of ours here is a definition, not physics."""

from __future__ import annotations

from audit.nouns.kind import FactOf, Parameter
from audit.nouns.quantity import Form, Quantity, Role, When
from audit.physics import belt_load, belt_tension, belts, rotation
from audit.physics.formula import formula

REFERENCE_TEMPERATURE = 60.0  # degC, what a well kept belt does not exceed


@formula(name="Larger of two", equation="max(a, b)", unit="mm", source="definition")
def larger(first: float, second: float) -> float:
    """The larger of two diameters, mm."""
    return max(first, second)


@formula(name="Smaller of two", equation="min(a, b)", unit="mm", source="definition")
def smaller(first: float, second: float) -> float:
    """The smaller of two diameters, mm."""
    return min(first, second)


@formula(
    name="Classical section with the same profile",
    equation="HA → A … HD → D",
    unit="",
    source="iso-3410",
    at="agricultural sections HA to HE share the classical profiles",
)
def classical_section(section: str) -> str:
    """The classical section whose profile an agricultural section (HA to HE) shares; any other stays."""
    return section[1:] if section in ("HA", "HB", "HC", "HD", "HE") else section


@formula(name="Length needed beyond the belt's", equation="L₀ - L", unit="mm", source="definition")
def length_beyond(needed_length: float, belt_length: float) -> float:
    """How much longer a run is than the belt, mm; below 0 the belt is too long for it."""
    return needed_length - belt_length


def number(
    name: str, meaning: str, unit: str, lowest: float, highest: float, how: str, minutes: float = 1.0,
    when: When = When.STOPPED,
) -> Quantity:  # fmt: skip
    """A reading of a kind, taken as a number; ``minutes`` and ``when`` as in Quantity."""
    return Quantity(
        name, Role.READING, Form.NUMBER, meaning, unit,
        lowest=lowest, highest=highest, how=how, minutes=minutes, when=when,
    )  # fmt: skip


PULLEYS = (
    Parameter("driver_diameter", "mm", "Pitch diameter of the driving sheave"),
    Parameter("driven_diameter", "mm", "Pitch diameter of the driven sheave"),
)
RUN = (
    Parameter("centre", "mm", "Centre distance of the sheaves"),
    Parameter("section", "", "Belt section"),
    Parameter("slip", "%", "Slip at full load that the speeds are reckoned with"),
    Parameter("belt_length", "mm", "Pitch length of the belt", required=False),
    Parameter(
        "take_up",
        "mm",
        "How far the run may differ from the belt's length and still be tensioned",
        required=False,
    ),
)
UPKEEP = (
    number(
        "misalignment", "Offset of the sheave faces over the centre distance", "mm", 0, 200,
        "Straightedge across both sheaves, rule at the far rim; engine off, key out.", 3,
    ),
    number(
        "temperature", "Belt temperature just after stopping from work", "degC", -40, 250,
        "Infrared thermometer at the belt's side; stopped, key out, guard opened last.", 2, When.AT_WORK,
    ),
    number("hours_since_new", "Hours run since the belt was fitted", "h", 0, 20000, "From the work record."),
)  # fmt: skip
TENSION = (
    number(
        "deflection_force", "Force that deflects the belt 16 mm per metre of span at mid-span", "N", 0, 2000,
        "Spring gauge at mid-span, straightedge from sheave to sheave; engine off, key out.", 5,
    ),
)  # fmt: skip

UPKEEP_FACTS = (
    FactOf("misalignment_limit", "Most misalignment allowed", belts.misalignment_limit, ("centre",)),
    FactOf(
        "life_factor", "Belt life against a belt at 60 °C", belt_load.life_factor_for_temperature,
        ("temperature", REFERENCE_TEMPERATURE),
    ),
)  # fmt: skip

TWO_SHEAVE_FACTS = (
    FactOf("larger_diameter", "Larger sheave", larger, ("driver_diameter", "driven_diameter")),
    FactOf("smaller_diameter", "Smaller sheave", smaller, ("driver_diameter", "driven_diameter")),
    FactOf("belt_speed", "Belt speed", belts.belt_speed, ("driver_diameter", "driver.speed")),
    FactOf(
        "wrap_small", "Wrap on the smaller sheave", belts.wrap_small,
        ("larger_diameter", "smaller_diameter", "centre"),
    ),
    FactOf("arc_factor", "Arc-of-contact factor", belts.arc_factor, ("wrap_small",)),
    FactOf("capacity_lost", "Capacity lost to wrap below 180°", belts.capacity_lost, ("wrap_small",)),
    FactOf("span", "Free span", belts.span, ("larger_diameter", "smaller_diameter", "centre")),
    FactOf("test_deflection", "Deflection of the tension test", belt_tension.test_deflection, ("span",)),
    FactOf("test_section", "Section whose force band applies", classical_section, ("section",)),
    FactOf("force_low", "Least test force", belt_tension.force_low, ("test_section", "smaller_diameter")),
    FactOf("force_high", "Most test force", belt_tension.force_high, ("test_section", "smaller_diameter")),
    FactOf(
        "length_needed", "Belt length this pair needs", belts.open_belt_length,
        ("larger_diameter", "smaller_diameter", "centre"),
    ),
    FactOf(
        "centre_needed",
        "Centre distance at which the belt fits",
        belts.centre_for_length,
        ("larger_diameter", "smaller_diameter", "belt_length"),
    ),
    FactOf(
        "strand_tension",
        "Tension of the strand by the deflection test",
        belt_tension.strand_tension,
        ("deflection_force", "span", "test_deflection"),
    ),
    FactOf(
        "length_error", "Length needed beyond the belt's", length_beyond, ("length_needed", "belt_length")
    ),
    FactOf(
        "measured_slip", "Slip by the measured speeds of both shafts", rotation.slip,
        ("driver.measured_speed", "driven.measured_speed", "driver_diameter", "driven_diameter"),
    ),
)  # fmt: skip

CARRY_ARGS: tuple[str, str, str] = ("driver_diameter", "driven_diameter", "slip")
