"""Every rule of the shipped rulebook: its own cases, whether they prove its limits, and what it leans on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import rules
from audit.auditor import Auditor
from audit.cases import failures, quantities_of
from audit.conditions import quantities, targets
from audit.intake.rulebook import read_rulebook
from audit.kinds import drive_kinds, part_kinds
from audit.nouns.machine import Component, Target
from audit.nouns.quantity import Form, Quantity
from audit.nouns.rule import (
    All,
    Any,
    AtLeast,
    AtMost,
    Between,
    Case,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Is,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    Rule,
    Same,
    Verdict,
)
from audit.nouns.rulebook import Rulebook
from audit.nouns.source import Ground
from audit.sheet import Targets

RULES = read_rulebook(rules.root()).rules  # at collection: each rule is a test of its own
IDS = sorted(RULES)


def red(rule: Rule, rulebook: Rulebook) -> bool:
    """Whether some case of the rule now fails."""
    return any(True for _ in failures(rule, rulebook.vocabulary))


@pytest.mark.parametrize("rule", IDS)
def test_cases_give_what_they_say(rule: str, rulebook: Rulebook) -> None:
    assert [str(problem) for problem in failures(rulebook.rules[rule], rulebook.vocabulary)] == []


@pytest.mark.parametrize("rule", IDS)
def test_kept_broken_and_unknown_are_proved(rule: str, rulebook: Rulebook) -> None:
    given = Counter(case.gives for case in rulebook.rules[rule].cases)
    wanted = {Verdict.KEPT, Verdict.BROKEN, Verdict.UNKNOWN}
    if rulebook.rules[rule].given is not None:
        wanted.add(Verdict.NOT_ASKED)
    assert wanted <= set(given)


@pytest.mark.parametrize("rule", IDS)
def test_names_of_cases_differ(rule: str, rulebook: Rulebook) -> None:
    names = [case.name for case in rulebook.rules[rule].cases]
    assert len(names) == len(set(names))


# ------------------------------------------------------------------------------------------------------- mutations
#
# A limit that is a little tighter must fail the case that stands on it, one that is looser must let the case past it
# through: so the cases pin the limit from both sides. Tighter is a thousandth; looser is the step to the case past it,
# for which a rule may take up to LOOSER of the limit (or of a whole window).

TIGHTER, LOOSER = 0.001, 0.34

Mutant = tuple[str, Condition]


def parts_replaced(condition: Condition, position: int, part: Condition) -> Condition:
    assert isinstance(condition, (All, Any, Evidence))
    return replace(condition, parts=(*condition.parts[:position], part, *condition.parts[position + 1 :]))


def mutants(condition: Condition, names: dict[str, Quantity]) -> Iterator[Mutant]:
    """The condition with one limit moved, for every limit and either way."""
    if isinstance(condition, Compare):
        yield from moved(condition, names[condition.quantity])
    elif isinstance(condition, (All, Any, Evidence)):
        for position, part in enumerate(condition.parts):
            for said, mutant in mutants(part, names):
                yield said, parts_replaced(condition, position, mutant)
    elif isinstance(condition, Not):
        for said, mutant in mutants(condition.part, names):
            yield said, Not(mutant)
    elif isinstance(condition, IfThen):
        for said, mutant in mutants(condition.given, names):
            yield said, IfThen(mutant, condition.then)
        for said, mutant in mutants(condition.then, names):
            yield said, IfThen(condition.given, mutant)


def moved(compare: Compare, quantity: Quantity) -> Iterator[Mutant]:
    relation = compare.relation
    about = f"{compare.quantity} {type(relation).__name__}"
    if isinstance(relation, (AtMost, AtLeast)):
        up = 1 if isinstance(relation, AtMost) else -1
        for said, limit in shifted(relation.limit, up):
            yield f"{about} {said}", Compare(compare.quantity, replace(relation, limit=limit))
    elif isinstance(relation, Between) and relation.low is not relation.high:
        for said, limit in shifted(relation.low, -1):
            yield f"{about} low {said}", Compare(compare.quantity, Between(limit, relation.high))
        for said, limit in shifted(relation.high, 1):
            yield f"{about} high {said}", Compare(compare.quantity, Between(relation.low, limit))
    elif isinstance(relation, Near):
        for said, within in (("tighter", relation.within * (1 - TIGHTER)), ("looser", relation.within * (1 + LOOSER))):
            yield f"{about} {said}", Compare(compare.quantity, replace(relation, within=within))
    elif isinstance(relation, Same):
        looser = relation.within * (1 + LOOSER) if relation.within else LOOSER
        yield f"{about} looser", Compare(compare.quantity, replace(relation, within=looser))
        if relation.within:
            tighter = relation.within * (1 - TIGHTER)
            yield f"{about} tighter", Compare(compare.quantity, replace(relation, within=tighter))
    elif isinstance(relation, (Is, OneOf)):
        yield from words_moved(compare, quantity, about)


def shifted(limit: Limit, looser: int) -> Iterator[tuple[str, Limit]]:
    """The limit moved; ``looser`` is the sign of the direction that lets more through."""
    for said, share in (("tighter", -TIGHTER), ("looser", LOOSER)):
        if isinstance(limit, Pointer):
            # a factor below 0 turns round what is larger
            yield said, replace(limit, times=limit.times + share * looser * abs(limit.times))
        elif isinstance(limit.value, float):
            size = abs(limit.value) or 1.0
            yield said, replace(limit, value=limit.value + share * looser * size)


def words_moved(compare: Compare, quantity: Quantity, about: str) -> Iterator[Mutant]:
    relation = compare.relation
    assert isinstance(relation, (Is, OneOf))
    limits = (relation.limit,) if isinstance(relation, Is) else relation.limits
    if any(isinstance(limit, Pointer) for limit in limits):
        return  # a target: its words are moved in the cases
    if quantity.form is Form.YES_NO:
        turned = tuple(Literal(not limit.value, "") for limit in limits if isinstance(limit, Literal))
        yield f"{about} turned", Compare(compare.quantity, OneOf(turned))
        return
    for limit in limits:
        others = tuple(other for other in limits if other is not limit)
        yield f"{about} without {limit}", Compare(compare.quantity, OneOf(others) if others else Is(Literal("", "")))
    if quantity.words:
        wanted = {limit.value for limit in limits if isinstance(limit, Literal)}
        others = tuple(Literal(word, word) for word, _ in quantity.words if word not in wanted)
        yield f"{about} any word", Compare(compare.quantity, OneOf((*limits, *others)))


def rule_mutants(rule: Rule, rulebook: Rulebook) -> Iterator[tuple[str, Rule]]:
    names = quantities_of(rule, rulebook.vocabulary)
    for said, hold in mutants(rule.hold, names):
        yield said, replace(rule, hold=hold)
    if rule.given is not None:
        for said, given in mutants(rule.given, names):
            yield f"given {said}", replace(rule, given=given)


def target_mutants(rule: Rule) -> Iterator[tuple[str, Rule]]:
    """Targets that a rule takes whole, moved in every case at once."""
    for name in sorted({name for case in rule.cases for name, value in case.at if isinstance(value, Target)}):
        for said, ends in (("tighter", (TIGHTER, -TIGHTER)), ("looser", (-LOOSER, LOOSER))):
            yield f"{name} {said}", replace(rule, cases=tuple(case_with(case, name, ends) for case in rule.cases))


def case_with(case: Case, name: str, shares: tuple[float, float]) -> Case:
    def other(value: object) -> object:
        if not isinstance(value, Target):
            return value
        if value.words:
            return replace(value, words=("no such word",))
        low, high = (
            None if end is None else end + share * (abs(end) or 1.0)
            for end, share in zip((value.low, value.high), shares, strict=True)
        )
        return replace(value, low=low, high=high)

    at = tuple((found, other(value) if found == name else value) for found, value in case.at)
    return replace(case, at=at)  # type: ignore[arg-type]


@pytest.mark.parametrize("rule", IDS)
def test_a_moved_limit_turns_a_case_red(rule: str, rulebook: Rulebook) -> None:
    found = rulebook.rules[rule]
    green = [said for said, mutant in rule_mutants(found, rulebook) if not red(mutant, rulebook)]
    green += [said for said, mutant in target_mutants(found) if not red(mutant, rulebook)]
    assert green == []


def test_the_mutator_moves_every_limit(rulebook: Rulebook) -> None:
    """Each rule gives mutants, or its comparisons have no limit: an order of events."""
    without = [
        rule.id
        for rule in rulebook.rules.values()
        if not any(True for _ in rule_mutants(rule, rulebook)) and not any(True for _ in target_mutants(rule))
    ]
    assert all(":" not in id_ and "after" in repr(rulebook.rules[id_].hold).lower() for id_ in without), without
