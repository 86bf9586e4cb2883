"""Questions of a check sheet as plain values, for the page that judges at once where there is no signal.

Only what the sheet asks of settings, readings, events, job and builds goes out with its condition; what needs a
computed fact is left to the server, which alone decides. The vocabulary is closed (``static/judge.js`` reads it, and is
held to the engine by a test):

    condition: {all: [..]} {any: [..]} {evidence: [..]} {not: c} {if: c, then: c} {known: name}
               {of: name, RELATION}
    relation:  is: limit | one_of: [limit] | at_least: limit | at_most: limit | between: [limit, limit]
               | near: limit, within: number, share: bool | same: name or '', within: number | after: name of an event
    limit:     {value: canonical value, null where nobody states one} | {of: name, times: number}
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.checking import Surroundings, evaluate
from audit.conditions import comparisons, limits, quantities
from audit.nouns.quantity import Role, Value
from audit.nouns.rule import (
    All,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Is,
    Known,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Relation,
    Same,
)
from audit.nouns.rule import Any as AnyOf
from audit.planning.probes import Probes
from audit.ranking import level
from audit.sentence import sentence
from audit.sheet import Question, Sheet

Plain = dict[str, Any]


def published(sheet: Sheet) -> list[tuple[Plain, Plain]]:
    """Every question of a sheet: what a program reads of it, and its texts for people by key.

    The first has ``no``, ``rule``, ``on``, ``level``, ``people``, ``given`` (None where always asked), ``hold`` (None
    where only the server can judge it), ``behind``: settings and readings that it stands on, and ``station``.
    """
    probes = Probes(sheet, {})
    return [(_question(one, sheet, probes), _texts(one, sheet)) for one in sheet.questions]


def constants(sheet: Sheet) -> Plain:
    """What the cards state of quantities that questions name, by name."""
    named = {name for one in sheet.questions for part in (one.given, one.hold) if part for name in quantities(part)}
    return {name: sheet.constants[name] for name in sorted(named) if sheet.constants.get(name) is not None}


def _question(one: Question, sheet: Sheet, probes: Probes) -> Plain:
    harm = one.rule.harm
    names = [name for part in (one.given, one.hold) if part is not None for name in quantities(part)]
    inputs, _ = probes.behind(names)
    judged = all(name in sheet.constants or sheet.names[name].role is not Role.FACT for name in names)
    return {
        "no": one.no, "rule": one.rule.id, "on": one.on, "station": one.station,
        "level": level(harm.severity, harm.probability).name.lower(), "people": harm.people,
        "given": None if one.given is None else condition(one.given),
        "hold": condition(one.hold) if judged else None, "behind": inputs,
    }  # fmt: skip


def _texts(one: Question, sheet: Sheet) -> Plain:
    """Title of the rule, and what it wants of each quantity that it compares, in words."""
    return {"title": one.rule.title, "wanted": dict(wanted_by(one, sheet))}


def wanted_by(one: Question, sheet: Sheet) -> list[tuple[str, str]]:
    """What a question wants, by quantity; limits that are other quantities are named."""
    nothing = Surroundings(dict.fromkeys(sheet.constants), sheet.names, {})
    found = []
    for compare in comparisons(one.hold):
        if any(isinstance(limit, Pointer) for limit in limits(compare.relation)):
            text = sentence(compare).removeprefix(compare.quantity).strip()
        else:
            text = next((said.wanted for said in evaluate(compare, nothing).comparisons), "")
        if text:
            found.append((compare.quantity, text))
    return found


def right_by(sheet: Sheet, settled: Mapping[str, Value]) -> dict[str, list[str]]:
    """What is right for each quantity by the questions that are asked, or may be, of what is settled so far."""
    around = Surroundings(settled, sheet.names, {})
    found: dict[str, dict[str, None]] = {}
    for one in sheet.questions:
        if one.given is None or evaluate(one.given, around).truth is not False:
            for name, text in wanted_by(one, sheet):
                found.setdefault(name, {})[text] = None
    return {name: list(texts) for name, texts in found.items()}


def condition(found: Condition) -> Plain:
    """A condition as the page reads it."""
    if isinstance(found, Compare):
        return {"of": found.quantity, **_relation(found.relation)}
    if isinstance(found, Known):
        return {"known": found.quantity}
    if isinstance(found, Not):
        return {"not": condition(found.part)}
    if isinstance(found, IfThen):
        return {"if": condition(found.given), "then": condition(found.then)}
    word = {All: "all", AnyOf: "any", Evidence: "evidence"}[type(found)]
    return {word: [condition(part) for part in found.parts]}


def _relation(found: Relation) -> Plain:
    if isinstance(found, Is):
        return {"is": _limit(found.limit)}
    if isinstance(found, OneOf):
        return {"one_of": [_limit(one) for one in found.limits]}
    if isinstance(found, AtLeast):
        return {"at_least": _limit(found.limit)}
    if isinstance(found, AtMost):
        return {"at_most": _limit(found.limit)}
    if isinstance(found, Between):
        return {"between": [_limit(found.low), _limit(found.high)]}
    if isinstance(found, Near):
        return {"near": _limit(found.limit), "within": found.within, "share": found.share}
    if isinstance(found, Same):
        return {"same": found.other, "within": found.within}
    assert isinstance(found, RecordedAfter)
    return {"after": found.event}


def _limit(found: Limit) -> Plain:
    if isinstance(found, Literal):
        return {"value": found.value}
    return {"of": found.name, "times": found.times}
