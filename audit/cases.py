"""Runs a rule's own cases: values by name in, verdict out, by the plain reading."""

from __future__ import annotations

from collections.abc import Iterator

from audit.checking import Outcome, Surroundings, judge
from audit.conditions import quantities, when_asked
from audit.intake.rules import ConditionReader
from audit.intake.tree import Node, Problems
from audit.limits import Limits
from audit.nouns.machine import Target
from audit.nouns.problem import Place, Problem
from audit.nouns.quantity import Quantity, Sided, Value
from audit.nouns.rule import Case, Condition, Rule, Verdict
from audit.nouns.vocabulary import Vocabulary

TARGET = "target."


def run_case(rule: Rule, case: Case, vocabulary: Vocabulary) -> tuple[Verdict, Outcome]:
    """The verdict of a rule on one of its cases."""
    given = when_asked(rule.given, rule.hold)
    names = quantities_of(rule, vocabulary)
    values: dict[str, Value | Sided] = {}
    targets: dict[str, Target] = {}
    for name, value in case.at:
        if isinstance(value, Target):
            targets[name[len(TARGET) :]] = value
        else:
            values[name] = value
    limits = Limits(lambda name: targets.get(name, f"the case gives no target for {name}"), {}, {}, names)

    def resolved(condition: Condition) -> Condition:
        return limits.resolve(condition)

    around = Surroundings(values, names, {})
    return judge(None if given is None else resolved(given), resolved(rule.hold), around)


def quantities_of(rule: Rule, vocabulary: Vocabulary) -> dict[str, Quantity]:
    """Every quantity a rule names, by the name it uses."""
    reader = ConditionReader(vocabulary, rule.each, Problems())
    nowhere = Node(None, Place())
    found: dict[str, Quantity] = {}
    for part in (rule.hold, when_asked(rule.given, rule.hold)):
        for name in () if part is None else quantities(part):
            quantity = reader.quantity(name, nowhere)
            if quantity is not None:
                found[name] = quantity
    return found


def failures(rule: Rule, vocabulary: Vocabulary) -> Iterator[Problem]:
    """Cases that do not give what they say, and names in cases that the rule never looks at."""
    known = set(quantities_of(rule, vocabulary))
    for case in rule.cases:
        verdict, outcome = run_case(rule, case, vocabulary)
        if verdict is not case.gives:
            why = "; ".join(f"{c.quantity} wants {c.wanted}" for c in outcome.comparisons)
            yield Problem(
                case.place,
                f"case '{case.name}' gives {verdict.value}, not {case.gives.value}.",
                f"({why})" if why else "",
            )
        elif case.past is not None:
            past = max((c.past or 0.0 for c in outcome.comparisons), default=0.0)
            if abs(past - case.past) > 1e-6 * max(1.0, abs(case.past)):
                yield Problem(case.place, f"case '{case.name}' is {past:g} past the limit, not {case.past:g}.")
        for name, _ in case.at:
            if not name.startswith(TARGET) and name not in known:
                yield Problem(
                    case.place, f"case '{case.name}' gives '{name}', which the rule never looks at.", "Remove it."
                )
