"""The JSON Schema of a setup for one machine card, made from the card."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from audit.intake.setups import HEADER_KEYS, JOB_KEYS, STATES, UNIT_KEYS
from audit.measures import dimension_of, known_units
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

Schema = dict[str, Any]
FILLED = r"\S"
"""Text that is not blank."""
MOMENT = (
    r"^[0-9]{4}-?([0-9]{2}-?[0-9]{2}|W[0-9]{2}-?[0-9]).[0-9]{2}.*(Z|[+-][0-9]{2}(:?[0-9]{2}(:?[0-9]{2}(\.[0-9]+)?)?)?)$"
)
"""A date and time with its offset."""
NUMBER = "[0-9\u00bc-\u00be\u2150-\u215e]"
"""A digit or a fraction that is one sign."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def setup_schema(card: MachineCard, rulebook: Rulebook) -> Schema:
    """Schema (draft 2020-12) of a setup of this card.

    It describes shape and words. Units, bounds of numbers written as text, and keys for a whole family of parts are
    left to the audit, which says more about them than a schema can.
    """
    names = on_card(card, rulebook.vocabulary)
    kinds = {**rulebook.vocabulary.part_kinds, **rulebook.vocabulary.drive_kinds}

    def section(role: Role) -> Schema:
        own = {name: value_schema(quantity) for name, quantity in names.items() if quantity.role is role}
        # of a family of parts: unit, words and bounds are those of the parts that this card has
        families = {
            f"{family}.{attribute}": value_schema(names[f"{component.id}.{attribute}"])
            for component in card.components()
            for family in kinds[component.kind].families
            for attribute, quantity in rulebook.vocabulary.of_family(family).items()
            if quantity.role is role and f"{component.id}.{attribute}" in names and f"{family}.{attribute}" not in own
        }
        return _object({**own, **families}, f"{role.value}s of {card.title}, by name")

    def keyed(keys: dict[str, str]) -> dict[str, Schema]:
        return {key: value_schema(names[name]) for key, name in keys.items() if name in names}

    crops = sorted({name for crop in rulebook.crops.values() for name in crop.called()})
    builds = {build.name: {"enum": [choice for choice, _ in build.choices]} for build in card.builds}
    text: Schema = {"type": ["string", "null"], "pattern": FILLED}
    unit: dict[str, Schema] = {
        "id": {"type": "string", "pattern": FILLED},
        "card": {"const": card.id},
        "serial": text,
        "owner": text,
        "fitted": _object(builds, "which variant is fitted, where serial and year can't decide it"),
        **keyed(UNIT_KEYS),
    }
    job: dict[str, Schema] = {
        "crop": {"type": "string", "pattern": FILLED, "examples": crops},
        **keyed(JOB_KEYS),
        "header": _object(keyed(HEADER_KEYS), "the header mounted or about to be"),
    }
    at: Schema = {"type": ["string", "null"], "format": "date-time", "pattern": MOMENT}
    taken: dict[str, Schema] = {"at": at, "by": text, "state": {"enum": [*STATES, None]}}
    return {
        "$schema": DIALECT,
        "title": f"Setup of a {card.title}",
        "type": "object",
        "properties": {
            "unit": _object(unit, "the machine", required=["id", "card"]),
            "job": _object(job, "what it is to do", required=["crop"]),
            "taken": _object(taken, "when, by whom, and whether as found or as left"),
            "settings": section(Role.SETTING),
            "readings": section(Role.READING),
            "events": section(Role.EVENT),
        },
        "required": ["unit", "job"],
        "additionalProperties": False,
    }


def value_schema(quantity: Quantity) -> Schema:
    """Schema of one value; null says that it is not known."""
    one, is_number = _one(quantity), quantity.form is Form.NUMBER
    described: Schema = {"description": f"{quantity.meaning}.{f' {quantity.how}' if quantity.how else ''}"}
    measured = {
        "type": "object",
        "properties": {
            # bounds are in the card's unit, so they say nothing about a number in another
            "value": _one(replace(quantity, lowest=None, highest=None)) if is_number else one,
            "unit": {"type": ["string", "null"], "examples": list(_units(quantity))} if is_number else {"type": "null"},
            "with": {"type": ["string", "null"]},
        },
        "required": ["value"],
        "additionalProperties": False,
    }
    either = {"anyOf": [one, measured]}
    if not quantity.sided:
        return {**described, **either}
    sides = _object({"left": either, "right": either}, "left and right; one value alone means both")
    sides |= {"type": "object", "minProperties": 1}
    return {**described, "anyOf": [one, measured, sides]}


def _one(quantity: Quantity) -> Schema:
    if quantity.form is Form.YES_NO:
        return {"type": ["boolean", "null"]}
    if quantity.form is Form.TIME:
        return {"type": ["string", "null"], "format": "date-time", "pattern": MOMENT}
    if quantity.form is Form.WORD:
        return (
            {"enum": [*(word for word, _ in quantity.words), None]} if quantity.words else {"type": ["string", "null"]}
        )
    number: Schema = {"type": "number", "description": f"in {quantity.unit}" if quantity.unit != "1" else "a number"}
    if quantity.lowest is not None and quantity.highest is not None:
        number |= {"minimum": quantity.lowest, "maximum": quantity.highest}
    text = {"type": "string", "pattern": NUMBER, "examples": [_example(quantity)]}
    return {"anyOf": [number, text, {"type": "null"}]}


def _example(quantity: Quantity) -> str:
    if quantity.unit in ("mm", "in"):
        return "5/32 in"
    return "12" if quantity.unit == "1" else f"12 {quantity.unit.removeprefix('1')}"


def _units(quantity: Quantity) -> tuple[str, ...]:
    return known_units(dimension_of(quantity.unit))


def _object(properties: dict[str, Schema], description: str, required: list[str] | None = None) -> Schema:
    found: Schema = {
        "type": "object" if required else ["object", "null"],
        "description": description,
        "properties": properties,
        "additionalProperties": False,
    }
    if required:
        found["required"] = required
    return found
