"""A fleet on paper, for who answers for it: one page first, then plots, common faults, visits, and every unit."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from api.drawings.bars import Bar, Window, bars, windows
from api.pages.sheets.fleet_tables import fleet_tables
from api.pages.sheets.printout import Printing, Printout
from api.pages.sheets.speeds import Speed
from api.pages.sheets.unit_sheet import MOST_ROWS, speed_name, window_text
from api.pages.sheets.wear import wear_plots
from api.pages.telling import told
from api.pages.view import View
from api.wire import Plain
from audit.fleet.units import Audited, Fleet
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook

Amounts = dict[Level, float]
"""Hours of standing by level."""

FIRST = 7
"""Lines of each list on the first page."""
MOST_BARS = 12
"""Bars of a plot."""
YEARS = 3
"""Build years that are one range."""
MOST_FAULTS = 25
MOST_PLOTS = 3


@dataclass(frozen=True, slots=True)
class Beside:
    """What a fleet's answer does not hold, and its report shows.

    Attributes:
        source: what the fleet is, in words: newest setups on record, or which audit.
        speeds: of each unit, by its id; empty where the setups are not at hand.
        limits: when parts reach a limit, the first to do so first, as ``wear.limits_of`` tells.
        unread: units whose newest setup the rulebook can't read; they are not in the fleet.
    """

    source: str
    speeds: Mapping[str, Sequence[Speed]] = field(default_factory=dict)
    limits: Sequence[Plain] = ()
    unread: Sequence[str] = ()


def fleet_report(answer: Plain, fleet: Fleet, rulebook: Rulebook, beside: Beside, printing: Printing) -> Printout:
    """The report of a fleet.

    Args:
        answer: as ``fleet_wire.fleet_json`` gives it; with ``visits`` and ``changed`` where they were asked for.
    """
    view, say = printing.view, printing.view.language.say
    plain = told(view, answer)
    units = plain["worst_first"]
    worst = [{**one, "worst": one["findings"][0] if one["findings"] else None} for one in units]
    return Printout(
        name="fleet-report",
        kind=say("Fleet report"),
        title=beside.source,
        about=_about(plain, fleet, view),
        digest=plain["rulebook"]["digest"],
        template="sheet-fleet.html",
        content={
            "fleet": plain, "units": worst, "first": FIRST, "faults": plain["systematic"]["common"][:MOST_FAULTS],
            "concentrated": [
                {**one, "where": "; ".join(group_text(group, view) for group in one["groups"])}
                for one in plain["systematic"]["concentrated"][:MOST_FAULTS]
            ],
            "risk": risk_plots(fleet, rulebook, view), "speeds": speed_spread(beside.speeds, fleet, view),
            "have_setups": len(beside.speeds), "limits": beside.limits,
            "wear_plots": wear_plots(beside.limits, view, MOST_PLOTS), "unread": beside.unread,
            "days": (plain.get("visits") or {"days": []})["days"], "visits": plain.get("visits"),
            "changed": plain.get("changed"),
        },
        tables=fleet_tables(plain, beside.speeds, beside.limits, view),
    )  # fmt: skip


def _about(plain: Plain, fleet: Fleet, view: View) -> tuple[tuple[str, str], ...]:
    say = view.language.say
    taken = sorted(unit.line.taken for unit in fleet.units if unit.line.taken is not None)
    found = [(say("Units"), view.number(plain["units"], 0)), (say("Setups audited"), view.number(plain["setups"], 0))]
    if taken:
        first, last = (datetime.fromtimestamp(at, UTC).date().isoformat() for at in (taken[0], taken[-1]))
        found.append((say("Setups taken"), first if first == last else f"{first} – {last}"))
    return tuple(found)


def group_text(group: Plain, view: View) -> str:
    """A group of machines in words."""
    say = view.language.say
    name = f"{group['name']} – {group['last']}" if group["last"] else group["name"]
    kinds = {
        "farm": say("farm"), "card": say("machine card"), "taken by": say("taken by"), "build year": say("build year"),
        "serial": say("serial number"),
    }  # fmt: skip
    return f"{kinds.get(group['by'], group['by'])} {name}" + (f" ({group['card']})" if group["card"] else "")


# --- risk


def risk_plots(fleet: Fleet, rulebook: Rulebook, view: View) -> list[str]:
    """Hours at risk by system, by farm, and a machine by build years, each by level."""
    say = view.language.say
    systems: dict[str, Amounts] = defaultdict(lambda: defaultdict(float))
    farms: dict[str, Amounts] = defaultdict(lambda: defaultdict(float))
    years: dict[int | None, list[Audited]] = defaultdict(list)
    for unit in fleet.units:
        year = unit.line.build_year
        years[None if year is None else year - year % YEARS].append(unit)
        for one in unit.broken:
            rule = rulebook.rules.get(one.rule)
            systems[_system(rule.pack, view) if rule else say("other rules")][one.level] += one.downtime
            farms[unit.line.farm or say("no farm named")][one.level] += one.downtime
    axis = say("Hours of standing at risk [h]")
    words = {level: say(level.name.lower()) for level in Level}
    found = [
        _largest(title, axis, amounts, words, view)
        for title, amounts in ((say("Risk by system"), systems), (say("Risk by farm"), farms))
        if amounts
    ]
    rows = [_of_years(first, units, view) for first, units in sorted(years.items(), key=lambda one: one[0] or 9999)]
    if systems and len(rows) > 1:
        a_machine = say("Hours of standing at risk for each machine [h]")
        found.append(bars(say("Risk by build years"), a_machine, rows[:MOST_BARS], words))
    return found


def _system(pack: str, view: View) -> str:
    """A pack of rules in the reader's language; one of an organisation's own stays as it is called."""
    say = view.language.say
    packs = {
        "beater": say("infeed beater"), "cleaning": say("cleaning"), "drives": say("drives"),
        "elevators": say("elevators"), "engine": say("engine"), "feeder": say("feeder house"), "field": say("field"),
        "header": say("header"), "people": say("safety of people"), "residue": say("chopper and spreader"),
        "threshing": say("threshing"),
    }  # fmt: skip
    return packs.get(pack, pack)


def _largest(
    title: str, axis: str, amounts: Mapping[str, Mapping[Level, float]], words: Mapping[Level, str], view: View
) -> str:
    """The largest amounts as bars; what the rest comes to is told beside the axis."""
    sums = {name: sum(levels.values()) for name, levels in amounts.items()}
    ranked = sorted((name for name in sums if sums[name] > 0), key=lambda name: (-sums[name], name))
    rest = ranked[MOST_BARS:]
    if rest:
        hours = view.number(sum(sums[name] for name in rest))
        several = view.language.several
        axis += several("; {number} more has {hours} h", "; {number} more have {hours} h", len(rest), hours=hours)
    return bars(title, axis, [_bar(name, amounts[name], view) for name in ranked[:MOST_BARS]], words)


def _bar(name: str, levels: Mapping[Level, float], view: View) -> Bar:
    return Bar(name, levels, f"{view.number(sum(levels.values()))} h")


def _of_years(first: int | None, units: Sequence[Audited], view: View) -> Bar:
    language = view.language
    levels: Amounts = defaultdict(float)
    for unit in units:
        for one in unit.broken:
            levels[one.level] += one.downtime
    each = {level: hours / len(units) for level, hours in levels.items()}
    name = language.say("year not known") if first is None else f"{first}–{first + YEARS - 1}"
    machines = language.several("{number} machine", "{number} machines", len(units))
    return Bar(name, each, f"{view.number(sum(each.values()))} h, {machines}")


# --- speeds


def speed_spread(speeds: Mapping[str, Sequence[Speed]], fleet: Fleet, view: View) -> list[str]:
    """Every unit's speeds against their windows, a row for each speed of each type of machine and crop."""
    say = view.language.say
    jobs = {unit.line.unit: (unit.line.card, unit.line.crop) for unit in fleet.units}
    together: dict[tuple[Any, ...], list[Speed]] = defaultdict(list)
    for unit, some in speeds.items():
        for one in some:
            if one.value is not None and unit in jobs:
                # windows that depend on the machine's own settings differ; those of one limit stand together
                together[(*jobs[unit], one.quantity, one.low, one.high)].append(one)
    rows = [_spread_row(key[0], key[1], some, view) for key, some in together.items() if len(some) > 1]
    rows.sort(key=lambda row: (-row.outside, row.name, row.text))
    ends = (say("too slow"), say("in its window"), say("too fast"))
    title = say("Speeds of all machines against their windows")
    return [windows(title, ends, rows[:MOST_ROWS])] if rows else []


def _spread_row(card: str, crop: str, some: Sequence[Speed], view: View) -> Window:
    say, one = view.language.say, some[0]
    values = tuple(each.value for each in some if each.value is not None)
    row = Window(speed_name(one, view), values, one.low, one.high, "")
    text = say(
        "{outside} of {all} outside {window} {unit}; {card}, {crop}", outside=row.outside, all=len(values),
        window=window_text(one.low, one.high, view), unit=one.unit, card=card, crop=say(crop),
    )  # fmt: skip
    return replace(row, text=text)
