"""The check sheet of one machine card and one crop: what is computed, and what is asked with which limits.

Both readings of the rules start from it: the interpreter in ``facts`` and ``checking``, and the compiled one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from audit.conditions import comparisons, quantities, rebuilt, targets, when_asked
from audit.limits import Limits
from audit.nouns.fact import Computation
from audit.nouns.finding import TargetUsed, Unasked
from audit.nouns.machine import Component, CropCard, MachineCard, Target
from audit.nouns.quantity import Quantity, Value
from audit.nouns.rule import (
    Any,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    Is,
    Limit,
    Near,
    OneOf,
    Pointer,
    RecordedAfter,
    Rule,
    Same,
)
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.train import Train, build_train


@dataclass(frozen=True, slots=True)
class Question:
    """A rule as asked of one machine: names are full, limits are values or quantities of the sheet."""

    no: int
    rule: Rule
    on: str
    station: str
    given: Condition | None
    hold: Condition
    targets: tuple[TargetUsed, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """Attributes:
    names: every quantity of this machine.
    constants: values that the cards state, None where they do not, with the reason.
    computations: in an order in which each needs only earlier ones.
    """

    card: MachineCard
    crop: CropCard
    digest: str
    names: Mapping[str, Quantity]
    constants: Mapping[str, Value]
    why_constant_unknown: Mapping[str, str]
    computations: tuple[Computation, ...]
    by_name: Mapping[str, Computation]
    questions: tuple[Question, ...]
    unasked: tuple[Unasked, ...]


def make_sheet(rulebook: Rulebook, card: MachineCard, crop: CropCard) -> Sheet:
    """The check sheet of a card for a crop."""
    lookup = Targets(card, crop)
    names = on_card(card, rulebook.vocabulary)
    train = build_train(card, crop, rulebook.vocabulary, names, lookup.end)
    for name in train.dropped:
        names.pop(name, None)
    maker = _Maker(names, train, lookup, card)
    for rule in rulebook.rules.values():
        for component in maker.asked_of(rule, rulebook):
            maker.ask(rule, component)
    return Sheet(
        card, crop, rulebook.digest, names, train.constants, train.why_unknown, train.computations,
        {computation.name: computation for computation in train.computations}, tuple(maker.questions),
        tuple(maker.unasked),
    )  # fmt: skip


class Targets:
    """Looks up targets: the machine card's for this crop, its own for every crop, then the crop card's."""

    def __init__(self, card: MachineCard, crop: CropCard) -> None:
        self.card, self.crop = card, crop
        self.tiers: list[tuple[str, list[tuple[str, Target]]]] = [
            (f"machine card {card.id}, {crop.id}", [(n, t) for c, n, t in card.targets if c == crop.id]),
            (f"machine card {card.id}", [(n, t) for c, n, t in card.targets if c == "every"]),
            (f"crop card {crop.id}", list(crop.targets)),
        ]

    def find(self, name: str, component: Component | None) -> tuple[str, Target] | None:
        """Who states the target, and the target; for a component its own name goes before its family's."""
        own = f"{component.id}.{name.partition('.')[2]}" if component else name
        element = str(dict(component.parameters).get("element", "")) if component else ""
        for card, entries in self.tiers:
            for wanted in dict.fromkeys((own, name)):
                for found, target in entries:
                    if found == wanted and target.element in ("", element):
                        return card, target
        return None

    def end(self, name: str, component: Component) -> tuple[Value, str]:
        """One end of a target window as a value, with the reason if there is none."""
        base, _, which = name.rpartition(".")
        found = self.find(base, component)
        value = None if found is None else (found[1].low if which == "low" else found[1].high)
        return value, "" if value is not None else self.lacks(base)

    def lacks(self, name: str) -> str:
        return f"neither machine card {self.card.id} nor crop card {self.crop.id} has a target for {name}"


