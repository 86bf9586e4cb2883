"""All quantities by name: those of fixed parts, and those that every component of a family has."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from audit.nouns.kind import Kind
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The quantities a rulebook may name.

    Attributes:
        fixed: by full name.
        families: by family, then attribute.
        drive_kinds, part_kinds: by name.
        looks: titles of the looks in which several readings are taken at one station, in the order they are made.
    """

    fixed: Mapping[str, Quantity]
    families: Mapping[str, Mapping[str, Quantity]]
    drive_kinds: Mapping[str, Kind]
    part_kinds: Mapping[str, Kind]
    looks: Mapping[str, str] = field(default_factory=dict)
    _attributes: dict[str, Mapping[str, Quantity]] = field(default_factory=dict, compare=False, repr=False)
    _of_family: dict[str, Mapping[str, Quantity]] = field(default_factory=dict, compare=False, repr=False)
    _on_card: dict[str, tuple[MachineCard, dict[str, Quantity]]] = field(
        default_factory=dict, compare=False, repr=False
    )

    def of_kind(self, kind: Kind) -> dict[str, Quantity]:
        """Settings and readings of a kind by attribute, those its families add included."""
        found = {quantity.name: quantity for quantity in kind.quantities}
        for family in kind.families:
            found.update(self.families.get(family, {}))
        return found

    def of_family(self, family: str) -> Mapping[str, Quantity]:
        """Every attribute that some kind of the family has: settings, readings, parameters and facts."""
        found = self._of_family.get(family)
        if found is None:
            gathered: dict[str, Quantity] = {}
            for kind in (*self.drive_kinds.values(), *self.part_kinds.values()):
                if family in kind.families:
                    gathered.update(self.attributes(kind))
            found = self._of_family[family] = gathered
        return found

    def attributes(self, kind: Kind) -> Mapping[str, Quantity]:
        """Everything a component of this kind has, by attribute."""
        found = self._attributes.get(kind.name)
        if found is None:
            found = self._attributes[kind.name] = self._gathered(kind)
        return found

    def _gathered(self, kind: Kind) -> dict[str, Quantity]:
        found = self.of_kind(kind)
        for parameter in kind.parameters:
            found[parameter.name] = Quantity(
                parameter.name,
                Role.PARAMETER,
                Form.NUMBER if parameter.unit else Form.WORD,
                parameter.meaning,
                parameter.unit,
                words=tuple((word, "") for word in parameter.words),
                open_words=not parameter.unit and not parameter.words,
            )
        if "shaft" in kind.families:
            for name, meaning in _SPEEDS.items():
                found.setdefault(name, Quantity(name, Role.FACT, Form.NUMBER, meaning, "r/min"))
        for fact in kind.facts:
            found[fact.name] = fact_quantity(fact.name, fact.meaning, fact.function)
        return found


_SPEEDS = {
    "speed": "Shaft speed at governed engine speed",
    "speed_low": "Lowest speed the drives before it reach",
    "speed_high": "Highest speed the drives before it reach",
}


def fact_quantity(name: str, meaning: str, function: object) -> Quantity:
    """The quantity that a marked formula computes."""
    unit: str = function.__formula__.unit  # type: ignore[attr-defined]
    returns = getattr(function, "__annotations__", {}).get("return", "float")
    form = Form.WORD if returns in (str, "str") else Form.NUMBER
    return Quantity(
        name,
        Role.FACT,
        form,
        meaning,
        unit or ("1" if form is Form.NUMBER else ""),
        open_words=form is Form.WORD,
    )


def named(quantity: Quantity, name: str) -> Quantity:
    """The same quantity under another name."""
    return replace(quantity, name=name)


def on_card(card: MachineCard, vocabulary: Vocabulary) -> dict[str, Quantity]:
    """Every quantity that exists on a machine of this card, by full name.

    Job, unit and event quantities exist everywhere; those of fixed parts only where the card carries them; those of a
    component where the component is; ``build.<name>`` for each build. What the card says about unit, words and range
    of a setting or reading replaces the vocabulary's.
    """
    kept = vocabulary._on_card.get(card.id)
    if kept is None or kept[0] is not card:
        kept = vocabulary._on_card[card.id] = (card, _gathered_on(card, vocabulary))
    return dict(kept[1])


def _gathered_on(card: MachineCard, vocabulary: Vocabulary) -> dict[str, Quantity]:
    found: dict[str, Quantity] = {
        name: quantity
        for name, quantity in vocabulary.fixed.items()
        if quantity.role in (Role.JOB, Role.UNIT, Role.EVENT, Role.FACT)
    }
    for build in card.builds:
        name = f"build.{build.name}"
        found[name] = Quantity(name, Role.BUILD, Form.WORD, build.meaning, words=build.choices)
    for component in card.components():
        kind = vocabulary.drive_kinds.get(component.kind) or vocabulary.part_kinds[component.kind]
        for attribute, quantity in vocabulary.attributes(kind).items():
            name = f"{component.id}.{attribute}"
            found[name] = named(quantity, name)
    for carried in card.carried:
        quantity = found.get(carried.name) or vocabulary.fixed[carried.name]
        found[carried.name] = replace(
            quantity,
            words=tuple(pair for pair in quantity.words if not carried.words or pair[0] in carried.words),
            unit=carried.unit or quantity.unit,
            lowest=quantity.lowest if carried.lowest is None else carried.lowest,
            highest=quantity.highest if carried.highest is None else carried.highest,
            how=carried.how or quantity.how,
        )
    return found
