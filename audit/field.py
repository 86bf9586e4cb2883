"""Facts of the whole machine at work: losses from counts, reel index, capacity."""

from __future__ import annotations

from audit.nouns.kind import FactOf, In
from audit.physics import harvest
from audit.physics.formula import formula, within

HOURS_A_DAY = 10.0


@formula(name="First that is known", equation="counted, else usual", unit="1/kg", source="definition")
def counted_or_usual(counted: float | None, usual: float | None) -> float | None:
    """Seeds per kilogram as counted for this field, else the crop card's usual figure."""
    return usual if counted is None else counted


@formula(
    name="Count lost through the machine",
    equation="(behind - header) / f, f = cut width / discharge width",
    unit="1/m2",
    source="small-grain-loss-2003",
)
def machine_count(
    behind: float | None,
    in_strip: float | None,
    beside: float | None,
    cut: float | None,
    discharge: float | None,
) -> float | None:
    """Seeds lost through the machine per m² of cut, counted over the full cut or in a narrow discharge strip.

    Args (all 1/m², widths m, None for not taken):
        behind: counted over the full cut.   in_strip: counted in the strip where residue falls.
        beside: counted behind the header only.   cut, discharge: widths of cut and strip.
    Returns: count, or None where neither way was taken in full.
    """
    if beside is None:
        return None
    if in_strip is not None and cut is not None and discharge is not None:
        return harvest.machine_loss(in_strip, beside, harvest.concentration_factor(cut, discharge))
    return None if behind is None else harvest.machine_loss(behind, beside, 1.0)


@formula(name="Sum of losses", equation="header + machine", unit="kg/ha", source="definition")
def both(header: float, machine: float) -> float:
    """Loss at the header and through the machine together, kg/ha."""
    return header + machine


@formula(name="Share of a loss", equation="loss × share / 100", unit="kg/ha", source="definition")
def part_of(loss: float, share: float) -> float:
    """A percentage of a loss, kg/ha."""
    return loss * share / 100.0


@formula(name="Area harvested in a day", equation="Ca × hours", unit="ha", source="definition")
def area_in(capacity: float, hours: float) -> float:
    """Area harvested in the hours of a day, ha."""
    return capacity * hours


@formula(name="Time to finish", equation="area / capacity", unit="h", source="definition")
def time_for(area: float, capacity: float) -> float:
    """Working time for an area, ha, at a field capacity above 0.001 ha/h, h. Raises OutOfRange below it."""
    within("capacity", capacity, 0.001, 1000.0, "ha/h")
    return area / capacity


_BESIDE, _AHEAD = "loss.header", "loss.standing"
_SEEDS, _BUSHEL, _YIELD = "loss.seeds_per_kg", "crop.test_weight", "job.grain_yield"
_SPEED, _CUT, _STRIP = In("job.ground_speed", "km/h"), In("job.header_width", "m"), In("loss.discharge_width", "m")
_OVER_GROUND = ("header.reel_speed", _SPEED)
_COUNTS = ("loss.behind", "loss.in_strip", _BESIDE, _CUT, _STRIP)


def _loss(part: str, meaning: str, of: str) -> tuple[FactOf, ...]:
    """A loss in kg/ha as bushels per acre and as a share of the crop."""
    return (
        FactOf(f"loss.{part}_bu_ac", meaning, harvest.bushels_per_acre, (of, _BUSHEL)),
        FactOf(f"loss.{part}_percent", meaning, harvest.loss_percent, (of, _YIELD)),
    )


FACTS: tuple[FactOf, ...] = (
    FactOf("header.reel_index", "Reel speed over ground speed", harvest.reel_index, _OVER_GROUND),
    FactOf(
        "header.rows_width",
        "Width that the header's rows make",
        harvest.rows_width,
        ("job.header_rows", "job.row_spacing"),
    ),
    FactOf(_SEEDS, "Seeds in a kilogram", counted_or_usual, ("job.seeds_per_kg", "crop.seeds_per_kg"), needs_all=False),
    FactOf("loss.header_count", "Count lost at the header", harvest.header_loss, (_BESIDE, _AHEAD)),
    FactOf("loss.machine_count", "Count lost through the machine", machine_count, _COUNTS, needs_all=False),
    FactOf("loss.standing_kg_ha", "Pre-harvest loss", harvest.loss_from_count, (_AHEAD, _SEEDS)),
    FactOf("loss.header_kg_ha", "Loss at the header", harvest.loss_from_count, ("loss.header_count", _SEEDS)),
    FactOf("loss.machine_kg_ha", "Loss through the machine", harvest.loss_from_count, ("loss.machine_count", _SEEDS)),
    FactOf("loss.total_kg_ha", "Loss by the combine", both, ("loss.header_kg_ha", "loss.machine_kg_ha")),
    *_loss("header", "Loss at the header", "loss.header_kg_ha"),
    *_loss("machine", "Loss through the machine", "loss.machine_kg_ha"),
    *_loss("total", "Loss by the combine", "loss.total_kg_ha"),
    FactOf("loss.unthreshed_kg_ha", "Unthreshed grain lost", part_of, ("loss.machine_kg_ha", "loss.unthreshed_behind")),
    FactOf("loss.unthreshed_percent", "Unthreshed grain lost", harvest.loss_percent, ("loss.unthreshed_kg_ha", _YIELD)),
    FactOf("field.capacity", "Field capacity", harvest.field_capacity, (_SPEED, _CUT, "field.efficiency")),
    FactOf(
        "field.material_capacity", "Grain harvested in an hour", harvest.material_capacity, ("field.capacity", _YIELD)
    ),
    FactOf(
        "field.loss_per_day_late",
        "Crop lost for each day that harvest is late",
        harvest.timeliness_loss,
        ("crop.timeliness", 1.0, _YIELD),
    ),
    FactOf("field.hectares_per_day", "Area in a day of ten hours", area_in, ("field.capacity", HOURS_A_DAY)),
    FactOf("field.hours_left", "Working time for the area left", time_for, ("job.hectares", "field.capacity")),
)
