"""A fleet's answers as text for people: the report that is the plan for the weeks before harvest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from api.text import MARKS, Page

Plain = dict[str, Any]

CHANCE = (
    "Machines are compared with machines of the same card, crop and header; a card with other cards set for the same. "
    "p: chance of so many or more if the group made no difference (Fisher's exact test, one-sided). q: share of false "
    "alarms among all that is told with so small a p (Benjamini-Hochberg, 1995). It says where to look, not why."
)
AT_RISK = "Hours at risk: what each broken finding would cost in standing if its harm happened, added up."
_TURNS = ("newly broken", "still broken", "newly unknown", "put right", "found out, and in order", "not asked any more")


class FleetPage(Page):
    """Lays a fleet's answers out; what it takes is what the JSON answers hold.

    Args:
        most: most entries of a list before the rest is only counted.
    """

    def __init__(self, width: int = 100, colour: bool = False, usual: str = "", most: int = 20) -> None:
        super().__init__(width, colour, usual)
        self.most = most

    def fleet(self, fleet: Plain) -> Iterator[str]:
        """The whole report."""
        yield from self.counts(fleet)
        if fleet["changed"] is not None:
            yield from self.comparison(fleet["changed"])
        yield from self.worst(fleet["worst_first"])
        yield from self.common(fleet["systematic"], fleet["takers_known"])
        yield from self.held([unit for unit in fleet["worst_first"] if unit["clearance"] == "held"])
        yield from self.farms(fleet["farms"])
        yield from self.order(fleet["to_order"])
        if fleet["visits"] is not None:
            yield from self.visits(fleet["visits"])
        yield ""
        yield from self.safety()

    def counts(self, fleet: Plain) -> Iterator[str]:
        """The fleet in a few lines."""
        held = fleet["held"]
        older = fleet["setups"] - fleet["units"]
        yield self.strong(
            f"{counted(fleet['units'], 'unit')}: {fleet['units'] - held} cleared, {self.paint(f'{held} HELD', 'high')}"
        )
        told = [f"{one['count']} {one['level']} {one['verdict']}" for one in fleet["findings"]]
        people = fleet["danger_to_people"]
        parts = [
            f"Findings: {', '.join(told) or 'none'}.",
            f"Danger to people on {counted(people, 'unit')}." if people else "",
            f"{fleet['hours_at_risk']:g} hours at risk.",
            f"{_hours(fleet['minutes_of_work'])} of planned work." if fleet["minutes_of_work"] else "",
            f"{counted(older, 'older setup')} of the same units not looked at." if older else "",
            f"Judged by rulebook {fleet['rulebook']['digest'][:12]}.",
        ]
        yield from self.wrapped(" ".join(part for part in parts if part))
        yield from self.wrapped(AT_RISK)
        if fleet["unplanned"]:
            yield from self.wrapped(
                f"The work on {counted(len(fleet['unplanned']), 'unit')} was not planned; "
                "'setup-audit fleet --plan' plans it."
            )

    # ------------------------------------------------------------------------------------------------- what is wrong

    def worst(self, units: Sequence[Plain]) -> Iterator[str]:
        """Units worst first, a line each, with the worst finding."""
        wrong = [unit for unit in units if unit["findings"]]
        yield from self.section("Worst first")
        if not wrong:
            yield "  Nothing is wrong on any unit."
        for unit in wrong[: self.most]:
            first = unit["findings"][0]
            held = "HELD" if unit["clearance"] == "held" else "cleared"
            hidden = f", {unit['hours_hidden']:g} h hidden at worst" if unit["hours_hidden"] else ""
            yield from self.wrapped(
                f"{MARKS[first['level']]} {unit['unit']} ({self.whose(unit)}), {held}: {unit['broken']} broken, "
                f"{unit['unknown']} not known, {unit['hours_at_risk']:g} h at risk{hidden}. First: "
                f"{self.short(first)}.",
                "  ",
                "      ",
            )
        yield from self.more(len(wrong))

    def common(self, found: Plain, takers_known: bool) -> Iterator[str]:
        """Faults on many machines, and where they are commoner than chance would have it."""
        yield from self.section("The same fault on many machines")
        if not found["common"]:
            yield "  No rule is broken on two machines."
            return
        for one in found["common"][: self.most]:
            yield from self.wrapped(
                f"{one['broken']} of {one['compared']}: {one['title']} [{one['rule']}], "
                f"{one['hours_at_risk']:g} h at risk",
                "  ",
                "      ",
            )
        yield from self.more(len(found["common"]))
        yield from self.section("More than chance")
        if not found["concentrated"]:
            yield from self.wrapped(f"No group stands out in {counted(found['tests'], 'test')}.", "  ", "  ")
        for one in found["concentrated"][: self.most]:
            groups = "; the same machines: ".join(_group(group) for group in one["groups"])
            yield from self.wrapped(
                f"{groups}: {one['title']} [{one['rule']}] on {one['broken']} of {one['machines']}, elsewhere on "
                f"{one['broken_rest']} of {one['rest']} (p {one['probability']:.2g}, q "
                f"{one['false_discovery_rate']:.2g}): {', '.join(one['units'])}",
                "  ",
                "      ",
            )
        yield from self.more(len(found["concentrated"]))
        yield from self.wrapped(f"{counted(found['tests'], 'test')}. {CHANCE}", "  ", "  ")
        if not takers_known:
            yield "  Who took the setups is not known, so that was not tested."

    def held(self, units: Sequence[Plain]) -> Iterator[str]:
        """What holds each unit and what clears it."""
        yield from self.section(f"Held, and what clears it: {counted(len(units), 'unit')}")
        for unit in units[: self.most]:
            yield from self.wrapped(f"{unit['unit']} ({self.whose(unit)})", "  ", "      ")
            holding = [one for one in unit["findings"] if one["holds_start"]]
            for finding in [one for one in holding if one["verdict"] == "broken"]:
                how = " or ".join(_lowered(cure["title"]) for cure in finding["cure"])
                side = f", {finding['side']}" if finding["side"] else ""
                seen = f": {finding['quantity']}{side} {finding['found']}, wanted {finding['wanted']}"
                people = " DANGER TO PEOPLE." if finding["danger_to_people"] else ""
                yield from self.wrapped(f"- {self.short(finding)}{seen}.{people} Clears it: {how}.", "    ", "      ")
            unknown = [one for one in holding if one["verdict"] == "unknown"]
            if unknown:
                names = list(dict.fromkeys(one["quantity"] for one in unknown if one["quantity"]))
                look = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
                yield from self.wrapped(
                    f"- {counted(len(unknown), 'question')} not answered. Clears it if in order: find out {look}.",
                    "    ",
                    "      ",
                )
            yield from self.wrapped(_all_work(unit), "    ", "      ")
        yield from self.more(len(units))

    # -------------------------------------------------------------------------------------------------- what is to do

    def farms(self, farms: Sequence[Plain]) -> Iterator[str]:
        """Hours of work, people, parts and tools for the truck, by farm."""
        yield from self.section("Work by farm")
        for farm in farms:
            two = f", {_hours(farm['minutes_for_two'])} of it on units that need two" if farm["minutes_for_two"] else ""
            told = f"{_hours(farm['minutes'])} of work on {counted(farm['to_do'], 'unit')}{two}"
            yield from self.wrapped(
                f"{farm['farm'] or 'Farm not known'}: {counted(farm['units'], 'unit')}, {farm['held']} held, "
                f"{farm['hours_at_risk']:g} h at risk; {told if farm['to_do'] else 'no planned work'}",
                "  ",
                "      ",
            )
            if farm["parts"]:
                yield from self.wrapped(f"Parts: {_parts(farm['parts'])}.", "      ", "        ")
            if farm["tools"]:
                yield from self.wrapped(f"Tools: {', '.join(farm['tools'])}.", "      ", "        ")
            for label, units in (("Work not planned", farm["unplanned"]), ("No plan puts right", farm["stuck"])):
                if units:
                    yield from self.wrapped(f"{label}: {', '.join(units)}.", "      ", "        ")

    def order(self, parts: Sequence[Plain]) -> Iterator[str]:
        """What to order now."""
        yield from self.section("To order now")
        if not parts:
            yield "  No planned work takes a part."
        for part in parts:
            by = f", first harvest {part['first_harvest']}" if part["first_harvest"] else ""
            held = f", {part['held']} of them held" if part["held"] else ""
            yield from self.wrapped(
                f"{part['count']} x {part['part']}{by}: for {', '.join(part['units'])}{held}", "  ", "      "
            )

    def visits(self, plan: Plain) -> Iterator[str]:
        """Who goes where on which day; what is left out and why."""
        yield from self.section("Visits")
        yield from self.wrapped(_sign(plan), "  ", "  ")
        for day, rounds in groupby(plan["days"], key=lambda one: str(one["day"])):
            yield self.strong(f"  {day}")
            for one in rounds:
                yield from self.wrapped(
                    f"{one['technician']}: from {one['base']} {one['leaves']}, back {one['back']}; "
                    f"{_hours(one['work_minutes'])} of work, {one['travel_minutes']} min on the road",
                    "    ",
                    "      ",
                )
                for visit in one["visits"]:
                    wait = f", work from {visit['begins']}" if visit["begins"] != visit["arrives"] else ""
                    work = "; ".join(_piece(piece) for piece in visit["work"])
                    yield from self.wrapped(
                        f"{visit['arrives']} {visit['farm']}{wait} until {visit['leaves']}: {work}",
                        "      ",
                        "        ",
                    )
                if one["parts"]:
                    yield from self.wrapped(f"Parts for the truck: {_parts(one['parts'])}.", "      ", "        ")
                if one["tools"]:
                    yield from self.wrapped(f"Tools for the truck: {', '.join(one['tools'])}.", "      ", "        ")
        if plan["left_out"]:
            yield self.strong("  Not in any visit")
        for one in plan["left_out"]:
            held = ", HELD" if one["held"] else ""
            yield from self.wrapped(
                f"{one['unit']} ({one['farm'] or 'no farm'}{held}): {one['why']}.", "    ", "      "
            )

    # ----------------------------------------------------------------------------------------------- since last time

    def comparison(self, changed: Plain) -> Iterator[str]:
        """What became of the findings of an earlier audit."""
        yield from self.section("Since the audit before")
        counts: dict[str, int] = dict.fromkeys(_TURNS, 0)
        for change in changed["changes"]:
            counts[change["turn"]] += 1
        yield from self.wrapped(
            f"{counted(changed['units'], 'unit')} in both. {', '.join(f'{n} {turn}' for turn, n in counts.items())}.",
            "  ",
            "  ",
        )
        yield from self.wrapped(
            f"Hours at risk: {changed['hours_before']:g} before, {changed['hours_after']:g} now. Set for the same job: "
            f"{changed['hours_removed']:g} removed, {changed['hours_added']:g} added, "
            f"{changed['hours_lost_sight']:g} no longer seen.",
            "  ",
            "  ",
        )
        for label, key in (
            ("Cleared now", "released"),
            ("Held now", "stopped"),
            ("New", "new"),
            ("Gone", "gone"),
            ("Set for another job now, so that their findings are of other questions", "other_job"),
        ):
            if changed[key]:
                yield from self.wrapped(f"{label}: {', '.join(changed[key])}.", "  ", "      ")
        if not changed["same_rules"]:
            yield from self.wrapped("The two were judged by different rulebooks.", "  ", "  ")
        for turn in _TURNS:
            some = [change for change in changed["changes"] if change["turn"] == turn]
            if some:
                yield self.strong(f"  {turn[0].upper()}{turn[1:]}: {len(some)}")
            for change in some[: self.most]:
                finding = change["after"] or change["before"]
                note = " (another job now)" if change["other_job"] else ""
                yield from self.wrapped(f"{change['unit']}: {self.short(finding)}{note}", "    ", "      ")
            yield from self.more(len(some))

    # ------------------------------------------------------------------------------------------------------- in words

    def section(self, title: str) -> Iterator[str]:
        yield ""
        yield self.strong(title)

    def more(self, count: int) -> Iterator[str]:
        """Says how many entries are not shown."""
        if count > self.most:
            yield f"  and {count - self.most} more (--top {count} shows all)"

    def whose(self, unit: Plain) -> str:
        parts = (unit["farm"], unit["serial"], f"{unit['card']}, {unit['crop']}")
        return ", ".join(part for part in parts if part)

    def short(self, finding: Plain) -> str:
        on = f" - {finding['on_title']}" if finding["on_title"] else ""
        return f"{MARKS[finding['level']]} {finding['level'].upper()} {finding['title']}{on}"


def named(one: Plain) -> str:
    return f"{one['title']} - {one['on_title']}" if one["on_title"] else str(one["title"])


def _all_work(unit: Plain) -> str:
    """What all of a unit's work takes."""
    work = unit["work"]
    if work is None:
        return "Work not planned."
    if work["conflict"]:
        return "No work puts all of it right; 'setup-audit plan' says why."
    people = "one person" if work["people"] <= 1 else f"{work['people']} people"
    parts = f"; parts: {', '.join(work['parts'])}" if work["parts"] else ", no parts"
    proven = "" if work["proven"] else "; cheaper work may exist"
    return f"All its work: {work['minutes']:g} min, {people}{parts}{proven}."


