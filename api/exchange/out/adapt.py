"""Units and wanted work as a document of the ADAPT Standard.

Source: ADAPT Standard, tag 2.0.2 (MIT), ``adapt-root-schema.json``, ``adapt-data-type-definitions.json`` and
``adapt-unit-abbreviations.json``: names and required members of ``device``, ``deviceModel``, ``crop``, ``plan``,
``operation``, ``deviceConfiguration``, ``contextItem`` and ``customDataTypeDefinition``; codes of types, dates, units.

What the standard leaves open, and what is done here:

- It has no settings of a combine, so each is a definition of our own, with a code that our reader and others can
  tell by its last part (``adapt_codes``). It has no unit for r/min; turns are counts per minute, composed as its units
  are (``count1min-1``). Lengths and speeds of turning are numbers; everything else is text with its unit.
- A ``workOrder`` must name a field and the work on a machine has none, so it is a ``plan`` with one operation. No type
  of operation is maintenance; ``HARVEST_PRE_HARVEST`` says when it is to be done, and the date's code MAINTENANCE.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.exchange.adapt_codes import code_of

MEDIA = "application/json"
VERSION = "2.0.2"
UNITS: Mapping[str, str] = {"mm": "mm", "m": "m", "in": "in", "ft": "ft", "r/min": "count1min-1"}
"""Our units of numbers that are sent, and the standard's codes for them."""

Plain = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting of a machine as it stands.

    Attributes:
        name: of the quantity.   side: '' for the whole.   meaning: for people.
        text: the value: of a number in a unit of ``UNITS`` without it, else as people read it.
        unit: one of ``UNITS``, '' for a text.
    """

    name: str
    side: str
    meaning: str
    text: str
    unit: str

    @property
    def code(self) -> str:
        return code_of(self.name, self.side)


@dataclass(frozen=True, slots=True)
class Device:
    """One machine. ``address``: where it can be looked at; ``taken``: RFC 3339, when its settings were."""

    id: str
    address: str
    card: str
    serial: str
    settings: tuple[Setting, ...]
    taken: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """Work that is wanted on a machine. ``begins``, ``ends``: RFC 3339, None where nothing was said."""

    id: str
    unit: str
    crop: str
    title: str
    begins: str | None
    ends: str | None


@dataclass(frozen=True, slots=True)
class Named:
    """A card of a machine or a crop. ``eppo``: '' for none."""

    id: str
    name: str
    eppo: str = ""


def document(
    devices: Sequence[Device], types: Iterable[Named], crops: Iterable[Named], work: Sequence[Wanted]
) -> Plain:
    """The document; of what is empty it says nothing."""
    settings = {setting.code: setting for device in devices for setting in device.settings}
    catalog = {
        "crops": [_crop(one) for one in crops],
        "deviceModels": [{"id": {"referenceId": one.id}, "name": one.name} for one in types],
        "devices": [_device(one) for one in devices],
        "customDataTypeDefinitions": [_definition(settings[code]) for code in sorted(settings)],
    }
    found: Plain = {
        "rootSchemaVersion": VERSION,
        "catalog": {name: lines for name, lines in catalog.items() if lines},
    }
    if work:
        found["documents"] = {"plans": [_plan(one) for one in work]}
    return found


def _crop(one: Named) -> Plain:
    code = {"idText": one.eppo, "idTypeCode": "STRING", "idSource": "https://gd.eppo.int", "idSourceTypeCode": "URI"}
    return {"id": {"referenceId": one.id, **({"uniqueIds": [code]} if one.eppo else {})}, "name": one.name}


def _device(one: Device) -> Plain:
    found: Plain = {
        "id": {"referenceId": one.id, "uniqueIds": [{"idText": one.address, "idTypeCode": "URI"}]},
        "name": one.id,
        "deviceModelId": one.card,
    }
    if one.serial:
        found["serialNumber"] = one.serial
    if one.settings:
        scope = [{"dateContextCode": "CALIBRATION", "start": one.taken}]
        found["contextItems"] = [
            {"definitionCode": setting.code, "valueText": setting.text, "timeScopes": scope} for setting in one.settings
        ]
    return found


def _definition(one: Setting) -> Plain:
    found: Plain = {
        "definitionCode": one.code,
        "name": one.meaning,
        "dataDefinitionBaseTypeCode": "NUMERIC" if one.unit else "TEXT",
        "dataDefinitionStatusCode": "VALID",
        "scopes": ["DEVICE", "DEVICE_CONFIGURATION"],
    }
    if one.unit:
        found["numericDataTypeDefinitionAttributes"] = {
            "numericDataTypeCode": "DOUBLE", "unitOfMeasureCode": UNITS[one.unit],
        }  # fmt: skip
    return found


def _plan(one: Wanted) -> Plain:
    operation: Plain = {
        "id": {"referenceId": f"{one.id}-operation"},
        "name": one.title,
        "operationTypeCode": "HARVEST_PRE_HARVEST",
        "deviceConfiguration": {"deviceId": one.unit},
    }
    when = {name: value for name, value in (("start", one.begins), ("end", one.ends)) if value}
    if when:
        operation["timeScopes"] = [{"dateContextCode": "MAINTENANCE", **when}]
    return {"id": {"referenceId": one.id}, "name": one.title, "cropIds": [one.crop], "operations": [operation]}
