"""A fleet's answers as plain values for JSON: its state, common faults, work, visits, comparison."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from typing import Any

from api.wire import station_title, title_of
from audit.fleet.comparison import Changed, Comparison
from audit.fleet.rounds import Cost
from audit.fleet.scheduling import Schedule
from audit.fleet.standing import FarmWork, PartWanted, by_farm, to_order, work_of, worst_first
from audit.fleet.systematic import Concentration, Systematic, systematic
from audit.fleet.units import Audited, FindingLine, Fleet
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.sheet import make_sheet

Plain = dict[str, Any]


def asked_of(fleet: Fleet, rulebook: Rulebook) -> dict[tuple[str, str], frozenset[str]]:
    """Rules on the check sheet of every card and crop of a fleet; those of a card that is gone are left out."""
    jobs = {(unit.line.card, unit.line.crop) for unit in fleet.units}
    known = ((card, crop) for card, crop in sorted(jobs) if card in rulebook.machines and crop in rulebook.crops)
    return {
        (card, crop): frozenset(
            question.rule.id
            for question in make_sheet(rulebook, rulebook.machines[card], rulebook.crops[crop]).questions
        )
        for card, crop in known
    }


def fleet_json(fleet: Fleet, rulebook: Rulebook, harvests: Mapping[str, date]) -> Plain:
    """How a fleet stands: counts, units worst first, common faults, what holds, work by farm, parts to order."""
    tell = Teller(rulebook)
    units = worst_first(fleet)
    minutes, _, _ = work_of(units)
    return {
        "rulebook": {"digest": fleet.digest},
        "setups": fleet.setups,
        "units": len(units),
        "held": sum(unit.line.held for unit in units),
        "danger_to_people": sum(any(one.people for one in unit.broken) for unit in units),
        "hours_at_risk": sum(unit.hours for unit in units),
        "minutes_of_work": minutes,
        "unplanned": [unit.line.unit for unit in units if unit.findings and unit.line.work is None],
        "findings": _counts(units),
        "worst_first": [tell.unit(unit) for unit in units],
        "systematic": tell.systematic(systematic(fleet, asked_of(fleet, rulebook))),
        "takers_known": any(unit.line.by for unit in units),
        "farms": [farm_json(farm) for farm in by_farm(fleet)],
        "to_order": [part_json(part) for part in to_order(fleet, harvests)],
    }


def _counts(units: tuple[Audited, ...]) -> list[Plain]:
    """Findings by level and verdict, worst first."""
    counts = Counter((one.level, one.verdict) for unit in units for one in unit.findings)
    return [
        {"level": level.name.lower(), "verdict": verdict.value, "count": counts[level, verdict]}
        for level in Level
        for verdict in (Verdict.BROKEN, Verdict.UNKNOWN)
        if counts[level, verdict]
    ]


def farm_json(farm: FarmWork) -> Plain:
    """What is to be done on one farm."""
    return {
        "farm": farm.farm,
        "units": farm.units,
        "held": farm.held,
        "to_do": farm.to_do,
        "minutes": farm.minutes,
        "minutes_for_two": farm.two_people,
        "parts": [{"part": part, "units": count} for part, count in farm.parts],
        "tools": list(farm.tools),
        "unplanned": list(farm.unplanned),
        "stuck": list(farm.stuck),
        "hours_at_risk": farm.hours,
    }


def part_json(part: PartWanted) -> Plain:
    """A part to order."""
    return {
        "part": part.part,
        "count": len(part.units),
        "units": list(part.units),
        "held": part.held,
        "farms": list(part.farms),
        "first_harvest": part.first_harvest.isoformat() if part.first_harvest else None,
    }


class Teller:
    """Titles for what a fleet audit names by id."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook

    def title(self, rule: str) -> str:
        found = self.rulebook.rules.get(rule)
        return found.title if found else rule

    def on_title(self, card: str, on: str) -> str:
        found = self.rulebook.machines.get(card)
        return title_of(found, on) if found and on else ""

    def unit(self, unit: Audited) -> Plain:
        """One unit with its findings; what holds it says what clears it."""
        line, work = unit.line, unit.line.work
        return {
            "unit": line.unit,
            "farm": line.farm,
            "serial": line.serial,
            "build_year": line.build_year,
            "card": line.card,
            "crop": line.crop,
            "header_kind": line.header_kind,
            "clearance": "held" if line.held else "cleared",
            "kept": line.kept,
            "broken": line.broken,
            "unknown": line.unknown,
            "hours_at_risk": unit.hours,
            "hours_hidden": unit.hours_hidden,
            "findings": [self.finding(one, line.card) for one in unit.findings],
            "work": None
            if work is None
            else {
                "minutes": work.minutes,
                "people": work.people,
                "parts": list(work.parts),
                "tools": list(work.tools),
                "steps": work.steps,
                "proven": work.proven,
                "conflict": work.conflict,
            },
        }

    def finding(self, one: FindingLine, card: str) -> Plain:
        """A finding in short, with what puts it right."""
        rule = self.rulebook.rules.get(one.rule)
        cure = rule.cure if rule is not None and one.verdict is Verdict.BROKEN else ()
        machine = self.rulebook.machines.get(card)
        return {
            "rule": one.rule,
            "title": self.title(one.rule),
            "on": one.on,
            "on_title": self.on_title(card, one.on),
            "station": station_title(machine, one.station) if machine else one.station,
            "verdict": one.verdict.value,
            "level": one.level.name.lower(),
            "index": one.index,
            "holds_start": one.holds,
            "danger_to_people": one.people,
            "downtime_h": one.downtime,
            "quantity": one.quantity,
            "side": one.side,
            "found": one.found,
            "wanted": one.wanted,
            "cure": [{"procedure": key, "title": self.rulebook.procedures[key].title} for key in cure],
        }

    def systematic(self, found: Systematic) -> Plain:
        """Faults on many machines and where they are concentrated."""
        return {
            "tests": found.tests,
            "common": [
                {
                    "rule": one.rule,
                    "title": self.title(one.rule),
                    "broken": len(one.units),
                    "compared": one.compared,
                    "units": list(one.units),
                    "hours_at_risk": one.hours,
                }
                for one in found.common
            ],
            "concentrated": [self.concentration(one) for one in found.concentrated],
        }

    def concentration(self, one: Concentration) -> Plain:
        """One fault in one group, with its groups of the same machines."""
        return {
            "rule": one.rule,
            "title": self.title(one.rule),
            "groups": [{"by": g.by, "name": g.name, "last": g.last, "card": g.card} for g in one.groups],
            "broken": one.broken,
            "machines": one.machines,
            "broken_rest": one.broken_rest,
            "rest": one.rest,
            "probability": float(one.probability),
            "false_discovery_rate": float(one.rate),
            "units": list(one.units),
        }

    def changed(self, change: Changed, card: str) -> Plain:
        """What became of one question."""
        return {
            "unit": change.unit,
            "farm": change.farm,
            "turn": change.turn.value,
            "other_job": change.other_job,
            "before": self.finding(change.before, card) if change.before else None,
            "after": self.finding(change.after, card) if change.after else None,
        }


