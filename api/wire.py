"""Reports and rulebooks as plain values for JSON; the same shape for the command line and for HTTP."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from audit.measures import from_canonical, show
from audit.nouns.fact import Fact
from audit.nouns.finding import Comparison, Counts, Finding, Report, TargetUsed, Unasked
from audit.nouns.machine import MachineCard, Move
from audit.nouns.problem import Problem
from audit.nouns.quantity import Form, Quantity, Value
from audit.nouns.rule import Procedure, Verdict
from audit.nouns.rulebook import Rulebook
from audit.nouns.source import Basis
from audit.nouns.vocabulary import on_card

if TYPE_CHECKING:
    from audit.judged import Judged

Plain = dict[str, Any]

USUAL = ("engine-off", "key-out", "wait-stopped", "header-stop", "feeder-stop", "guards-back", "manual")
"""Cautions that a report says once for all its work; what a procedure asks for beyond them stands with it."""


def report_json(report: Report, rulebook: Rulebook, with_facts: bool = False) -> Plain:
    """A report with everything a reader needs: findings in full, what was not asked, and facts with traces if wanted.

    What is not known has no cure but to look; only a broken rule's finding says how to put it right.
    """
    card = rulebook.machines[report.card]
    names = on_card(card, rulebook.vocabulary)
    plain = {
        **envelope_json(report),
        "findings": [finding_json(finding, rulebook, card, names) for finding in report.findings],
        "unasked": [unasked_json(unasked) for unasked in report.unasked],
    }
    if with_facts:
        plain["facts"] = [fact_json(fact, names) for fact in report.facts]
    return plain


def envelope_json(report: Report) -> Plain:
    """A report without its lists."""
    return {
        "unit": report.unit,
        "card": report.card,
        "crop": report.crop,
        "header_kind": report.header_kind,
        "taken": {"at": report.taken.at, "by": report.taken.by, "state": report.taken.state},
        "clearance": report.clearance.value,
        "rulebook": {"digest": report.digest},
        "builds": dict(report.builds),
        "counts": counts_json(report.counts),
        "hour_standing": hour_standing(report),
    }


def judged_json(judged: Judged, rulebook: Rulebook) -> Plain:
    """The short answer to one setup: the same keys as a report's, without those that only the full one works out."""
    card = rulebook.machines[judged.card]
    findings = judged.findings()
    return {
        "unit": judged.unit,
        "card": judged.card,
        "crop": judged.crop,
        "header_kind": judged.header_kind,
        "clearance": judged.clearance.value,
        "rulebook": {"digest": rulebook.digest},
        "counts": counts_json(judged.counts),
        "findings": [finding_json(finding, rulebook, card, judged.sheet.names) for finding in findings],
    }


def counts_json(counts: Counts) -> Plain:
    return {
        "kept": counts.kept,
        "broken": counts.broken,
        "unknown": counts.unknown,
        "not_asked": counts.not_asked,
    }


def usual_cautions(rulebook: Rulebook) -> str:
    """What a report says once, before any work on the machine."""
    return " ".join(rulebook.cautions[key] for key in USUAL)


def hour_standing(report: Report) -> Plain | None:
    """What an hour of standing costs in area and grain, where ground speed, width, efficiency and yield are known."""
    area, grain = report.hourly
    if not isinstance(area, float):
        return None
    return {"hectares": area, "acres": from_canonical(area, "ac/h"), "kg": grain}


def finding_json(finding: Finding, rulebook: Rulebook, card: MachineCard, names: Mapping[str, Quantity]) -> Plain:
    """One finding: what is wrong, how bad, why, what it damages, how to put it right, on what ground."""
    return {
        **asked_json(finding, rulebook, card),
        **found_json(finding, names),
        **advice_json(finding, rulebook, card),
    }


def asked_json(finding: Finding, rulebook: Rulebook, card: MachineCard) -> Plain:
    """Of which question a finding is: the same for every value found."""
    rule = rulebook.rules[finding.rule]
    return {
        "rule": rule.id,
        "title": rule.title,
        "verdict": finding.verdict.value,
        "on": finding.on,
        "on_title": title_of(card, finding.on),
        "station": {"id": finding.station, "title": station_title(card, finding.station)},
        "holds_start": finding.holds_start,
    }


def found_json(finding: Finding, names: Mapping[str, Quantity]) -> Plain:
    """What depends on the values found."""
    risk = finding.risk
    return {
        "risk": {
            "level": risk.level.name.lower(),
            "index": risk.index,
            "severity": risk.severity.name.lower(),
            "probability": risk.probability.name.lower(),
            "downtime_h": risk.downtime,
            "margin_share": risk.share,
            "danger_to_people": risk.people,
        },
        "found": [comparison_json(comparison, names) for comparison in finding.comparisons],
        "missing": [{"name": m.name, "meaning": m.meaning, "how": m.how} for m in finding.missing],
    }


def advice_json(finding: Finding, rulebook: Rulebook, card: MachineCard) -> Plain:
    """Why it matters, what to do, and on what ground: the same wherever the same quantities were compared."""
    rule = rulebook.rules[finding.rule]
    return {
        "why": rule.why,
        "harm": {"to": rule.harm.to, "how": rule.harm.how},
        "cure": [cure_json(key, rulebook, card, finding) for key in rule.cure if finding.verdict is Verdict.BROKEN],
        "basis": basis_json(rule.basis, rulebook),
        "targets": [target_json(target, rulebook) for target in finding.targets],
        "standing": rule.standing.value,
        "pack": rule.pack,
        "origin": rule.origin,
        "overrides": rule.overrides,
    }


