"""Reports as text for people: what is wrong, worst first, each with what it takes to put it right."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

from api.wire import basis_text

Plain = dict[str, Any]

MARKS = {"high": "■", "serious": "▲", "medium": "●", "low": "○"}
COLOURS = {"high": "31", "serious": "33", "medium": "34", "low": "36"}


class Page:
    """Lays text out for a width, with or without colour.

    Args:
        width: columns.
        colour: use the terminal's colours; words and shapes say the same without.
        usual: the cautions that stand once, after all findings.
    """

    def __init__(self, width: int = 100, colour: bool = False, usual: str = "") -> None:
        self.width, self.colour, self.usual = max(40, width), colour, usual

    def report(self, report: Plain, facts: bool = False) -> Iterator[str]:
        """One report in full; a fact that a finding is about says how it was computed where the report has facts."""
        yield from self.heading(report)
        builds = "".join(f"{name} {choice}, " for name, choice in report["builds"].items())
        yield from self.wrapped(f"Build: {builds}judged by rulebook {report['rulebook']['digest'][:12]}.", "", "  ")
        broken = [finding for finding in report["findings"] if finding["verdict"] == "broken"]
        unknown = [finding for finding in report["findings"] if finding["verdict"] == "unknown"]
        computed = {fact["name"]: fact for fact in report.get("facts", ())}
        shown: dict[str, int] = {}
        for number, finding in enumerate(broken, 1):
            yield ""
            yield from self.finding(number, finding, computed, shown)
        if unknown:
            yield ""
            yield from self.unknown(unknown)
        if facts:
            yield ""
            yield from self.facts(report["facts"])
        if broken or unknown:
            yield ""
            yield from self.safety()

    def safety(self) -> Iterator[str]:
        """What holds before any work, taking a reading included."""
        yield from self.wrapped(f"Before any work: {self.usual}")

    def heading(self, report: Plain) -> Iterator[str]:
        header = f", {report['header_kind']}" if report["header_kind"] else ""
        state = report.get("taken", {}).get("state", "").replace("-", " ")
        found = f", {state}" if state else ""
        yield self.strong(f"{report['unit']}  {report['card']}, {report['crop']}{header}{found}")
        counts = report["counts"]
        holding = sum(finding["holds_start"] for finding in report["findings"])
        clearance = report["clearance"].upper()
        why = f" by {holding} finding{'s' * (holding != 1)}" if holding else ""
        yield (
            f"{self.paint(clearance, 'high' if holding else '')}{why}: {counts['broken']} broken, "
            f"{counts['unknown']} not known, {counts['kept']} kept, {counts['not_asked']} not asked"
        )
        hour = report.get("hour_standing")
        if hour and holding:
            grain = f", {hour['kg'] / 1000:.1f} t of grain" if hour["kg"] else ""
            yield f"An hour standing costs {hour['hectares']:.1f} ha ({hour['acres']:.1f} ac){grain}."
        for name in undecided(report):
            yield f"Build not decided: {name}. State it under unit.fitted."

    def brief(self, report: Plain) -> Iterator[str]:
        """The heading, and a line for each finding; takes a short answer too."""
        yield from self.heading(report)
        unknown = [finding for finding in report["findings"] if finding["verdict"] == "unknown"]
        for finding in report["findings"]:
            if finding["verdict"] == "broken":
                yield f"  {self.brief_finding(finding)}: {', '.join(self.compared(finding))}"
        if unknown:
            questions = f"{len(unknown)} answers that are" if len(unknown) > 1 else "an answer that is"
            yield f"  {self.level(unknown[0])} at worst behind {questions} not known"

    def brief_finding(self, finding: Plain, unit: str = "") -> str:
        """Level, unit if one is given, and what is wrong."""
        people = " (danger to people)" if finding["risk"]["danger_to_people"] else ""
        return f"{self.level(finding)}{f'  {unit} ' if unit else ''} {self.place(finding)}{people}"

    def finding(self, number: int, finding: Plain, computed: dict[str, Plain], shown: dict[str, int]) -> Iterator[str]:
        """One broken rule in full.

        Args:
            computed: facts by name.
            shown: number of the finding that already tells a procedure's steps; filled in here.
        """
        yield f"{number}. {self.level(finding)}  {self.strong(self.place(finding))}"
        for found in finding["found"]:
            side = f", {found['side']}" if found["side"] else ""
            yield from self.labelled("Found", f"{found['meaning']}{side}: {_outcome(found)} [{found['quantity']}]")
        for name in dict.fromkeys(found["quantity"] for found in finding["found"]):
            if name in computed:
                yield from self.labelled("Computed", _trace(computed[name]))
            yield from self.to_set(name, computed)
        yield from self.labelled("Why", finding["why"])
        harm, risk = finding["harm"], finding["risk"]
        people = " DANGER TO PEOPLE." if risk["danger_to_people"] else ""
        yield from self.labelled("Damage", f"{harm['to']}: {harm['how']}.{people}")
        yield from self.labelled(
            "Risk",
            f"{risk['level']} (severity {risk['severity']}, probability {risk['probability']}, "
            f"index {risk['index']} of 20), about {risk['downtime_h']:g} h standing. {self.effect(finding)}",
        )
        for cure in finding["cure"]:
            first = shown.setdefault(cure["procedure"], number)
            if first == number:
                yield from self.cure(cure)
            else:
                yield from self.labelled("Put right", f"{cure['title']}, as told under {first}.")
        yield from self.labelled("Ground", self.ground(finding))

    def to_set(self, name: str, computed: dict[str, Plain]) -> Iterator[str]:
        """The shaft speeds that give a wanted tip speed: what a person can set."""
        part, _, attribute = name.rpartition(".")
        ends = [computed.get(f"{part}.wanted_{end}", {}).get("shown") for end in ("low", "high")]
        if attribute == "tip_speed" and any(ends):
            yield from self.labelled("To set", f"{' to '.join(end for end in ends if end)} gives what is wanted.")

    def cure(self, cure: Plain) -> Iterator[str]:
        people = f"{cure['people']} people" if cure["people"] > 1 else "one person"
        tools = f", {', '.join(cure['tools'])}" if cure["tools"] else ""
        parts = f"; parts: {', '.join(cure['parts'])}" if cure["parts"] else ""
        yield from self.labelled("Put right", f"{cure['title']} ({cure['minutes']:g} min, {people}{tools}{parts})")
        for other in cure["before"]:
            yield from self.wrapped(f"first: {other['title']}", "    ", "    ")
        for number, step in enumerate(cure["steps"], 1):
            trap = f" Otherwise: {step['trap']}" if step["trap"] else ""
            yield from self.wrapped(f"{number}. {step['do']}{trap}", "    ", "       ")
        for other in cure["after"]:
            yield from self.wrapped(f"then: {other['title']}", "    ", "    ")
        beware = ["The usual cautions at the end of this report.", *cure["special_cautions"]]
        yield from self.labelled("Beware", " ".join(beware))

    def unknown(self, findings: list[Plain]) -> Iterator[str]:
        """What to find out, by station in the order of the worst that it could be hiding."""
        yield self.strong(f"Not known: {len(findings)} questions. Unknown is never safe; this is what to look at:")
        seen: set[str] = set()
        wanted: dict[str, dict[tuple[str, str, str], list[str]]] = {}
        for finding in findings:  # worst first, so that each thing stands under the worst it could be hiding
            for missing in finding["missing"]:
                told = missing["meaning"] or missing["how"]  # else it is known, and waits for another one
                if told and missing["name"] not in seen:
                    seen.add(missing["name"])
                    station = wanted.setdefault(finding["station"]["title"] or "Elsewhere", {})
                    alike = (MARKS[finding["risk"]["level"]], missing["meaning"], missing["how"])
                    station.setdefault(alike, []).append(missing["name"])
        for title, items in wanted.items():
            yield f"  {self.strong(title)}"
            for (mark, meaning, how), names in items.items():
                told = " ".join(part for part in (f"{meaning}." if meaning else "", how) if part)
                yield from self.wrapped(f"{mark} {', '.join(names)}: {told}", "    ", "      ")
        yield from self.wrapped(f"The mark is the worst it could be hiding: {self.legend()}.", "  ", "  ")

    def facts(self, facts: list[Plain]) -> Iterator[str]:
        yield self.strong("Computed")
        for fact in facts:
            yield from self.wrapped(_trace(fact), "  ", "    ")

    def place(self, finding: Plain) -> str:
        """Title of the rule, with the part it is about."""
        trial = " (trial rule)" if finding["standing"] == "trial" else ""
        part = f" - {finding['on_title']}" if finding["on_title"] else ""
        return f"{finding['title']}{part}{trial}"

    def compared(self, finding: Plain) -> list[str]:
        """What was found and what is wanted, a line for each comparison that failed."""
        lines = []
        for found in finding["found"]:
            side = f" {found['side']}" if found["side"] else ""
            lines.append(f"{found['quantity']}{side}: {_outcome(found)}")
        return lines

    def effect(self, finding: Plain) -> str:
        if finding["holds_start"]:
            return "Holds a harvest start."
        return "Shown only, on trial." if finding["standing"] == "trial" else "Does not hold a start."

    def ground(self, finding: Plain) -> str:
        """On what ground the rule and its targets stand, and whose rule it is."""
        parts = [basis_text(finding["basis"])]
        for target in finding["targets"]:
            parts.append(
                f"target {target['quantity']} = {target['text']} from {target['card']} ({basis_text(target['basis'])})"
            )
        if finding["origin"]:
            change = "overrides the shipped rule" if finding["overrides"] else "added"
            parts.append(f"{change} by site folder {finding['origin']}")
        return "; ".join(parts) + f" [{finding['rule']}]"

    def level(self, finding: Plain) -> str:
        level = finding["risk"]["level"]
        return self.paint(f"{MARKS[level]} {level.upper()}", level)

    def legend(self) -> str:
        return ", ".join(f"{mark} {level}" for level, mark in MARKS.items())

    def labelled(self, label: str, text: str) -> Iterator[str]:
        yield from self.wrapped(f"{label + ':':<10} {text}", "   ", " " * 14)

    def wrapped(self, text: str, first: str = "", rest: str = "") -> Iterable[str]:
        return textwrap.wrap(
            text,
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        )

    def strong(self, text: str) -> str:
        return f"\x1b[1m{text}\x1b[0m" if self.colour else text

    def paint(self, text: str, level: str) -> str:
        return f"\x1b[1;{COLOURS[level]}m{text}\x1b[0m" if self.colour and level else text


def undecided(report: Plain) -> list[str]:
    """Builds that serial and year leave open; a short answer names only those that a question waits for."""
    if "builds" in report:
        return [name for name, choice in report["builds"].items() if choice == "cannot decide"]
    names = (missing["name"] for finding in report["findings"] for missing in finding["missing"])
    return list(dict.fromkeys(name.removeprefix("build.") for name in names if name.startswith("build.")))


def _outcome(found: Plain) -> str:
    past = f" ({found['past']['shown']} past it)" if found["past"] else ""
    return f"{found['shown'] or 'not known'}, wanted {found['wanted']}{past}"


def _trace(fact: Plain) -> str:
    """A computed fact with what it was computed from."""
    value = fact["shown"] or f"not known ({fact['why_unknown']})"
    inputs = ", ".join(f"{item['name']} = {_number(item['value'])}" for item in fact["inputs"])
    source = ", ".join(part for part in (fact["source"], fact["at"]) if part)
    return f"{fact['name']} = {value}. {fact['formula']}: {fact['equation']} [{source}]; {inputs}"


def _number(value: object) -> str:
    return f"{value:.6g}" if isinstance(value, float) else "not known" if value is None else str(value)