class _Maker:
    def __init__(self, names: Mapping[str, Quantity], train: Train, lookup: Targets, card: MachineCard) -> None:
        self.names, self.train, self.lookup, self.card = names, train, lookup, card
        self.questions: list[Question] = []
        self.unasked: list[Unasked] = []
        self.stations = {part: station.id for station in card.stations for part in station.parts}
        self.stations |= {component.id: component.station for component in card.components()}

    def asked_of(self, rule: Rule, rulebook: Rulebook) -> Iterator[Component | None]:
        if not rule.each:
            yield None
            return
        kinds = {**rulebook.vocabulary.part_kinds, **rulebook.vocabulary.drive_kinds}
        for component in self.card.components():
            if rule.each in kinds[component.kind].families:
                yield component

    def ask(self, rule: Rule, component: Component | None) -> None:
        on = component.id if component else ""
        hold = self.present(_named(rule.hold, on))
        given = when_asked(None if rule.given is None else _named(rule.given, on), _named(rule.hold, on))
        given = None if given is None else self.present(given)
        lacking = [
            name for part in (hold, given) if part is not None for name in quantities(part) if name not in self.names
        ]
        if hold is None or lacking:
            names = lacking or [n for n in quantities(_named(rule.hold, on)) if n not in self.names]
            self.unasked.append(
                Unasked(rule.id, on, f"machine card {self.card.id} has no {', '.join(dict.fromkeys(names))}")
            )
            return
        used: dict[str, TargetUsed] = {}
        hold, given = self.resolved(hold, component, used), given and self.resolved(given, component, used)
        self.questions.append(
            Question(len(self.questions), rule, on, self.station(on, hold), given, hold, tuple(used.values()))
        )

    def station(self, on: str, hold: Condition) -> str:
        part = on or next((c.quantity for c in comparisons(hold)), "").partition(".")[0]
        return self.stations.get(part, "")

    def present(self, condition: Condition) -> Condition | None:
        """The condition without those alternatives that this machine cannot show; None if none is left."""
        if isinstance(condition, (Any, Evidence)):
            parts = tuple(
                part
                for part in map(self.present, condition.parts)
                if part is not None and all(name in self.names for name in quantities(part))
            )
            return type(condition)(parts) if parts else None
        return condition

    def resolved(self, condition: Condition, component: Component | None, used: dict[str, TargetUsed]) -> Condition:
        for name in targets(condition):
            found = self.lookup.find(name, component)
            if found is not None:
                used[name] = TargetUsed(name, found[1].text, found[0], found[1].basis)

        def target(name: str) -> Target | str:
            found = self.lookup.find(name, component)
            return self.lookup.lacks(name) if found is None else found[1]

        return Limits(target, self.train.constants, self.train.why_unknown, self.names).resolve(condition)


def _named(condition: Condition, on: str) -> Condition:
    """The condition with ``each.`` replaced by the component's name."""
    if not on:
        return condition

    def full(name: str) -> str:
        return f"{on}.{name[5:]}" if name.startswith("each.") else name

    def limit(found: Limit) -> Limit:
        return replace(found, name=full(found.name)) if isinstance(found, Pointer) else found

    def compare(found: Compare) -> Condition:
        relation = found.relation
        if isinstance(relation, Between):
            low = limit(relation.low)
            # one pointer for both ends is a target window and must stay one object
            relation = Between(low, low if relation.high is relation.low else limit(relation.high))
        elif isinstance(relation, OneOf):
            relation = OneOf(tuple(limit(item) for item in relation.limits))
        elif isinstance(relation, (Is, AtLeast, AtMost, Near)):
            relation = replace(relation, limit=limit(relation.limit))
        elif isinstance(relation, Same):
            relation = replace(relation, other=full(relation.other))
        elif isinstance(relation, RecordedAfter):
            relation = RecordedAfter(full(relation.event))
        return Compare(full(found.quantity), relation)

    return rebuilt(condition, compare)