def comparison_json(found: Comparison, after: Fleet, rulebook: Rulebook) -> Plain:
    """Two audits of one fleet side by side."""
    tell = Teller(rulebook)
    cards = {unit.line.unit: unit.line.card for unit in after.units}
    return {
        "units": found.units,
        "gone": list(found.gone),
        "new": list(found.new),
        "released": list(found.released),
        "stopped": list(found.stopped),
        "other_job": list(found.other_job),
        "same_rules": found.same_rules,
        "hours_before": found.hours_before,
        "hours_after": found.hours_after,
        "hours_removed": found.hours_removed,
        "hours_added": found.hours_added,
        "hours_lost_sight": found.hours_lost_sight,
        "changes": [tell.changed(change, cards[change.unit]) for change in found.changes],
    }


def schedule_json(schedule: Schedule, fleet: Fleet) -> Plain:
    """Who goes where on which day, with parts and tools for the truck."""
    units = {unit.line.unit: unit for unit in fleet.units}
    days = []
    loaded: set[str] = set()  # parts go on one truck, that of the first to come
    for day in schedule.days:
        every = {piece.unit for visit in day.visits for piece in visit.pieces}
        first = every - loaded
        loaded |= every
        _, parts, _ = work_of(units[unit] for unit in sorted(first))
        _, _, tools = work_of(units[unit] for unit in sorted(every))
        days.append(
            {
                "day": day.day.isoformat(),
                "technician": day.technician,
                "base": day.base,
                "leaves": clock(day.leaves),
                "back": clock(day.back),
                "travel_minutes": day.travel,
                "work_minutes": sum(piece.minutes for visit in day.visits for piece in visit.pieces),
                "parts": [{"part": part, "units": count} for part, count in parts],
                "tools": list(tools),
                "visits": [
                    {
                        "farm": visit.farm,
                        "arrives": clock(visit.arrives),
                        "begins": clock(visit.begins),
                        "leaves": clock(visit.leaves),
                        "work": [
                            {
                                "unit": piece.unit,
                                "card": units[piece.unit].line.card,
                                "held": units[piece.unit].line.held,
                                "minutes": piece.minutes,
                                "technicians": piece.crew,
                                "people": units[piece.unit].line.work.people,  # type: ignore[union-attr]
                                "part": piece.part + 1,
                            }
                            for piece in visit.pieces
                        ],
                    }
                    for visit in day.visits
                ],
            }
        )
    return {
        "days": days,
        "done": [{"unit": unit, "day": day.isoformat()} for unit, day in schedule.done],
        "left_out": [
            {"unit": one.unit, "farm": one.farm, "held": one.held, "why": one.why} for one in schedule.left_out
        ],
        "proven": schedule.proven,
        "cost": _cost_json(schedule.cost),
        "least": {"held_hours_missed": schedule.least[0] / 10, "risk_hour_days": schedule.least[1] / 10},
    }


def _cost_json(cost: Cost) -> Plain:
    return {
        "held_hours_missed": cost.held_missed / 10,
        "risk_hour_days": cost.risk_days / 10,
        "travel_minutes": cost.travel,
    }


def clock(minutes: int) -> str:
    """Minutes after midnight as a time of day."""
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