def comparison_json(comparison: Comparison, names: Mapping[str, Quantity]) -> Plain:
    """What was found against what is wanted."""
    quantity = names[comparison.quantity]
    past = None
    if comparison.past is not None:
        past = {"value": comparison.past, "shown": shown_difference(comparison.past, quantity)}
    return {
        "quantity": comparison.quantity,
        "meaning": quantity.meaning,
        "side": comparison.side,
        "value": comparison.found,
        "shown": shown(comparison.found, quantity),
        "unit": quantity.unit,
        "wanted": comparison.wanted,
        "past": past,
        "why_unknown": comparison.why_unknown,
    }


def cure_json(key: str, rulebook: Rulebook, card: MachineCard, finding: Finding) -> Plain:
    """A procedure with this machine's own times and tools where its card has them."""
    procedure = rulebook.procedures[key]
    move = own_move(procedure, card, finding)
    cautions = list(dict.fromkeys((*procedure.safe, *procedure.cautions)))
    return {
        "procedure": key,
        "title": procedure.title,
        "minutes": move.minutes if move else procedure.minutes,
        "people": move.people if move else procedure.people,
        "tools": list(move.tools if move and move.tools else procedure.tools),
        "parts": list(move.parts if move and move.parts else procedure.parts),
        "before": [titled(other, rulebook) for other in procedure.before],
        "steps": [{"do": step.do, "trap": step.trap} for step in procedure.steps],
        "cautions": [rulebook.cautions[caution] for caution in cautions],
        "special_cautions": [rulebook.cautions[caution] for caution in cautions if caution not in USUAL],
        "after": [titled(other, rulebook) for other in procedure.after],
    }


def own_move(procedure: Procedure, card: MachineCard, finding: Finding) -> Move | None:
    """What the card says of this procedure: for a quantity of the finding first, else for any."""
    wanted = {comparison.quantity for comparison in finding.comparisons}
    moves = [carried for carried in card.carried if carried.move and carried.move.procedure == procedure.key]
    moves.sort(key=lambda carried: carried.name not in wanted)
    return moves[0].move if moves else None


def titled(key: str, rulebook: Rulebook) -> Plain:
    return {"procedure": key, "title": rulebook.procedures[key].title}


def basis_json(basis: Basis, rulebook: Rulebook) -> Plain:
    """A ground with its source written out."""
    source = rulebook.sources.get(basis.source)
    written = None
    if source is not None:
        written = {
            "key": source.key,
            "title": source.title,
            "by": source.by,
            "edition": source.edition,
            "publisher": source.publisher,
            "year": source.year,
            "status": source.status,
        }
    return {"ground": basis.ground.value, "source": written, "at": basis.at, "note": basis.note}


def basis_text(basis: Plain) -> str:
    """A ground in one line."""
    source = basis["source"]
    parts = [basis["ground"]]
    if source:
        parts += [part for part in (source["by"], source["title"], source["edition"], source["year"]) if part]
    return ", ".join([*parts, *(part for part in (basis["at"], basis["note"]) if part)])


def target_json(target: TargetUsed, rulebook: Rulebook) -> Plain:
    return {
        "quantity": target.quantity,
        "text": target.text,
        "card": target.card,
        "basis": basis_json(target.basis, rulebook),
    }


def unasked_json(unasked: Unasked) -> Plain:
    return {"rule": unasked.rule, "on": unasked.on, "reason": unasked.reason}


def fact_json(fact: Fact, names: Mapping[str, Quantity]) -> Plain:
    """A computed fact with the trace that shows where it came from."""
    quantity = names.get(fact.name)
    text = shown(fact.value, quantity) if quantity is not None else _plainly(fact.value, fact.unit)
    return {
        "name": fact.name,
        "meaning": fact.meaning,
        "value": fact.value,
        "unit": fact.unit,
        "shown": text,
        "formula": fact.formula,
        "equation": fact.equation,
        "source": fact.source,
        "at": fact.at,
        "inputs": [{"name": name, "value": value} for name, value in fact.inputs],
        "why_unknown": fact.why_unknown,
    }


def problem_json(problem: Problem) -> Plain:
    """A problem with its place."""
    place = problem.place
    return {
        "source": place.source,
        "line": place.line,
        "column": place.column,
        "path": place.path,
        "message": problem.message,
        "advice": problem.advice,
    }


def shown(value: Value, quantity: Quantity) -> str:
    """A canonical value as a reader sees it; '' for not known."""
    if value is None:
        return ""
    if quantity.form is Form.TIME and isinstance(value, float):
        return datetime.fromtimestamp(value, UTC).strftime("%Y-%m-%d %H:%M UTC")
    return _plainly(value, quantity.unit)


def shown_difference(value: float, quantity: Quantity) -> str:
    """A distance in the display unit; a difference of temperatures is in kelvin."""
    unit = "K" if quantity.unit in ("degC", "degF") else quantity.unit
    return show(value, unit)


def _plainly(value: Value, unit: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    return show(value, unit) if unit else f"{value:g}"


def title_of(card: MachineCard, component: str) -> str:
    """Title of a shaft, drive or part; '' for none."""
    return next((found.title for found in card.components() if found.id == component), "")


def station_title(card: MachineCard, station: str) -> str:
    """Title of a station on the walk round."""
    return next((found.title for found in card.stations if found.id == station), station)
