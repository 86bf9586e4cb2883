"""A fleet's report as tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from api.pages.sheets.speeds import Speed
from api.pages.sheets.tables import Cell, Column, Table
from api.pages.sheets.unit_sheet import speeds_table
from api.pages.sheets.wear import wear_table
from api.pages.view import View
from api.wire import Plain


def fleet_tables(
    plain: Plain, speeds: Mapping[str, Sequence[Speed]], limits: Sequence[Plain], view: View
) -> tuple[Table, ...]:
    """Units first; tables of what there is not are left out.

    Args:
        plain: as ``fleet_wire.fleet_json`` gives it, told.
    """
    tables = [_units(plain, view), _findings(plain, view), _farms(plain, view), _parts(plain, view)]
    tables.append(_faults(plain, view))
    if plain.get("visits"):
        tables.append(_visits(plain["visits"], view))
    if speeds:
        tables.append(speeds_table(list(speeds.items()), view))
    if limits:
        tables.append(wear_table(limits, view))
    return tuple(tables)


def _units(plain: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Unit of the fleet"), wide=18), Column(say("Farm"), wide=24), Column(say("Serial number"), wide=16),
        Column(say("Build year")), Column(say("Machine card"), wide=20), Column(say("Crop")),
        Column(say("Header"), wide=16), Column(say("State")), Column(say("Broken")), Column(say("Not known")),
        Column(say("Kept")), Column(say("At risk"), "h"), Column(say("Hidden at worst"), "h"),
        Column(say("Work"), "min"), Column(say("People")), Column(say("Parts needed"), wide=30), Column(say("No plan")),
        Column(say("Worst level")), Column(say("Worst finding"), wide=44),
    )  # fmt: skip
    return Table(say("Units"), columns, [_unit_row(one, view) for one in plain["worst_first"]])


def _unit_row(one: Plain, view: View) -> tuple[Cell, ...]:
    say, work = view.language.say, one["work"]
    worst = one["findings"][0] if one["findings"] else None
    return (
        one["unit"], one["farm"], one["serial"], one["build_year"], one["card"], say(one["crop"]),
        say(one["header_kind"]), say(one["clearance"]), one["broken"], one["unknown"], one["kept"],
        one["hours_at_risk"], one["hours_hidden"], work["minutes"] if work else None,
        work["people"] if work else None, ", ".join(work["parts"]) if work else None,
        work["conflict"] if work else None, say(worst["level"]) if worst else None,
        worst["title"] if worst else None,
    )  # fmt: skip


def _findings(plain: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Unit of the fleet"), wide=18), Column(say("Farm"), wide=24), Column(say("Verdict")),
        Column(say("Level")), Column(say("Index"), wide=8), Column(say("Rule"), wide=30),
        Column(say("Finding"), wide=44), Column(say("Part"), wide=26), Column(say("Station"), wide=22),
        Column(say("Side")), Column(say("Quantity"), wide=30), Column(say("Found"), wide=18),
        Column(say("Wanted"), wide=26), Column(say("Standing if it fails"), "h"), Column(say("Holds the start")),
        Column(say("Danger to people")), Column(say("Put right by"), wide=40),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (unit["unit"], unit["farm"], say(one["verdict"]), say(one["level"]), one["index"], one["rule"], one["title"],
         one["on_title"], one["station"], say(one["side"]), one["quantity"], one["found"], one["wanted"],
         one["downtime_h"], one["holds_start"], one["danger_to_people"],
         "; ".join(cure["title"] for cure in one["cure"]))
        for unit in plain["worst_first"] for one in unit["findings"]
    ]  # fmt: skip
    return Table(say("Findings"), columns, rows)


def _farms(plain: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Farm"), wide=26), Column(say("Units")), Column(say("Held")), Column(say("With work to do")),
        Column(say("Work"), "min"), Column(say("Of it for two people"), "min"), Column(say("At risk"), "h"),
        Column(say("Not planned")), Column(say("No plan")), Column(say("Parts needed"), wide=50),
        Column(say("Tools"), wide=50),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["farm"], one["units"], one["held"], one["to_do"], one["minutes"], one["minutes_for_two"],
         one["hours_at_risk"], len(one["unplanned"]), len(one["stuck"]),
         ", ".join(f"{part['part']} ({part['units']})" for part in one["parts"]), ", ".join(one["tools"]))
        for one in plain["farms"]
    ]  # fmt: skip
    return Table(say("Farms"), columns, rows)


def _parts(plain: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Part"), wide=40), Column(say("For units")), Column(say("Of them held")),
        Column(say("First harvest"), wide=14), Column(say("Farms"), wide=40), Column(say("Units"), wide=60),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["part"], one["count"], one["held"], one["first_harvest"], ", ".join(one["farms"]), ", ".join(one["units"]))
        for one in plain["to_order"]
    ]
    return Table(say("Parts to order"), columns, rows)


def _faults(plain: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Rule"), wide=30), Column(say("Finding"), wide=44), Column(say("Machines with it")),
        Column(say("Machines asked")), Column(say("At risk"), "h"), Column(say("Units"), wide=60),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["rule"], one["title"], one["broken"], one["compared"], one["hours_at_risk"], ", ".join(one["units"]))
        for one in plain["systematic"]["common"]
    ]
    return Table(say("Faults in common"), columns, rows)


def _visits(visits: Plain, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Day"), wide=12), Column(say("Technician"), wide=20), Column(say("Farm"), wide=26),
        Column(say("Arrives"), wide=10), Column(say("Leaves"), wide=10), Column(say("Unit of the fleet"), wide=18),
        Column(say("State")), Column(say("Work"), "min"), Column(say("People")),
    )  # fmt: skip
    return Table(say("Visits"), columns, list(_visit_rows(visits, view)))


def _visit_rows(visits: Plain, view: View) -> Iterator[tuple[Cell, ...]]:
    say = view.language.say
    for day in visits["days"]:
        for visit in day["visits"]:
            for piece in visit["work"]:
                yield (
                    day["day"], day["technician"], visit["farm"], visit["arrives"], visit["leaves"], piece["unit"],
                    say("held") if piece["held"] else say("cleared"), piece["minutes"], piece["people"],
                )  # fmt: skip
