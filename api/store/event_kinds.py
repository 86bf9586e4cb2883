"""What other systems are told of: every kind of event, when there is one, and what it says.

A kind has the name of the record's event that it tells of. What the record's event holds under the name of a field is
taken from there, so that a kind that is added here is told from then on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

MOST_LISTED = 20
"""Most lines of a list in one event; the event counts them all and says where they are."""

Schema = Mapping[str, Any]
_TEXT: Schema = {"type": ["string", "null"]}
_NUMBER: Schema = {"type": ["number", "null"]}
_COUNT: Schema = {"type": ["integer", "null"]}
_MOMENT: Schema = {"type": ["string", "null"], "format": "date-time"}
_DAY: Schema = {"type": ["string", "null"], "format": "date"}
_LOCAL: Schema = {"type": ["string", "null"], "description": "local time without an offset, 2026-09-15T08:15"}


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of event.

    Attributes:
        when: when there is one.
        fields: JSON Schema of each field; a field may be null where it is not known.
    """

    name: str
    when: str
    fields: Mapping[str, Schema]

    def told(self, content: Mapping[str, Any]) -> dict[str, Any]:
        """The fields of an event; times are given in s since 1970 and told as RFC 3339."""
        return {name: _plain(content.get(name), schema) for name, schema in self.fields.items()}


def _plain(value: Any, schema: Schema) -> Any:
    if schema is _MOMENT and isinstance(value, int | float):
        return datetime.fromtimestamp(value, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    if isinstance(value, list | tuple):
        return list(value[:MOST_LISTED])
    return value


def _lines(**fields: Schema) -> Schema:
    return {"type": ["array", "null"], "maxItems": MOST_LISTED, "items": {"type": "object", "properties": fields}}


_JOB: Mapping[str, Schema] = {"crop": _TEXT, "header_kind": _TEXT}
_FINDINGS: Mapping[str, Schema] = {
    "unit": _TEXT, "setup": _TEXT, **_JOB, "count": _COUNT,
    "findings": _lines(rule=_TEXT, title=_TEXT, on=_TEXT, on_title=_TEXT, verdict=_TEXT, level=_TEXT,
                       danger_to_people={"type": ["boolean", "null"]}, setup=_TEXT),
}  # fmt: skip
_ACCEPTANCE: Mapping[str, Schema] = {
    "unit": _TEXT, "acceptance": _TEXT, "setup": _TEXT, "rule": _TEXT, "on": _TEXT, **_JOB, "by": _TEXT,
    "reason": _TEXT, "until": _MOMENT,
}  # fmt: skip
_UNIT: Mapping[str, Schema] = {"unit": _TEXT, "card": _TEXT, "serial": _TEXT, "owner": _TEXT, "engine_hours": _NUMBER}
_VISIT: Mapping[str, Schema] = {
    "visit": _TEXT, "technician": _TEXT, "farm": _TEXT, "day": _DAY, "arrives": _LOCAL, "begins": _LOCAL,
    "leaves": _LOCAL, "edition": _COUNT, "minutes": _NUMBER, "count": _COUNT,
    "units": {"type": ["array", "null"], "maxItems": MOST_LISTED, "items": _TEXT},
    "parts": {"type": ["array", "null"], "maxItems": MOST_LISTED, "items": _TEXT},
    "tools": {"type": ["array", "null"], "maxItems": MOST_LISTED, "items": _TEXT},
}  # fmt: skip
_PARTY: Schema = {
    "type": "object",
    "properties": {"role": {"enum": ["OPERATOR", "CUSTOM_SERVICE_PROVIDER", "AUTHORIZER", "OWNER"]}, "name": _TEXT},
}

EVERY = (
    Kind(
        "setup.recorded", "a setup of a unit was put on record",
        {
            "unit": _TEXT, "setup": _TEXT, "number": _COUNT, **_JOB, "state": _TEXT, "taken": _MOMENT,
            "taken_by": _TEXT, "clearance": _TEXT, "rulebook": _TEXT,
        },
    ),
    Kind("finding.opened", "the newest setup has findings that hold a start, and the one before had not", _FINDINGS),
    Kind("finding.closed", "the newest setup no longer has findings that held a start", _FINDINGS),
    Kind(
        "start.cleared", "a harvest start was asked for and cleared",
        {
            "unit": _TEXT, "start": _TEXT, "number": _COUNT, **_JOB, "setup": _TEXT, "expires": _MOMENT,
            "engine_hours": _NUMBER, "rulebook": _TEXT,
        },
    ),
    Kind(
        "start.held", "a harvest start was asked for and held",
        {
            "unit": _TEXT, **_JOB, "setup": _TEXT, "engine_hours": _NUMBER, "rulebook": _TEXT, "count": _COUNT,
            "reasons": _lines(why=_TEXT, text=_TEXT, rule=_TEXT, on=_TEXT),
        },
    ),
    Kind(
        "start.revoked", "the certificate of a start is no longer true",
        {"unit": _TEXT, "start": _TEXT, **_JOB, "why": _TEXT},
    ),
    Kind("acceptance.given", "a named person let a finding pass for a time", _ACCEPTANCE),
    Kind("acceptance.withdrawn", "an acceptance was taken back", _ACCEPTANCE),
    Kind("acceptance.expired", "the time of an acceptance is over", _ACCEPTANCE),
    Kind("unit.added", "a unit was put on record", _UNIT),
    Kind("unit.changed", "what a unit is was changed; its earlier setups may no longer clear it", _UNIT),
    Kind("unit.retired", "a unit was taken out of the fleet", _UNIT),
    Kind(
        "rulebook.activated", "another rulebook judges from now on",
        {"rulebook": _TEXT, "number": _COUNT, "follows": _TEXT},
    ),
    Kind(
        "work.requested", "somebody wants the work done that puts a unit right",
        {
            "unit": _TEXT, "work_request": _TEXT, "setup": _TEXT, **_JOB, "minutes": _NUMBER, "people": _COUNT,
            "tools": {"type": ["array", "null"], "items": _TEXT}, "parts": {"type": ["array", "null"], "items": _TEXT},
            "count": _COUNT,
            "steps": _lines(number=_COUNT, title=_TEXT, station=_TEXT, on=_TEXT, when=_TEXT, minutes=_NUMBER,
                            people=_COUNT),
            "partyRoles": {"type": "array", "items": _PARTY},
            "timeScopes": {"type": "array", "items": {"type": "object"}},
            "notes": _TEXT, "safety": {"type": ["array", "null"], "items": _TEXT},
        },
    ),
    Kind("visit.planned", "a visit to a farm was planned", _VISIT),
    Kind("visit.changed", "a planned visit was changed", _VISIT),
    Kind("visit.cancelled", "a planned visit was cancelled", {**_VISIT, "why": _TEXT}),
    Kind(
        "fleet-audit.ended", "a fleet audit is done, or failed",
        {"fleet_audit": _TEXT, "state": _TEXT, "why": _TEXT},
    ),
)  # fmt: skip
KINDS: Mapping[str, Kind] = {kind.name: kind for kind in EVERY}
