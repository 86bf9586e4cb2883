"""The JSON Schema of a setup for one machine card, made from the card."""

from __future__ import annotations

from typing import Any

from audit.intake.setups import HEADER_KEYS, JOB_KEYS, STATES, UNIT_KEYS
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

Schema = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def setup_schema(card: MachineCard, rulebook: Rulebook) -> Schema:
    """Schema (draft 2020-12) of a setup of this card.

    It describes shape and words. Units, bounds of numbers written as text, and keys for a whole family of parts are
    left to the audit, which says more about them than a schema can.
    """
    names = on_card(card, rulebook.vocabulary)

    def section(role: Role) -> Schema:
        own = {name: value_schema(quantity) for name, quantity in names.items() if quantity.role is role}
        families = {
            f"{family}.{attribute}": value_schema(quantity)
            for family in sorted(_families(card, rulebook))
            for attribute, quantity in rulebook.vocabulary.of_family(family).items()
            if quantity.role is role and f"{family}.{attribute}" not in own
        }
        return _object({**own, **families}, f"{role.value}s of {card.title}, by name")

    def keyed(keys: dict[str, str]) -> dict[str, Schema]:
        return {key: value_schema(names[name]) for key, name in keys.items() if name in names}

    crops = sorted({name for crop in rulebook.crops.values() for name in (crop.id, crop.name, crop.eppo, *crop.also)})
    builds = {build.name: {"enum": [choice for choice, _ in build.choices]} for build in card.builds}
    text: Schema = {"type": ["string", "null"], "minLength": 1}
    unit: dict[str, Schema] = {
        "id": {"type": "string", "minLength": 1},
        "card": {"const": card.id},
        "serial": text,
        "owner": text,
        "fitted": _object(builds, "which variant is fitted, where serial and year can't decide it"),
        **keyed(UNIT_KEYS),
    }
    job: dict[str, Schema] = {
        "crop": {"type": "string", "examples": crops},
        **keyed(JOB_KEYS),
        "header": _object(keyed(HEADER_KEYS), "the header mounted or about to be"),
    }
    at: Schema = {"type": ["string", "null"], "format": "date-time"}
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
    one = _one(quantity)
    described: Schema = {"description": f"{quantity.meaning}.{f' {quantity.how}' if quantity.how else ''}"}
    measured = {
        "type": "object",
        "properties": {"value": one, "unit": {"type": ["string", "null"]}, "with": {"type": ["string", "null"]}},
        "required": ["value"],
        "additionalProperties": False,
    }
    either = {"anyOf": [one, measured]}
    if not quantity.sided:
        return {**described, **either}
    sides = _object({"left": either, "right": either}, "left and right; one value alone means both")
    return {**described, "anyOf": [one, measured, sides]}


def _one(quantity: Quantity) -> Schema:
    if quantity.form is Form.YES_NO:
        return {"type": ["boolean", "null"]}
    if quantity.form is Form.TIME:
        return {"type": ["string", "null"], "format": "date-time"}
    if quantity.form is Form.WORD:
        return (
            {"enum": [*(word for word, _ in quantity.words), None]} if quantity.words else {"type": ["string", "null"]}
        )
    number: Schema = {"type": "number", "description": f"in {quantity.unit}" if quantity.unit != "1" else "a number"}
    if quantity.lowest is not None and quantity.highest is not None:
        number |= {"minimum": quantity.lowest, "maximum": quantity.highest}
    text = {"type": "string", "pattern": r"[0-9]", "examples": [_example(quantity)]}
    return {"anyOf": [number, text, {"type": "null"}]}


def _example(quantity: Quantity) -> str:
    return "5/32 in" if quantity.unit in ("mm", "in") else f"12 {quantity.unit}" if quantity.unit != "1" else "12"


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


def _families(card: MachineCard, rulebook: Rulebook) -> set[str]:
    kinds = {**rulebook.vocabulary.part_kinds, **rulebook.vocabulary.drive_kinds}
    return {family for component in card.components() for family in kinds[component.kind].families}
