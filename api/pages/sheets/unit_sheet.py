"""One machine on paper: how it stands, findings worst first, what is not known with room for it, facts, wear."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.drawings.bars import Window, windows
from api.drawings.side_view import side_view
from api.pages.sheets.printout import Printing, Printout
from api.pages.sheets.speeds import Speed, speeds_of
from api.pages.sheets.tables import Cell, Column, Table
from api.pages.sheets.wear import wear_plots, wear_table
from api.pages.telling import told
from api.pages.units import INTO
from api.pages.view import View
from api.wire import USUAL, Plain, basis_text, report_json, title_of
from audit.conditions import comparisons
from audit.facts import compute
from audit.measures import SIGNS, from_canonical
from audit.nouns.finding import Report
from audit.nouns.quantity import SIDES, Quantity
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.sheet import Sheet

MOST_ROWS = 22
"""Rows of one plot."""
MOST_PLOTS = 6
"""Plots of wear; the table beside them has all."""


@dataclass(frozen=True, slots=True)
class Machine:
    """One unit as its newest setup has it, read, audited, and by which rules."""

    sheet: Sheet
    setup: Setup
    report: Report
    rulebook: Rulebook


def unit_sheet(machine: Machine, printing: Printing, limits: Sequence[Plain] = ()) -> Printout:
    """The sheet of a unit.

    Args:
        limits: what wears and when it reaches its limit, as ``wear.limits_of`` tells.
    """
    view, say = printing.view, printing.view.language.say
    plain = told(view, report_json(machine.report, machine.rulebook, with_facts=True))
    broken = [
        {**one, "number": n, "ground": basis_text(one["basis"])}
        for n, one in enumerate((one for one in plain["findings"] if one["verdict"] == "broken"), 1)
    ]
    unknown = [one for one in plain["findings"] if one["verdict"] == "unknown"]
    stations = not_known(machine, unknown, view)
    known = compute(machine.sheet, machine.setup).values
    speeds = speeds_of(machine.sheet, known, view.units)
    asked = {compare.quantity for one in machine.sheet.questions for compare in comparisons(one.hold)}
    judged = (one for one in plain["facts"] if one["name"] in asked and one["value"] is not None)
    facts = [{**one, "from": inputs_text(one, view)} for one in judged]
    return Printout(
        name=f"{plain['unit'] or 'unit'}-unit-sheet",
        kind=say("Unit sheet"),
        title=plain["unit"] or say("A unit without a name"),
        about=about_unit(machine, view),
        digest=plain["rulebook"]["digest"],
        template="sheet-unit.html",
        content={
            "report": plain, "broken": broken, "stations": stations, "questions": len(unknown), "facts": facts,
            "drawing": side_view(machine.sheet.card, machine.report, machine.rulebook.rules, keyed=False),
            "speeds": speed_plots(speeds, view), "limits": limits,
            "wear_plots": wear_plots(limits, view, MOST_PLOTS),
            "usual": [say(machine.rulebook.cautions[key]) for key in USUAL],
        },
        tables=(
            findings_table(broken + unknown, machine.sheet.names, view),
            _not_known_table(stations, view),
            _facts_table(plain["facts"], view),
            speeds_table([(plain["unit"], speeds)], view),
            *([wear_table(limits, view)] if limits else []),
        ),
    )  # fmt: skip


def about_unit(machine: Machine, view: View) -> tuple[tuple[str, str], ...]:
    """What stands at the head of each sheet of a unit."""
    say, setup = view.language.say, machine.setup
    unit, taken = setup.unit, setup.taken
    build = [text for text in (unit.serial, str(unit.build_year or "")) if text]
    hours = setup.values.get("unit.engine_hours")
    found: list[tuple[str, str]] = [(say("Machine"), say(machine.sheet.card.title))]
    if build:
        found.append((say("Serial number, build year"), ", ".join(build)))
    if unit.owner:
        found.append((say("Farm"), unit.owner))
    if isinstance(hours, float):
        shown = view.number(from_canonical(hours, "h"))
        found.append((say("Engine hours"), f"{shown} h"))
    job = ", ".join(say(text) for text in (setup.crop, setup.header_kind) if text)
    found.append((say("Set for"), job))
    when = taken.at.replace("T", " ")[:16] + (" UTC" if taken.at.endswith("Z") else taken.at[19:])
    who = [text for text in (when if taken.at else "", taken.by, say(taken.state)) if text]
    found.append((say("Setup taken"), ", ".join(who) or say("time not known")))
    return tuple(found)


def not_known(machine: Machine, findings: Sequence[Plain], view: View) -> list[Plain]:
    """What to look at by station, each thing once, under the worst that it could be hiding, with its blanks."""
    say = view.language.say
    seen: set[str] = set()
    stations: dict[str, list[Plain]] = {}
    for finding in findings:
        for missing in finding["missing"]:
            if missing["name"] in seen or not (missing["meaning"] or missing["how"]):
                continue
            seen.add(missing["name"])
            station = stations.setdefault(finding["station"]["title"] or say("Elsewhere"), [])
            quantity = machine.sheet.names.get(missing["name"])
            station.append(
                {
                    "level": finding["risk"]["level"],
                    "name": missing["name"],
                    "meaning": missing["meaning"] or missing["name"],
                    "how": missing["how"],
                    "of": say(part_of(machine, missing["name"])),
                    "blanks": blanks(quantity, view),
                }
            )
    return [{"title": title, "items": items} for title, items in stations.items()]


def blanks(quantity: Quantity | None, view: View) -> list[Plain]:
    """What is written in by hand: a line a side with the reader's unit, or boxes to choose from."""
    if quantity is None:
        return [{"side": "", "unit": "", "choices": []}]
    choices = [word for word, _ in quantity.words][:6] if len(quantity.words) <= 6 else []
    if quantity.form.value == "yes_no":
        choices = ["yes", "no"]
    unit = INTO[view.units].get(quantity.unit, quantity.unit)
    unit = "" if unit == "1" else SIGNS.get(unit, unit)
    return [{"side": side, "unit": unit, "choices": choices} for side in (SIDES if quantity.sided else ("",))]


