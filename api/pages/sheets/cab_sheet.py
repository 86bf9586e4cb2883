"""A changeover on paper for the cab: what stands where now, where it goes, with small pictures; two pages at most."""

from __future__ import annotations

from typing import Any

from api.drawings.positions import plan_positions
from api.pages.sheets.cab_room import fitting, room_for
from api.pages.sheets.printout import Printing, Printout
from api.pages.sheets.tables import Cell, Column, Table
from api.pages.sheets.unit_sheet import Machine, blanks, part_of
from api.pages.sheets.work_order import code_of, for_people, marked, values_text
from api.pages.telling import told
from api.pages.view import View
from api.plan_wire import changeover_json
from api.wire import Plain
from audit.facts import compute
from audit.nouns.plan import Plan, Planned
from audit.sheet import Sheet


def cab_sheet(
    machine: Machine, planned: Planned, from_crop: str, sheet: Sheet, about: tuple[tuple[str, str], ...],
    printing: Printing,
) -> Printout:  # fmt: skip
    """The sheet for the cab.

    Args:
        planned: the changeover.   from_crop: what the machine is set for now.
        sheet: check sheet of the machine for the crop that it is changed to.
        about: what stands at the head of each sheet of this unit.
    """
    view, say = printing.view, printing.view.language.say
    plain = told(view, marked(changeover_json(planned, from_crop, machine.rulebook)))
    values = compute(sheet, machine.setup).values
    branches: list[dict[str, Any]] = []
    for branch, outcome in zip(plain["branches"], (one.outcome for one in planned.branches), strict=True):
        pictures: dict[str, str] = {}
        if isinstance(outcome, Plan):
            pictures = plan_positions(sheet, machine.rulebook.vocabulary, values, outcome)
        lines = _lines(branch, machine, sheet, view)
        cautions = [" ".join(some) for some in _cautions(branch, lines)]
        room = room_for(lines, cautions, len(planned.branches), printing)
        kept = fitting(list(pictures.values()), len(planned.branches), printing.paper)
        branches.append({**branch, **lines, **room, "pictures": kept})
    headers = [one["plan"]["header_kind"] for one in branches if one["plan"] and one["plan"]["header_kind"]]
    return Printout(
        name=f"{plain['unit'] or 'unit'}-changeover-{plain['crop']}",
        kind=say("Changeover sheet"),
        title=plain["unit"] or plain["card"],
        about=about,
        digest=plain["rulebook"]["digest"],
        template="sheet-cab.html",
        content={
            "work": plain, "branches": branches, "header": headers[0] if headers else "",
            "code": code_of(plain["unit"], printing),
        },
        tables=(_moves_table(branches, view), _looks_table(branches, view)),
    )  # fmt: skip


def _cautions(branch: Plain, lines: Plain) -> tuple[list[str], list[str]]:
    """What stands before the work and before the engine is started again."""
    safety = branch["plan"]["safety"] if branch["plan"] else {"stopped": [], "restart": [], "last": ""}
    return [*safety["stopped"], *lines["cautions"]], [*safety["restart"], safety["last"]]


def _lines(branch: Plain, machine: Machine, sheet: Sheet, view: View) -> Plain:
    """What is set, what is looked at or brought right, and cautions beyond the usual ones, each once."""
    moves, looks, cautions = [], [], dict[str, None]()
    for step in (branch["plan"] or {"steps": ()})["steps"]:
        cautions |= dict.fromkeys(step["cautions"])
        for change in map(for_people, step["changes"]):
            part = view.language.say(part_of(machine, change["quantity"]))
            line = {**change, "station": step["station"]["title"], "part": part, "step": step["number"]}
            if change["sets"]:
                if change["before"] != change["after"]:
                    moves.append(line)
            else:
                looks.append({**line, "blanks": blanks(sheet.names.get(change["quantity"]), view)})
    return {"moves": moves, "looks": looks, "cautions": list(cautions)}


def _moves_table(branches: list[dict[str, Any]], view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Step"), wide=8), Column(say("Station"), wide=24), Column(say("Name"), wide=30),
        Column(say("Setting"), wide=44), Column(say("Now"), wide=24), Column(say("Set to"), wide=24),
        Column(say("Right is"), wide=40),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["step"], one["station"], one["quantity"], one["meaning"], values_text(one["before"], view),
         values_text(one["after"], view), "; ".join(one["right"]))
        for branch in branches for one in branch["moves"]
    ]  # fmt: skip
    return Table(say("Settings"), columns, rows)


def _looks_table(branches: list[dict[str, Any]], view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Step"), wide=8), Column(say("Station"), wide=24), Column(say("Name"), wide=30),
        Column(say("What"), wide=44), Column(say("Right is"), wide=40), Column(say("Unit")), Column(say("Value")),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["step"], one["station"], one["quantity"], one["meaning"], "; ".join(one["right"]),
         one["blanks"][0]["unit"], None)
        for branch in branches for one in branch["looks"]
    ]  # fmt: skip
    return Table(say("To look at"), columns, rows)
