"""What the ADAPT Standard 2.0.2 requires of the members that we write and that our samples have, and no other member.

Written from the field list of the standard's ``adapt-root-schema.json``, ``adapt-data-type-definitions.json`` and
``adapt-unit-abbreviations.json`` (MIT), as neither PyPI nor npm has them. The standard's own schema lets members pass
that it does not name; here a misspelt one fails. Units are composed as the standard does, ``kg1ha-1``; that
``count1min-1`` is right follows from its units ``count`` and ``min`` and is in no list.
"""

from __future__ import annotations

from typing import Any


def _of(required: list[str], **properties: Any) -> dict[str, Any]:
    return {"type": "object", "required": required, "properties": properties, "additionalProperties": False}


TEXT = {"type": "string", "minLength": 1}
ID = _of(
    ["referenceId"],
    referenceId=TEXT,
    uniqueIds={
        "type": "array",
        "items": _of(
            ["idText", "idTypeCode"], idText=TEXT, idTypeCode={"enum": ["UUID", "STRING", "LONGINT", "URI", "GLN"]},
            idSource=TEXT, idSourceTypeCode={"enum": ["GLN", "URI"]},
        ),
    },
)  # fmt: skip
SCOPES = {
    "type": "array",
    "items": _of(
        ["dateContextCode"], dateContextCode={"enum": ["CALIBRATION", "MAINTENANCE", "PROPOSED"]},
        start={"type": "string", "format": "date-time"}, end={"type": "string", "format": "date-time"},
    ),
}  # fmt: skip
ITEMS = {"type": "array", "items": _of(["definitionCode"], definitionCode=TEXT, valueText=TEXT, timeScopes=SCOPES)}
DEFINITION = _of(
    ["definitionCode", "name", "dataDefinitionBaseTypeCode", "dataDefinitionStatusCode"],
    definitionCode=TEXT, name=TEXT, dataDefinitionBaseTypeCode={"enum": ["NUMERIC", "ENUMERATION", "TEXT", "BOOLEAN"]},
    dataDefinitionStatusCode={"enum": ["VALID", "CANDIDATE"]}, scopes={"type": "array"},
    numericDataTypeDefinitionAttributes=_of(
        ["numericDataTypeCode", "unitOfMeasureCode"], numericDataTypeCode={"const": "DOUBLE"},
        unitOfMeasureCode={"enum": ["mm", "m", "in", "ft", "hr", "hz", "count1min-1"]},
    ),
)  # fmt: skip
OPERATION = _of(
    ["id", "name", "operationTypeCode"], id=ID, name=TEXT, operationTypeCode={"enum": ["HARVEST", "HARVEST_PRE_HARVEST"]},
    deviceConfiguration=_of(["deviceId"], deviceId=TEXT), timeScopes=SCOPES,
)  # fmt: skip
PLAN = _of(
    ["id", "name", "operations"], id=ID, name=TEXT, cropIds={"type": "array", "items": TEXT},
    operations={"type": "array", "minItems": 1, "items": OPERATION},
)  # fmt: skip
NAMED = ["id", "name"]
WORK_ORDER = _of(
    ["id", "name", "fieldId", "operations"], id=ID, name=TEXT, fieldId=TEXT, cropZoneId=TEXT, seasonId=TEXT,
    timeScopes=SCOPES, operations={"type": "array", "minItems": 1, "items": OPERATION},
)  # fmt: skip
ADAPT = _of(
    ["catalog", "rootSchemaVersion"],
    rootSchemaVersion={"const": "2.0.2"},
    catalog=_of(
        [],
        manufacturers={"type": "array", "items": _of(NAMED, id=ID, name=TEXT)},
        brands={"type": "array", "items": _of(NAMED, id=ID, name=TEXT, manufacturerId=TEXT)},
        fields={"type": "array", "items": _of(NAMED, id=ID, name=TEXT, farmId=TEXT)},
        cropZones={"type": "array", "items": _of(NAMED, id=ID, name=TEXT, fieldId=TEXT, cropId=TEXT)},
        crops={"type": "array", "items": _of(["id", "name"], id=ID, name=TEXT)},
        deviceModels={"type": "array", "items": _of(NAMED, id=ID, name=TEXT, brandId=TEXT, deviceSeries=TEXT)},
        devices={
            "type": "array",
            "items": _of(["id", "name"], id=ID, name=TEXT, deviceModelId=TEXT, serialNumber=TEXT, contextItems=ITEMS),
        },
        customDataTypeDefinitions={"type": "array", "items": DEFINITION},
    ),
    documents=_of(
        [],
        plans={"type": "array", "items": PLAN},
        workOrders={"type": "array", "items": WORK_ORDER},
    ),
)
"""What the standard requires, and no member that it does not name: its own schema lets misspelt members pass."""