def part_of(machine: Machine, name: str) -> str:
    """Title of the part that a quantity of a family is about; one that stands alone says it in its meaning."""
    fixed = name in machine.rulebook.vocabulary.fixed
    return "" if fixed else title_of(machine.sheet.card, name.partition(".")[0])


def speed_plots(speeds: Sequence[Speed], view: View) -> list[str]:
    """Known speeds against their windows, in pieces that a page has room for."""
    say = view.language.say
    rows = [
        Window(speed_name(one, view), (one.value,), one.low, one.high, _speed_text(one, view))
        for one in speeds
        if one.value is not None
    ]
    ends = (say("too slow"), say("in its window"), say("too fast"))
    title = say("Speeds against their windows")
    return [windows(title, ends, rows[n : n + MOST_ROWS]) for n in range(0, len(rows), MOST_ROWS)]


def speed_name(one: Speed, view: View) -> str:
    """What a speed is of, in few words."""
    say = view.language.say
    if one.measured:
        return say("{part}, measured", part=say(one.part))
    return f"{say(one.part)}: {say(one.meaning)}" if one.part else say(one.meaning)


def _speed_text(one: Speed, view: View) -> str:
    return f"{view.number(one.value or 0.0)} {one.unit} ({window_text(one.low, one.high, view)})"


def window_text(low: float | None, high: float | None, view: View) -> str:
    """A window's ends as text."""
    say = view.language.say
    if low is not None and high is not None:
        return f"{view.number(low)}–{view.number(high)}"
    if low is not None:
        return say("at least {end}", end=view.number(low))
    return say("at most {end}", end=view.number(high or 0.0))


# --- tables


def findings_table(findings: Sequence[Plain], names: Mapping[str, Quantity], view: View) -> Table:
    """A row for each comparison of each finding."""
    say = view.language.say
    columns = (
        Column(say("Number"), wide=8), Column(say("Verdict")), Column(say("Level")), Column(say("Index"), wide=8),
        Column(say("Rule"), wide=30), Column(say("Finding"), wide=44), Column(say("Part"), wide=26),
        Column(say("Station"), wide=22), Column(say("Side")), Column(say("Quantity"), wide=34),
        Column(say("Found"), wide=14), Column(say("Unit of measure")), Column(say("Wanted"), wide=26),
        Column(say("Past the limit"), wide=14), Column(say("Standing if it fails"), "h"),
        Column(say("Holds the start")), Column(say("Danger to people")),
        Column(say("Put right by"), wide=40), Column(say("Work"), "min"),
    )  # fmt: skip
    return Table(say("Findings"), columns, [row for one in findings for row in _finding_rows(one, names, view)])


