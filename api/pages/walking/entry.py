"""A form of answers as the setup that it stands for."""

from __future__ import annotations

import json
from base64 import b64decode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from api.pages.walking.checklist import Known, Thing
from audit.measures import CANONICAL, dimension_of
from audit.nouns.quantity import SIDES, Form, Quantity, Value

Plain = dict[str, Any]

SAME = "same"
UNIT = "unit"


def fields_of(thing: Thing) -> list[str]:
    """Names of a thing's fields: one, or one for each side."""
    name = thing.quantity.name
    return [f"{name}:{side}" for side in SIDES] if thing.quantity.sided else [name]


def setup_of(
    form: Mapping[str, str], things: Iterable[Thing], known: Mapping[str, Known], crop: str, header_kind: str
) -> Plain:
    """The setup, without what is not filled in. A known answer counts only where the form says that it is still so."""
    job: Plain = {"crop": crop, "header": {"kind": header_kind or None}}
    setup: Plain = {
        "unit": {"engine_hours": _or_none(form.get("engine_hours", "")), "fitted": {}}, "job": job,
        "taken": {"at": now(), "by": form.get("by", "").strip(), "state": form.get("state", "")},
        "settings": {}, "readings": {}, "events": {},
    }  # fmt: skip
    into = {**setup, "header": job["header"], "fitted": setup["unit"]["fitted"]}
    for thing in things:
        value = _answer(form, thing, known.get(thing.quantity.name))
        if value is not None:
            into[thing.section][thing.key] = value
    return setup


def now() -> str:
    """When the form was sent, as a setup has it."""
    return datetime.now(UTC).isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True)
class SavedWalk:
    """A walk that a device saved: the setup as it would have sent it, notes and photos by quantity."""

    setup: bytes
    notes: tuple[tuple[str, str], ...]
    photos: tuple[tuple[str, bytes], ...]


def saved_walk(text: bytes) -> SavedWalk | None:
    """The walk in a file that ``static/walk-store.js`` wrote, None for any other file."""
    try:
        plain = json.loads(text)
        setup = plain["walk"]["body"].encode()
        notes = tuple((str(one["name"]), str(one["note"])) for one in plain["answers"] if one["note"])
        photos = tuple(
            (str(one["name"]), b64decode(one["base64"], validate=True)) for one in plain["photos"] if one["base64"]
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return SavedWalk(setup, notes, photos)


def _answer(form: Mapping[str, str], thing: Thing, known: Known | None) -> Any:
    name, quantity = thing.quantity.name, thing.quantity
    unit = form.get(f"{name}:{UNIT}", "")
    said = [_one(form.get(field, "").strip(), quantity, unit) for field in fields_of(thing)]
    if known is not None and form.get(f"{name}:{SAME}"):
        values = known.value if isinstance(known.value, tuple) else (known.value,) * len(said)
        said = [_kept(old, quantity) if new is None else new for new, old in zip(said, values, strict=True)]
    if all(one is None for one in said):
        return None
    return dict(zip(SIDES, said, strict=True)) if quantity.sided else said[0]


def _one(text: str, quantity: Quantity, unit: str) -> Any:
    if not text:
        return None
    if quantity.form is Form.YES_NO:
        return {"yes": True, "no": False}.get(text, text)
    if quantity.form is Form.TIME:
        return f"{text}Z" if len(text) == len("2026-08-11T07:40") else text
    return f"{text} {unit}" if quantity.form is Form.NUMBER and unit and text[-1].isdigit() else text


def _kept(value: Value, quantity: Quantity) -> Any:
    """A value on record as a setup would write it, to the last digit."""
    if value is None or isinstance(value, (str, bool)):
        return value
    if quantity.form is Form.TIME:
        return datetime.fromtimestamp(value, UTC).isoformat()
    unit = CANONICAL[dimension_of(quantity.unit)] if quantity.unit else "1"
    return {"value": value, "unit": unit}


def _or_none(text: str) -> str | None:
    return f"{text.strip()} h" if text.strip() else None