def _group(group: Plain) -> str:
    name = f"{group['name']} to {group['last']}" if group["last"] else group["name"]
    of = f" of {group['card']}" if group["card"] else ""
    return name if group["by"] == "farm" else f"{group['by']} {name}{of}"


def _piece(piece: Plain) -> str:
    part = f", visit {piece['part']}" if piece["part"] > 1 else ""
    helper = ", with the farm's helper" if piece["people"] > piece["technicians"] else ""
    two = ", two technicians" if piece["technicians"] > 1 else ""
    held = " HELD" if piece["held"] else ""
    return f"{piece['unit']}{held} ({piece['card']}, {piece['minutes']} min{two}{helper}{part})"


def _sign(plan: Plain) -> str:
    """How good the visits are known to be."""
    cost, least = plan["cost"], plan["least"]
    missed = f"Hours at risk on held units that are not done in time: {cost['held_hours_missed']:g}"
    days = f"hours at risk (unknown at its worst) times days until removed: {cost['risk_hour_days']:g}"
    if plan["proven"]:
        return (
            f"{missed}; {days}; {cost['travel_minutes']} min on the road. Nothing better exists: proven, first for "
            "held units in time, then for risk removed early, then for little travel."
        )
    gap = 1 - least["risk_hour_days"] / cost["risk_hour_days"] if cost["risk_hour_days"] else 0.0
    return (
        f"{missed} (none has less than {least['held_hours_missed']:g}); {days} (none has less than "
        f"{least['risk_hour_days']:g}: gap {100 * gap:.0f} %); {cost['travel_minutes']} min on the road. "
        "The best found, not proven."
    )


def _parts(parts: Sequence[Plain]) -> str:
    return ", ".join(f"{one['units']} x {one['part']}" for one in parts)


def _lowered(title: str) -> str:
    return title[:1].lower() + title[1:]


def _hours(minutes: float) -> str:
    return f"{minutes:g} min" if minutes < 60 else f"{minutes / 60:.1f} h"


def counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' * (number != 1)}"