def _finding_rows(one: Plain, names: Mapping[str, Quantity], view: View) -> Iterator[tuple[Cell, ...]]:
    say, risk = view.language.say, one["risk"]
    cure = "; ".join(each["title"] for each in one["cure"])
    minutes = sum(each["minutes"] for each in one["cure"]) if one["cure"] else None
    nothing: Plain = {"quantity": "", "meaning": "", "side": "", "value": None, "wanted": "", "past": None, "unit": ""}
    for found in one["found"] or [nothing]:
        past = found["past"]
        yield (
            one.get("number"), say(one["verdict"]), say(risk["level"]), risk["index"], one["rule"], one["title"],
            one["on_title"], one["station"]["title"], say(found["side"]), found["meaning"],
            *_in_unit(found["value"], names.get(found["quantity"]), view), found["wanted"],
            past["shown"] if past else "", risk["downtime_h"], one["holds_start"], risk["danger_to_people"], cure,
            minutes,
        )  # fmt: skip


def _in_unit(value: Cell, quantity: Quantity | None, view: View) -> tuple[Cell, str]:
    """A canonical value as a cell: a number in the unit its reader wants, with that unit."""
    if quantity is None or not quantity.unit:
        return value, ""
    unit = INTO[view.units].get(quantity.unit, quantity.unit)
    return from_canonical(value, unit) if isinstance(value, float) else value, unit


def _not_known_table(stations: Sequence[Plain], view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Station"), wide=26), Column(say("At worst")), Column(say("Name"), wide=30),
        Column(say("What"), wide=50), Column(say("How it is taken"), wide=60), Column(say("Side")),
        Column(say("Unit of measure")), Column(say("Value"), wide=16),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (station["title"], say(item["level"]), item["name"], item["meaning"], item["how"], say(blank["side"]),
         blank["unit"], None)
        for station in stations for item in station["items"] for blank in item["blanks"]
    ]  # fmt: skip
    return Table(say("Not known"), columns, rows)


def _facts_table(facts: Sequence[Plain], view: View) -> Table:
    say = view.language.say
    columns = (
        Column(say("Name"), wide=34), Column(say("What"), wide=44), Column(say("Value"), wide=14),
        Column(say("Unit of measure")), Column(say("Formula"), wide=34), Column(say("Equation"), wide=40),
        Column(say("From"), wide=60), Column(say("Source"), wide=30), Column(say("Why not known"), wide=40),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["name"], one["meaning"], one["value"], one["unit"], one["formula"], one["equation"],
         inputs_text(one, view), " ".join(text for text in (one["source"], one["at"]) if text), one["why_unknown"])
        for one in facts
    ]  # fmt: skip
    return Table(say("Facts"), columns, rows)


def inputs_text(fact: Plain, view: View) -> str:
    """What a fact was computed from."""
    return "; ".join(
        one["name"] if one["name"] == shown else f"{one['name']} = {shown}"
        for one, shown in ((one, _plainly(one["value"], view)) for one in fact["inputs"])
    )


def _plainly(value: Any, view: View) -> str:
    if value is None:
        return view.language.say("not known")
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return view.language.say({True: "yes", False: "no"}.get(value, str(value)))
    return view.number(value, 4)


def speeds_table(speeds: Sequence[tuple[str, Sequence[Speed]]], view: View) -> Table:
    """Speeds by unit against their windows."""
    say = view.language.say
    columns = (
        Column(say("Unit of the fleet"), wide=18), Column(say("Speed"), wide=46), Column(say("Unit of measure")),
        Column(say("Value")), Column(say("Lowest")), Column(say("Highest")),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (unit, speed_name(one, view), one.unit, one.value, one.low, one.high) for unit, some in speeds for one in some
    ]
    return Table(say("Speeds"), columns, rows)
