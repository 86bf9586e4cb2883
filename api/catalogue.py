"""Rules, machine cards and crop cards as plain values for JSON."""

from __future__ import annotations

from api.wire import Plain, basis_json, basis_text
from audit.nouns.machine import ByPosition, Component, CropCard, MachineCard
from audit.nouns.quantity import Quantity, Role
from audit.nouns.rule import Rule
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.ranking import level
from audit.sentence import sentence


def rule_line_json(rule: Rule) -> Plain:
    """A rule in one line of a list; its level is that of a breach right at the limit."""
    harm = rule.harm
    return {
        "id": rule.id,
        "pack": rule.pack,
        "title": rule.title,
        "level": level(harm.severity, harm.probability).name.lower(),
        "people": harm.people,
        "standing": rule.standing.value,
        "origin": rule.origin,
        "overrides": rule.overrides,
    }


def rule_json(rule: Rule, rulebook: Rulebook) -> Plain:
    """A rule in full, its conditions in words."""
    harm = rule.harm
    rises = "".join(f"; {rise.to.name.lower()} from {rise.past:.0%} past the limit" for rise in harm.rises)
    basis = basis_json(rule.basis, rulebook)
    return {
        **rule_line_json(rule),
        "each": f"every {rule.each} of the machine" if rule.each else "",
        "given": "" if rule.given is None else sentence(rule.given),
        "hold": sentence(rule.hold),
        "why": rule.why,
        "damage": f"{harm.to}: {harm.how}",
        "risk": (
            f"{level(harm.severity, harm.probability).name.lower()}: severity {harm.severity.name.lower()}, "
            f"probability {harm.probability.name.lower()}{rises}; about {harm.downtime:g} h standing"
        ),
        "cure": ", ".join(rulebook.procedures[key].title for key in rule.cure),
        "ground": basis_text(basis),
        "basis": basis,
        "cases": [{"name": case.name, "gives": case.gives.value} for case in rule.cases],
        "was": list(rule.was),
        "file": str(rule.place),
    }


def machine_line_json(card: MachineCard) -> Plain:
    """A machine card in one line of a list."""
    return {
        "card": card.id,
        "title": card.title,
        "manual": card.manual,
        "origin": card.origin,
        "overrides": card.overrides,
    }


def machine_json(card: MachineCard, rulebook: Rulebook) -> Plain:
    """A machine card in full."""
    names = on_card(card, rulebook.vocabulary)
    return {
        **machine_line_json(card),
        "basis": basis_json(card.basis, rulebook),
        "governed_shaft": card.governed_shaft,
        "builds": [
            {"name": build.name, "meaning": build.meaning, "choices": dict(build.choices)} for build in card.builds
        ],
        "stations": [
            {"id": station.id, "title": station.title, "parts": list(station.parts)} for station in card.stations
        ],
        "quantities": [
            quantity_json(quantity)
            for quantity in names.values()
            if quantity.role in (Role.SETTING, Role.READING, Role.EVENT)
        ],
        "shafts": [component_json(component) for component in card.shafts],
        "drives": [component_json(component) for component in card.drives],
        "parts": [component_json(component) for component in card.parts],
        "targets": [
            {"crop": crop, "quantity": name, "text": target.text, "basis": basis_json(target.basis, rulebook)}
            for crop, name, target in card.targets
        ],
    }


def quantity_json(quantity: Quantity) -> Plain:
    """A setting, reading or event as it may be written in a setup."""
    return {
        "name": quantity.name,
        "role": quantity.role.value,
        "form": quantity.form.value,
        "meaning": quantity.meaning,
        "unit": quantity.unit,
        "words": dict(quantity.words),
        "sided": quantity.sided,
        "lowest": quantity.lowest,
        "highest": quantity.highest,
        "how": quantity.how,
    }


def component_json(component: Component) -> Plain:
    """A shaft, drive or part with its parameters in canonical units."""
    return {
        "id": component.id,
        "kind": component.kind,
        "title": component.title,
        "station": component.station,
        "from": component.driver,
        "to": component.driven,
        "parameters": {
            name: {"by": value.by, "values": dict(value.values)} if isinstance(value, ByPosition) else value
            for name, value in component.parameters
        },
    }


def crop_line_json(card: CropCard) -> Plain:
    """A crop card in one line of a list."""
    return {
        "crop": card.id,
        "name": card.name,
        "eppo": card.eppo,
        "also": list(card.also),
        "names": {language: list(some) for language, some in card.names},
        "row_crop": card.row_crop,
        "grain_class": card.grain_class,
        "origin": card.origin,
        "overrides": card.overrides,
    }


def crop_json(card: CropCard, rulebook: Rulebook) -> Plain:
    """A crop card in full."""
    return {
        **crop_line_json(card),
        "targets": [
            {
                "quantity": name,
                "element": target.element,
                "text": target.text,
                "low": target.low,
                "high": target.high,
                "words": list(target.words),
                "basis": basis_json(target.basis, rulebook),
            }
            for name, target in card.targets
        ],
        "measures": [
            {"name": name, "value": value, "basis": basis_json(basis, rulebook)} for name, value, basis in card.measures
        ],
    }
