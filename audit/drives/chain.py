"""What chains share: wear by measured length, whether they drive a shaft or carry crop and grain."""

from __future__ import annotations

from audit.drives.belt import number
from audit.nouns.kind import FactOf, Parameter
from audit.physics import chain_slack
from audit.physics.formula import formula

FIXED_CENTRES = Parameter("fixed_centres", "", "Whether the centre distance can be set", words=("fixed", "adjustable"))

WEAR_READINGS = (
    number(
        "measured_length", "Length over the measured pitches, pin centre to pin centre, under tension", "mm",
        10, 20000, "Tape over as many pitches as can be reached, no offset link; engine off, key out.", 5,
    ),
    number("measured_pitches", "Pitches that the measured length covers", "1", 1, 500, "Count the links."),
)  # fmt: skip

ELONGATION = FactOf(
    "elongation", "Wear elongation", chain_slack.elongation, ("measured_length", "measured_pitches", "pitch")
)


@formula(
    name="Elongation limit",
    equation="min(3, 200 / z), fixed centres min(1.5, 200 / z)",
    unit="%",
    source="chain-maintenance-faq",
    at="wear",
)
def elongation_allowed(largest_teeth: float, centres: str) -> float:
    """Most wear elongation before a chain is replaced, %, by its largest sprocket and whether centres are fixed."""
    return chain_slack.elongation_limit(largest_teeth, centres == "fixed")
