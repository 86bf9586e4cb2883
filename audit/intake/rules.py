"""Reads a rule: structured, closed vocabulary, every name, unit and word checked against the quantities."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from itertools import pairwise

from audit.intake.basis import read_basis
from audit.intake.moments import read_moment
from audit.intake.targets import read_wanted, targeted
from audit.intake.tree import Fields, Node, Problems, read_measure, said
from audit.measures import Unreadable, dimension_of, read_quantity
from audit.nearest import did_you_mean
from audit.nouns.machine import Target
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.risk import Harm, Probability, Rise, Severity
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
    RecordedAfter,
    Relation,
    Rule,
    Same,
    Standing,
    Verdict,
)
from audit.nouns.source import Basis, Ground, Source
from audit.nouns.vocabulary import Vocabulary, named

COMBINATORS = ("all", "any", "not", "if", "then", "evidence")
RELATIONS = ("is", "one_of", "at_least", "at_most", "between", "near", "same", "recorded_after")
TARGET = "target."
_SEVERITIES = tuple(severity.name.lower() for severity in Severity)
_PROBABILITIES = tuple(probability.name.lower() for probability in Probability)
_NO_BASIS = Basis(Ground.DEFINITION)
_ALWAYS = All(())


def read_rule(
    tree: Node, stem: str, pack: str, vocabulary: Vocabulary, sources: Mapping[str, Source],
    procedures: Collection[str], origin: str, problems: Problems,
) -> Rule:  # fmt: skip
    """One rule; its id is the file's name, its pack the folder's."""
    fields = Fields(tree, problems, f"rule '{stem}'")
    each = fields.text("each", "")
    families = {f for k in (*vocabulary.drive_kinds.values(), *vocabulary.part_kinds.values()) for f in k.families}
    if each and each not in families:
        problems.add(
            fields.items["each"].place,
            f"no family is called '{each}'.",
            did_you_mean(each, families, f"One of: {', '.join(sorted(families))}."),
        )
    reader = ConditionReader(vocabulary, each if each in families else "", problems)
    hold_node, given_node = fields.node("hold"), fields.node("given", required=False)
    hold = _ALWAYS if hold_node is None else reader.condition(hold_node)
    given = None if given_node is None else reader.condition(given_node)
    cure = fields.texts("cure", None)
    for key in cure:
        if key not in procedures:
            advice = did_you_mean(key, procedures, "Add it to rules/procedures.")
            problems.add(fields.items["cure"].place, f"no procedure is called '{key}'.", advice)
    rule = Rule(
        id=stem,
        pack=pack,
        title=fields.text("title"),
        why=fields.text("why"),
        harm=_harm(fields),
        basis=read_basis(fields, sources),
        hold=hold,
        cure=cure,
        cases=fields.each("cases", reader.case, required=True),
        place=fields.place,
        each=each,
        given=given,
        standing=Standing(fields.word("standing", [s.value for s in Standing], Standing.IN_FORCE.value)),
        was=fields.texts("was"),
        breaks_with=fields.texts("breaks_with"),
        origin=origin,
    )
    fields.close()
    _check_cases(rule, problems)
    return rule


def _harm(fields: Fields) -> Harm:
    inner = fields.inner("harm", "'harm'")
    if inner is None:
        return Harm("", "", Severity.CATASTROPHIC, Probability.FREQUENT, 0.0)

    def rise(node: Node) -> Rise:
        item = Fields(node, fields.problems, "a rise")
        found = Rise(item.measure("past", "share") / 100.0, Probability[item.word("to", _PROBABILITIES).upper()])
        item.close()
        return found

    harm = Harm(
        inner.text("to"),
        inner.text("how"),
        Severity[inner.word("severity", _SEVERITIES).upper()],
        Probability[inner.word("probability", _PROBABILITIES).upper()],
        inner.measure("downtime", "time"),
        inner.truth("people", False),
        inner.each("rises", rise),
    )
    inner.close()
    steps = [(0.0, harm.probability), *((rise_.past, rise_.to) for rise_ in harm.rises)]
    for (past, probability), (later, higher) in pairwise(steps):
        if later <= past or higher >= probability:
            fields.problems.add(inner.place, "'rises' must go up: each further past the limit, each more probable.")
    return harm


def _check_cases(rule: Rule, problems: Problems) -> None:
    """Every rule proves its limit: kept, broken, unknown, and not asked where it has a condition."""
    given = {case.gives for case in rule.cases}
    for verdict in (Verdict.KEPT, Verdict.BROKEN, Verdict.UNKNOWN):
        if verdict not in given:
            problems.add(rule.place, f"rule '{rule.id}' has no case that gives {verdict.value}.", "Add one to 'cases'.")
    if rule.given is not None and Verdict.NOT_ASKED not in given:
        problems.add(rule.place, f"rule '{rule.id}' has 'given' but no case that gives 'not asked'.", "Add one.")


class ConditionReader:
    """Reads the conditions of one rule."""

    def __init__(self, vocabulary: Vocabulary, each: str, problems: Problems) -> None:
        self.vocabulary, self.each, self.problems = vocabulary, each, problems
        self.attributes = vocabulary.of_family(each) if each else {}

    def quantity(self, name: str, node: Node) -> Quantity | None:
        """The quantity behind a name; None with the problem on record."""
        if name.startswith("each."):
            found = self.attributes.get(name[5:])
            if found is not None:
                return named(found, name)
            advice = did_you_mean(name[5:], self.attributes, "Known: " + ", ".join(sorted(self.attributes)) + ".")
            self.problems.add(node.place, f"'{name}': nothing of family '{self.each}' has that.", advice)
            return None
        if name.startswith("build."):
            return Quantity(name, Role.BUILD, Form.WORD, "", open_words=True)
        found = targeted(name, self.vocabulary)
        if found is None:
            advice = did_you_mean(name, self.vocabulary.fixed, "See quantities.yaml.")
            self.problems.add(node.place, f"no quantity is called '{name}'.", advice)
        return found

    def condition(self, node: Node) -> Condition:
        fields = Fields(node, self.problems, "a condition")
        parts: list[Condition] = []
        for key, item in fields.items.items():
            if key in ("all", "any", "evidence"):
                inner = self.several(key, item)
                parts.append(All(inner) if key == "all" else Any(inner) if key == "any" else Evidence(inner))
            elif key == "not":
                parts.append(Not(self.condition(item)))
            elif key == "if":
                then = fields.items.get("then")
                if then is None:
                    self.problems.add(item.place, "'if' lacks its 'then'.", "Write both on the same level.")
                else:
                    parts.append(IfThen(self.condition(item), self.condition(then)))
            elif key == "then":
                if "if" not in fields.items:
                    self.problems.add(item.place, "'then' lacks its 'if'.", "Write both on the same level.")
            elif "." not in key:
                advice = did_you_mean(key, COMBINATORS, "Quantities are named part.attribute.")
                self.problems.add(item.place, f"a condition has no key '{key}'.", advice)
            else:
                parts += self.compare(key, item)
        if not fields.items:
            self.problems.add(node.place, "a condition says nothing.")
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def several(self, key: str, node: Node) -> tuple[Condition, ...]:
        if not isinstance(node.value, list) or not node.value:
            self.problems.add(node.place, f"'{key}' must be a list of conditions.", "Put each behind '- '.")
            return ()
        return tuple(self.condition(item) for item in node.value)

    def compare(self, name: str, node: Node) -> list[Condition]:
        quantity = self.quantity(name, node)
        fields = Fields(node, self.problems, f"the relation of '{name}'")
        found: list[Condition] = []
        for key, item in fields.items.items():
            if key not in RELATIONS:
                if key != "within":
                    advice = did_you_mean(key, RELATIONS, f"One of: {', '.join(RELATIONS)}.")
                    self.problems.add(item.place, f"no relation is called '{key}'.", advice)
                continue
            if quantity is not None:
                relation = self.relation(key, item, quantity, fields)
                if relation is not None:
                    found.append(Compare(name, relation))
        return found

    def relation(self, key: str, node: Node, quantity: Quantity, fields: Fields) -> Relation | None:
        number = quantity.form is Form.NUMBER
        if key in ("at_least", "at_most", "between", "near") and not number:
            self.problems.add(node.place, f"'{key}' is for numbers; {quantity.name} is a {quantity.form.value}.")
            return None
        if key == "is":
            return Is(self.limit(node, quantity))
        if key == "one_of":
            items = node.value if isinstance(node.value, list) else [node]
            return OneOf(tuple(self.limit(item, quantity) for item in items))
        if key == "at_least":
            return AtLeast(self.limit(node, quantity))
        if key == "at_most":
            return AtMost(self.limit(node, quantity))
        if key == "between":
            return self.between(node, quantity)
        if key == "near":
            return self.near(node, quantity)
        if key == "same":
            return self.same(node, quantity, fields)
        return self.after(node, quantity)

    def limit(self, node: Node, quantity: Quantity) -> Limit:
        if isinstance(node.value, dict):
            fields = Fields(node, self.problems, "a limit")
            name, times = fields.text("of"), fields.number("times", 1.0)
            fields.close()
            self.check_pointer(name, node, quantity)
            return Pointer(name, times)
        value = self.value(node, quantity)
        text = ("yes" if value else "no") if isinstance(value, bool) else str(node.value)
        return Literal(value, text)

    def check_pointer(self, name: str, node: Node, quantity: Quantity) -> None:
        plain = name
        if name.startswith(TARGET):
            plain = name[len(TARGET) :]
            if plain.endswith((".low", ".high")):
                plain = plain.rpartition(".")[0]
        other = self.quantity(plain, node) if plain else None
        if other is None:
            return
        if other.form is not quantity.form:
            self.problems.add(node.place, f"{quantity.name} is a {quantity.form.value}, '{name}' a {other.form.value}.")
        elif other.form is Form.NUMBER and dimension_of(other.unit) != dimension_of(quantity.unit):
            self.problems.add(
                node.place,
                f"{quantity.name} is in {quantity.unit}, '{name}' in {other.unit}: they can't be compared.",
            )

    def value(self, node: Node, quantity: Quantity) -> Value:
        """A literal of the quantity's form."""
        value = node.value
        if quantity.form is Form.YES_NO:
            if isinstance(value, bool):
                return value
            self.problems.add(node.place, f"{quantity.name} is true or false, not {said(value)}.")
        elif quantity.form is Form.TIME:
            try:
                return read_moment(value)
            except Unreadable as error:
                self.problems.add(node.place, f"{quantity.name}: {error}")
        elif quantity.form is Form.WORD:
            known = [word for word, _ in quantity.words]
            if isinstance(value, str) and (quantity.open_words or value in known):
                return value
            advice = did_you_mean(value, known, f"It is one of: {', '.join(known)}.") if isinstance(value, str) else ""
            self.problems.add(node.place, f"{quantity.name} can't be {said(value)}.", advice)
        elif isinstance(value, (str, int, float)):
            try:
                return read_measure(value, dimension_of(quantity.unit), "1" if quantity.unit == "1" else "")
            except Unreadable as error:
                self.problems.add(node.place, f"{quantity.name}: {error}")
        else:
            self.problems.add(node.place, f"{quantity.name} is a number with a unit, not {said(value)}.")
        return None

    def between(self, node: Node, quantity: Quantity) -> Relation | None:
        if isinstance(node.value, dict):
            pointer = self.limit(node, quantity)
            if isinstance(pointer, Pointer) and (not pointer.name.startswith(TARGET) or pointer.times != 1.0):
                self.problems.add(node.place, "'between' takes a target whole, or a list of two limits.")
            return Between(pointer, pointer)
        if not isinstance(node.value, list) or len(node.value) != 2:
            self.problems.add(node.place, "'between' takes a list of two limits, or {of: target.…}.")
            return None
        low, high = (self.limit(item, quantity) for item in node.value)
        if isinstance(low, Literal) and isinstance(high, Literal) and (low.value or 0) > (high.value or 0):  # type: ignore[operator]
            self.problems.add(node.place, f"'between' has {low.text} above {high.text}.")
        return Between(low, high)

    def near(self, node: Node, quantity: Quantity) -> Relation | None:
        fields = Fields(node, self.problems, "'near'")
        value, within = fields.node("value"), fields.node("within")
        fields.close()
        if value is None or within is None:
            return None
        share = isinstance(within.value, str) and within.value.rstrip().endswith("%") and quantity.unit != "%"
        tolerance = self.tolerance(within, quantity, share)
        return Near(self.limit(value, quantity), tolerance, share, str(within.value))

    def tolerance(self, node: Node, quantity: Quantity, share: bool) -> float:
        dimension = "share" if share else dimension_of(quantity.unit)
        try:
            if not isinstance(node.value, str):
                return read_measure(node.value, dimension, "1" if quantity.unit == "1" else "")
            return read_quantity(node.value, dimension) / (100.0 if share else 1.0)
        except Unreadable as error:
            self.problems.add(node.place, f"'within': {error}")
            return 0.0

    def same(self, node: Node, quantity: Quantity, fields: Fields) -> Relation | None:
        within = fields.items.get("within")
        text = "" if within is None else str(within.value)
        tolerance = 0.0 if within is None else self.tolerance(within, quantity, share=False)
        if node.value == "sides":
            if not quantity.sided:
                self.problems.add(node.place, f"{quantity.name} is not taken left and right.")
            return Same("", tolerance, text)
        if not isinstance(node.value, str):
            self.problems.add(node.place, "'same' takes 'sides' or the name of another quantity.")
            return None
        self.check_pointer(node.value, node, quantity)
        return Same(node.value, tolerance, text)

    def after(self, node: Node, quantity: Quantity) -> Relation | None:
        other = self.quantity(str(node.value), node)
        if quantity.form is not Form.TIME or (other is not None and other.form is not Form.TIME):
            self.problems.add(node.place, "'recorded_after' compares two events.", "Events stand in quantities.yaml.")
            return None
        return RecordedAfter(str(node.value))

    def case(self, node: Node) -> Case:
        fields = Fields(node, self.problems, "a case")
        at: list[tuple[str, Value | Sided | Target]] = []
        for name, item in fields.pairs("at", required=True):
            found = self.case_value(name, item)
            if found is not None:
                at.append((name, found))
        past = fields.node("past", required=False)
        verdict = Verdict(fields.word("gives", [v.value for v in Verdict]))
        case = Case(fields.text("name"), tuple(at), verdict, None if past is None else self.past(past), node.place)
        fields.close()
        return case

    def case_value(self, name: str, node: Node) -> Value | Sided | Target:
        if name.startswith(TARGET):
            quantity = self.quantity(name[len(TARGET) :], node)
            if quantity is None:
                return None
            fields = Fields(node, self.problems, f"'{name}'")
            words, low, high, text = read_wanted(fields, quantity)
            fields.close()
            return Target(words, low, high, text, _NO_BASIS)
        quantity = self.quantity(name, node)
        if quantity is None:
            return None
        if isinstance(node.value, dict):
            fields = Fields(node, self.problems, f"'{name}'")
            if not quantity.sided:
                self.problems.add(node.place, f"{name} is not taken left and right.")
            left, right = fields.node("left", required=False), fields.node("right", required=False)
            fields.close()
            pair: Callable[[Node | None], Value] = lambda side: None if side is None else self.value(side, quantity)  # noqa: E731
            return pair(left), pair(right)
        value = self.value(node, quantity)
        return (value, value) if quantity.sided else value

    def past(self, node: Node) -> float | None:
        try:
            return read_measure(node.value, self.any_dimension(node.value), "1")
        except Unreadable as error:
            self.problems.add(node.place, f"'past': {error}")
            return None

    def any_dimension(self, value: object) -> str:
        from audit.measures import split_number

        unit = split_number(value)[1] if isinstance(value, str) else ""
        try:
            return dimension_of(unit or "1")
        except KeyError:
            raise Unreadable(f"unknown unit '{unit}'.") from None
