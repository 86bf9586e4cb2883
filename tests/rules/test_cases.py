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
from audit.nouns.machine import Component, Target, crop_key
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
        for sign in (1, -1):
            limit = dict(shifted(relation.limit, sign))["looser"]
            yield f"{about} value moved", Compare(compare.quantity, replace(relation, limit=limit))
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


# ------------------------------------------------------------------------------------------------------ what they lean on


@pytest.mark.parametrize("rule", IDS)
def test_title_why_and_harm_say_something(rule: str, rulebook: Rulebook) -> None:
    found = rulebook.rules[rule]
    texts = [found.title, found.why, found.harm.to, found.harm.how]
    assert all(len(text.strip()) > 3 for text in texts)
    assert found.title[0].isupper()
    assert not found.title.endswith(".")
    assert found.why.rstrip().endswith(".")
    assert 0 <= found.harm.downtime <= 500


@pytest.mark.parametrize("rule", IDS)
def test_basis_is_named(rule: str, rulebook: Rulebook) -> None:
    basis = rulebook.rules[rule].basis
    if basis.source:
        assert rulebook.sources[basis.source].title
    if basis.ground is Ground.PUBLISHED:
        assert basis.source
        assert basis.at, "a published rule names its place in the source"
        assert rulebook.sources[basis.source].status == "read"


@pytest.mark.parametrize("rule", IDS)
def test_it_can_be_put_right(rule: str, rulebook: Rulebook) -> None:
    cure = rulebook.rules[rule].cure
    assert cure
    assert all(rulebook.procedures[key].steps for key in cure)


def test_there_are_enough_rules_and_each_id_stands_once() -> None:
    names = [path.stem for path in Path(rules.root()).glob("packs/*/*.yaml")]
    assert len(names) == len(set(names)) == len(IDS)
    assert len(names) >= 80


def test_every_procedure_is_used(rulebook: Rulebook) -> None:
    """By a rule's cure, a card's move, or as what another one needs before or after it."""
    used = {key for rule in rulebook.rules.values() for key in rule.cure}
    used |= {
        item.move.procedure for card in rulebook.machines.values() for item in card.carried if item.move is not None
    }
    waiting = sorted(used)
    while waiting:
        procedure = rulebook.procedures[waiting.pop()]
        more = {*procedure.before, *procedure.after} - used
        used |= more
        waiting += sorted(more)
    assert sorted(set(rulebook.procedures) - used) == []


def test_procedures_do_not_wait_for_themselves(rulebook: Rulebook) -> None:
    for key in rulebook.procedures:
        reached: set[str] = set()
        waiting = list(rulebook.procedures[key].before)
        while waiting:
            found = waiting.pop()
            if found not in reached:
                reached.add(found)
                waiting += rulebook.procedures[found].before
        assert key not in reached


def test_every_caution_is_used(rulebook: Rulebook) -> None:
    cited = {key for procedure in rulebook.procedures.values() for key in (*procedure.safe, *procedure.cautions)}
    assert sorted(set(rulebook.cautions) - cited) == []


def test_work_near_moving_parts_starts_from_a_stopped_machine(rulebook: Rulebook) -> None:
    """Who takes the engine's stop takes the key and waits too: one of the three alone protects nobody."""
    for procedure in rulebook.procedures.values():
        if "engine-off" in procedure.safe:
            assert {"key-out", "wait-stopped"} <= set(procedure.safe), procedure.key


# ------------------------------------------------------------------------------------------------------------ the cards

CROPS = {
    "corn", "soybean", "wheat", "barley", "oats", "canola", "sorghum", "sunflower", "rice", "dry-beans", "peas", "flax",
}  # fmt: skip
CARDS = ("axial-hybrid", "axial-single", "tangential-walker")


def test_the_crops_and_machines_are_there(rulebook: Rulebook) -> None:
    assert set(rulebook.crops) == CROPS
    assert tuple(rulebook.machines) == CARDS


def test_a_crop_is_found_under_one_name_only(rulebook: Rulebook) -> None:
    names = Counter(name for crop in rulebook.crops.values() for name in {crop_key(found) for found in crop.called()})
    assert [name for name, count in names.items() if count > 1] == []


