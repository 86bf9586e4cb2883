"""Events as other systems read them: CloudEvents 1.0 in structured JSON.

Source: CloudEvents 1.0.2, "Required attributes" and "JSON event format"; ``sequence`` is the documented extension of
that name (from memory), a text that sorts as it happened. Types begin with ``internal``, a top-level name that is kept
for private use (ICANN board, 29 July 2024; from memory), as nobody can own it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.record_wire import moment
from api.store.event_kinds import EVERY, Kind
from api.store.outbox import Told

MEDIA = "application/cloudevents+json"
PREFIX = "internal.setup-audit."
DRAFT = "https://json-schema.org/draft/2020-12/schema"
_DIGITS = 12


def cloud_event(told: Told, address: str, delivery: int | None = None) -> dict[str, Any]:
    """An event of the organisation, with links to where the matter can be looked at.

    Args:
        address: where people reach this server, without a slash at its end.
        delivery: counts what its receiver is sent, without gaps; None where it is not sent.
    """
    found: dict[str, Any] = {
        "specversion": "1.0",
        "id": told.id,
        "source": f"{address}/organisations/{told.organisation}",
        "type": f"{PREFIX}{told.kind}",
        "subject": told.subject,
        "time": moment(told.at),
        "datacontenttype": "application/json",
        "dataschema": f"{address}/events/kinds/{told.kind}",
        "sequence": f"{told.number:0{_DIGITS}d}",
        "data": {**told.content, "links": links(told.content, address)},
    }
    if told.record is not None:
        found["recordnumber"] = told.record
    if delivery is not None:
        found["deliverynumber"] = delivery
    return found


def links(content: Mapping[str, Any], address: str) -> dict[str, str]:
    """Addresses of what an event speaks of."""
    unit, found = content.get("unit"), {}
    if unit:
        at = f"{address}/units/{unit}"
        found = {"unit": at, "clearance": f"{at}/clearance", "findings": f"{at}/findings"}
    for name, place in (("setup", f"units/{unit}/setups"), ("start", "harvest-starts")):
        if unit and content.get(name):
            found[name] = f"{address}/{place}/{content[name]}"
    if content.get("fleet_audit"):
        found["fleet_audit"] = f"{address}/fleet-audits/{content['fleet_audit']}"
    if content.get("visit"):
        found["visit"] = f"{address}/visits/{content['visit']}"
    return found


def schema_of(kind: Kind, address: str) -> dict[str, Any]:
    """JSON Schema of the ``data`` of a kind."""
    return {
        "$schema": DRAFT,
        "$id": f"{address}/events/kinds/{kind.name}",
        "title": f"{PREFIX}{kind.name}",
        "description": f"There is one when {kind.when}.",
        "type": "object",
        "properties": {
            **kind.fields,
            "links": {"type": "object", "additionalProperties": {"type": "string", "format": "uri"}},
        },
        "required": [*kind.fields, "links"],
    }


def catalogue() -> list[dict[str, str]]:
    """Every kind there is."""
    return [{"kind": kind.name, "type": f"{PREFIX}{kind.name}", "when": kind.when} for kind in EVERY]
