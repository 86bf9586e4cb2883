"""What combines are made of: shafts by kind of threshing, stations, what is moved and what is read."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Offered:
    """A shaft that such a machine usually has.

    Attributes:
        kind: of shaft.   tips: it carries something whose tip speed matters.
        threshing: kinds of threshing that have it, () for all.
    """

    id: str
    title: str
    station: str
    kind: str = "shaft"
    tips: bool = False
    threshing: tuple[str, ...] = ()


AXIAL, WALKERS, HYBRID = "axial-rotor", "cylinder-and-walkers", "cylinder-and-rotors"
THRESHING = {
    AXIAL: "one or two rotors along the machine thresh and separate",
    WALKERS: "a cylinder across the machine threshes, straw walkers separate",
    HYBRID: "a cylinder across the machine threshes, separating rotors follow",
}
THRESHER = {AXIAL: ("rotor", "Rotor"), WALKERS: ("cylinder", "Cylinder"), HYBRID: ("cylinder", "Cylinder")}

STATIONS = (
    ("header", "Header and coupling", ("header", "coupler", "corn_head")),
    ("feeder", "Feeder house", ("feeder",)),
    ("threshing", "Threshing and concave", ("concave",)),
    ("drives", "Main drives", ()),
    ("residue", "Separation, chopper and spreader", ("separator", "walkers", "chopper", "deflector", "spreader")),
    ("cleaning", "Cleaning shoe and fan", ("shoe",)),
    ("elevators", "Elevators and augers", ("unloading", "tank_auger")),
    ("engine", "Engine deck", ("engine",)),
    ("cab", "Cab, fire and people", ("fire", "people", "settings")),
    ("field", "In the field", ("loss", "losses", "field")),
)
"""Id, title and parts, in walk-round order."""

_OFFERED = (
    Offered("main_gearbox", "Main gearbox output", "drives"),
    Offered("separator", "Separator countershaft", "drives"),
    Offered("lower_shaft", "Lower countershaft", "drives", threshing=(WALKERS,)),
    Offered("rotor_input", "Rotor gearbox input", "threshing", threshing=(AXIAL,)),
    Offered("rotor", "Rotor", "threshing", "thresher", threshing=(AXIAL,)),
    Offered("cylinder_input", "Cylinder gearbox input", "threshing", threshing=(WALKERS, HYBRID)),
    Offered("cylinder", "Cylinder", "threshing", "thresher", threshing=(WALKERS, HYBRID)),
    Offered("separating_rotor", "Separating rotor", "threshing", tips=True, threshing=(HYBRID,)),
    Offered("feeder_jackshaft", "Feeder jackshaft", "feeder"),
    Offered("feeder", "Feeder conveyor", "feeder", "feeder_conveyor"),
    Offered("header", "Header drive shaft", "header"),
    Offered("beater", "Infeed beater", "feeder", tips=True, threshing=(AXIAL, HYBRID)),
    Offered("discharge_beater", "Discharge beater", "threshing", tips=True, threshing=(AXIAL,)),
    Offered("rear_beater", "Rear beater", "threshing", tips=True, threshing=(WALKERS,)),
    Offered("walkers", "Straw walker crankshaft", "residue", threshing=(WALKERS,)),
    Offered("fan", "Cleaning fan", "cleaning", tips=True),
    Offered("shoe", "Shoe crankshaft", "cleaning"),
    Offered("grain_auger", "Clean grain cross auger", "elevators"),
    Offered("clean_elevator", "Clean grain elevator", "elevators", "elevator"),
    Offered("tailings_auger", "Tailings cross auger", "elevators"),
    Offered("tailings_elevator", "Tailings elevator", "elevators", "elevator"),
    Offered("tank_auger", "Tank filling auger", "elevators"),
    Offered("chopper", "Straw chopper", "residue", tips=True),
    Offered("spreader", "Residue spreader", "residue"),
    Offered("unloading_auger", "Unloading auger", "elevators"),
    Offered("cooling_fan", "Engine cooling fan", "engine"),
    Offered("alternator", "Alternator", "engine"),
)


def offered(threshing: str) -> tuple[Offered, ...]:
    """The shafts that a machine of this kind usually has beside its engine, outwards from it."""
    return tuple(one for one in _OFFERED if not one.threshing or threshing in one.threshing)


# r/min, common practice; wide, so that only what no machine can be is refused
_TURNS = {
    "fan": (150.0, 2600.0), "shoe": (100.0, 600.0), "walkers": (100.0, 400.0), "chopper": (500.0, 5000.0),
    "separating_rotor": (150.0, 1600.0), "header": (100.0, 1500.0),
}  # fmt: skip
_TURNS_BY_KIND = {"thresher": (100.0, 2200.0), "feeder_conveyor": (100.0, 1500.0), "elevator": (100.0, 1000.0)}
_ANY = (20.0, 9000.0)


def fastest_and_slowest(id: str, kind: str) -> tuple[float, float]:
    """Between which speeds such a shaft turns on any machine, r/min."""
    return _TURNS.get(id) or _TURNS_BY_KIND.get(kind, _ANY)


def drive_id(driven: str, kind: str) -> str:
    """What rules and procedures call the drive of a shaft.

    Some speak of one kind of drive only: a beater or chopper on plain sheaves has no step that could be wrong.
    """
    named = {
        ("feeder_jackshaft", "variable_belt"): "feeder_variable_drive",
        ("feeder", "roller_chain"): "feeder_drive_chain",
    }
    if driven in ("beater", "chopper") and kind != "stepped_v_belt":
        return f"{driven}_plain_drive"
    return named.get((driven, kind), f"{driven}_drive")


SETTINGS = (
    "header.reel_speed", "corn_head.deck_gap_front", "corn_head.deck_gap_rear", "feeder.drum", "feeder.drive_sprocket",
    "feeder.tensioner_bolt", "feeder.slack_taken_by", "THRESHER.speed", "THRESHER.concave_gap", "THRESHER.concave_type",
    "THRESHER.filler_plates", "shoe.fan_speed", "shoe.chaffer", "shoe.sieve", "chopper.height",
    "chopper.stationary_knives", "deflector.position", "spreader.width",
)  # fmt: skip
"""What a person moves on most machines."""

NEEDS = {
    "feeder.drive_sprocket": "feeder_drive_chain", "feeder.tensioner_bolt": "feeder_drive_chain",
    "feeder.drive_chain_rides": "feeder_drive_chain", "feeder.tensioner_hardware_tight": "feeder_drive_chain",
    "feeder.slack_taken_by": "feeder_variable_drive", "feeder.sheave_gap": "feeder_variable_drive",
    "feeder.slowest_speed": "feeder_variable_drive", "shoe.fan_speed": "fan", "chopper.height": "chopper",
    "chopper.stationary_knives": "chopper", "chopper.knives": "chopper", "chopper.knife_edges": "chopper",
    "chopper.in_balance": "chopper", "chopper.stationary_bank_tight": "chopper", "spreader.width": "spreader",
    "separator.walkers": "walkers",
}  # fmt: skip
"""The shaft or drive without which a setting or reading says nothing."""