EPPO = {"wheat": "TRZAX", "barley": "HORVX", "corn": "ZEAMX", "rice": "ORYSA", "soybean": "GLXMA", "canola": "BRSNN",
        "sunflower": "HELAN", "peas": "PIBSX"}  # fmt: skip
"""Codes as public lists under the EPPO Codes Open Data Licence print them; the other four on the cards are from memory."""


@pytest.mark.parametrize("crop", sorted(EPPO))
def test_codes_of_crops(crop: str, rulebook: Rulebook) -> None:
    assert rulebook.crops[crop].eppo == EPPO[crop]


def test_every_crop_has_names_in_four_languages_and_a_code_of_a_species(rulebook: Rulebook) -> None:
    for crop in rulebook.crops.values():
        assert {language for language, names in crop.names if names} >= {"de", "es", "fr"}
        assert crop.eppo.isupper()
        assert len(crop.eppo) == 5  # three letters of the genus, two of the species


@pytest.mark.parametrize("card", CARDS)
def test_a_card_has_a_whole_train(card: str, rulebook: Rulebook) -> None:
    found = rulebook.machines[card]
    driven = Counter(drive.driven for drive in found.drives)
    assert set(driven) == {shaft.id for shaft in found.shafts} - {found.governed_shaft}
    assert set(driven.values()) == {1}
    assert len(found.shafts) >= 15
    for needed in (
        "feeder",
        "header",
        "beater",
        "fan",
        "shoe",
        "clean_elevator",
        "tailings_elevator",
        "chopper",
        "spreader",
    ):
        assert needed in driven


def test_every_kind_of_drive_and_part_is_on_some_card(rulebook: Rulebook) -> None:
    kinds = {component.kind for card in rulebook.machines.values() for component in card.components()}
    assert kinds == set(drive_kinds()) | set(part_kinds())


@pytest.mark.parametrize("card", CARDS)
def test_every_question_has_its_station(card: str, rulebook: Rulebook, auditor: Auditor) -> None:
    """What a job asks for stands nowhere on the machine."""
    for crop in rulebook.crops:
        nowhere = [q for q in auditor.sheet(card, crop).questions if not q.station]
        assert [q.rule.id for q in nowhere if not quantities(q.hold)[0].startswith("job.")] == []


# Targets that nobody states, by crop and card ('' for every one), and why that is right.
GAPS = {("header.reel_index", "corn", ""): "corn is gathered by a row head, which has no reel"}


@pytest.mark.parametrize("crop", sorted(CROPS))
@pytest.mark.parametrize("card", CARDS)
def test_every_target_that_is_asked_for_is_stated(card: str, crop: str, rulebook: Rulebook, auditor: Auditor) -> None:
    machine, crop_card = rulebook.machines[card], rulebook.crops[crop]
    lookup = Targets(machine, crop_card)
    by_id = {component.id: component for component in machine.components()}
    lacking = set()
    for question in auditor.sheet(card, crop).questions:
        component: Component | None = by_id.get(question.on)
        for part in (question.rule.hold, question.rule.given):
            for name in () if part is None else targets(part):
                if lookup.find(name, component) is None:
                    lacking.add((name, question.rule.id))
    allowed = {
        (name, rule) for name, rule in lacking if {(name, crop, card), (name, crop, ""), (name, "", "")} & set(GAPS)
    }
    assert sorted(lacking - allowed) == []


@pytest.mark.parametrize("card", CARDS)
def test_a_card_lets_most_rules_be_asked(card: str, rulebook: Rulebook, auditor: Auditor) -> None:
    """A rule that no machine can ask would be padding."""
    asked = {question.rule.id for crop in rulebook.crops for question in auditor.sheet(card, crop).questions}
    assert len(asked) >= 0.9 * len(rulebook.rules)


def test_every_rule_is_asked_of_some_machine(rulebook: Rulebook, auditor: Auditor) -> None:
    asked = {q.rule.id for card in CARDS for crop in CROPS for q in auditor.sheet(card, crop).questions}
    assert sorted(set(rulebook.rules) - asked) == []
