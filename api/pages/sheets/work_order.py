"""The work for one unit on paper: steps in order, cautions on the step, boxes to tick, blanks, signatures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from api.certificates.qr import svg
from api.pages.sheets.printout import Printing, Printout
from api.pages.sheets.tables import Cell, Column, Table
from api.pages.sheets.unit_sheet import Machine, about_unit, blanks, part_of
from api.pages.telling import told
from api.pages.view import View
from api.plan_wire import planned_json
from api.wire import Plain
from audit.nouns.plan import Planned

Many = list[dict[str, Any]]

_NAME = re.compile(r" \([a-z0-9_]+(\.[a-z0-9_]+)+\)")
"""A quantity's name behind the value that it has."""


def work_order(machine: Machine, planned: Planned, printing: Printing) -> Printout:
    """The work order for a unit's correction plan; a part for each way in which an undecided build may be."""
    view, say = printing.view, printing.view.language.say
    plain = told(view, marked(planned_json(planned, machine.rulebook)))
    branches = [{**branch, "steps": _steps(branch, machine, view)} for branch in plain["branches"]]
    return Printout(
        name=f"{plain['unit'] or 'unit'}-work-order",
        kind=say("Work order"),
        title=plain["unit"] or say("A unit without a name"),
        about=about_unit(machine, view),
        digest=plain["rulebook"]["digest"],
        template="sheet-work.html",
        content={"work": plain, "branches": branches, "code": code_of(plain["unit"], printing)},
        tables=(_steps_table(branches, view), _readings_table(branches, view), _needs_table(branches, view)),
    )


def marked(plain: Plain) -> Plain:
    """Work with what its words for programs say as yes or no, before it is told in a language."""
    for branch in plain["branches"]:
        for step in (branch["plan"] or {"steps": ()})["steps"]:
            for change in step["changes"]:
                change["sets"] = change["role"] == "setting" and not change["taken"]
                change["reads"] = change["role"] == "reading"
    return plain


def code_of(unit: str, printing: Printing) -> str:
    """A code that opens the unit's page, as SVG; '' where no server serves it."""
    return svg(f"{printing.address}/unit/{unit}", unit) if printing.address and unit else ""


def _steps(branch: Plain, machine: Machine, view: View) -> Many:
    """The steps of a plan; how a procedure is done stands with the first that needs it, each reading has its blanks."""
    say, names = view.language.say, machine.sheet.names
    states = {
        "stopped": say("machine stopped"), "running": say("engine runs"), "at work": say("at work in the field"),
    }  # fmt: skip
    told_at: dict[str, int] = {}
    station = None
    found: Many = []
    for step in (branch["plan"] or {"steps": ()})["steps"]:
        first = told_at.setdefault(step["procedure"] or step["on"], step["number"])
        changes = [
            {**for_people(change), "blanks": blanks(names.get(change["quantity"]), view)} for change in step["changes"]
        ]
        found.append(
            {
                **step,
                "on_title": step["on_title"] if step["procedure"] else say(part_of(machine, step["on"])),
                "changes": changes,
                "state": states[step["when"]],
                "told_at": first if first != step["number"] else 0,
                "new_station": step["station"]["title"] != station,
            }
        )
        station = step["station"]["title"]
    return found


def for_people(change: Plain) -> Plain:
    """A change without the names of the quantities that its limits come from, which paper has no room for."""
    return {**change, "right": list(dict.fromkeys(_NAME.sub("", text) for text in change["right"]))}


# --- tables


def _branch_text(branch: Plain) -> str:
    return ", ".join(f"{name} {choice}" for name, choice in branch["builds"].items())


def _steps_table(branches: Many, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("If built with"), wide=20), Column(say("Step"), wide=8), Column(say("Station"), wide=24),
        Column(say("Work"), wide=44), Column(say("Part"), wide=26), Column(say("State of the machine"), wide=14),
        Column(say("Time"), "min"), Column(say("People"), wide=8), Column(say("Tools"), wide=30),
        Column(say("Parts needed"), wide=30), Column(say("Set or bring right"), wide=60),
        Column(say("Cautions"), wide=60), Column(say("Done"), wide=8),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (_branch_text(branch), step["number"], step["station"]["title"], step["title"], step["on_title"],
         step["state"], step["minutes"], step["people"], ", ".join(step["tools"]), ", ".join(step["parts"]),
         "; ".join(change_text(change, view) for change in step["changes"]),
         " ".join((*step["safe"], *step["cautions"])), None)
        for branch in branches for step in branch["steps"]
    ]  # fmt: skip
    return Table(say("Steps"), columns, rows)


def change_text(change: Plain, view: View) -> str:
    """What a step sets, brings right or takes."""
    say, right = view.language.say, "; ".join(change["right"])
    if change["taken"]:
        return say("take {what}", what=change["meaning"]) + (f" ({right})" if right else "")
    before, after = (values_text(change[key], view) for key in ("before", "after"))
    if change["sets"]:
        return f"{change['meaning']}: {before} → {after}"
    return f"{change['meaning']}: {before} → {right or after}"


def values_text(values: Many, view: View) -> str:
    """A value, or each side's."""
    say = view.language.say
    return ", ".join(f"{say(one['side'])} {one['shown'] or say('not known')}".strip() for one in values)


def _readings_table(branches: Many, view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Step"), wide=8), Column(say("Name"), wide=30), Column(say("What"), wide=44), Column(say("Side")),
        Column(say("Unit")), Column(say("As found")), Column(say("Right is"), wide=40), Column(say("Value"), wide=14),
    )  # fmt: skip
    return Table(say("Readings to write down"), columns, [row for one in branches for row in _reading_rows(one, view)])


def _reading_rows(branch: Plain, view: View) -> Iterator[tuple[Cell, ...]]:
    say = view.language.say
    for step in branch["steps"]:
        for change in step["changes"]:
            if change["reads"]:
                shown = values_text(change["before"], view)
                for blank in change["blanks"]:
                    yield (
                        step["number"], change["quantity"], change["meaning"], say(blank["side"]), blank["unit"],
                        shown, "; ".join(change["right"]), None,
                    )  # fmt: skip


def _needs_table(branches: Many, view: View) -> Table:
    say = view.language.say
    rows: list[tuple[Cell, ...]] = []
    for branch in branches:
        if branch["plan"]:
            rows += [(say("part"), part, _branch_text(branch)) for part in branch["plan"]["parts_needed"]]
            rows += [(say("tool"), tool, _branch_text(branch)) for tool in branch["plan"]["tools"]]
    columns = (Column(say("Kind")), Column(say("What"), wide=50), Column(say("If built with"), wide=24))
    return Table(say("Take along"), columns, rows)
