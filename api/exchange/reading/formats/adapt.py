"""Documents of the ADAPT Standard, version 2 (adapt.json): combines, crops and planned harvests.

The standard has no word for a combine's settings; they travel as definitions of one's own, whose codes end as in
``adapt_codes``; what the definition's unit says is kept to. Members that are not known are passed over, as the standard
allows.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

from api.exchange.adapt_codes import quantity_of
from api.exchange.reading.files import Files
from api.exchange.reading.json_text import begins_as_json, inner, objects, read_object, text_of
from api.exchange.reading.nouns import (
    Gathered,
    HourReading,
    MachineValue,
    NotRead,
    Read,
    ReadCrop,
    ReadTask,
    ReadUnit,
    Role,
)
from api.exchange.reading.registry import Format
from api.exchange.reading.times import Moment, moment

HARVEST = "HARVEST"
HOURS = "ENGINE_HOURS"
FACTORS = {
    "concave_gap": {"mm": (1.0, "mm"), "m": (1000.0, "mm"), "in": (25.4, "mm")},
    "chaffer": {"mm": (1.0, "mm"), "m": (1000.0, "mm"), "in": (25.4, "mm")},
    "sieve": {"mm": (1.0, "mm"), "m": (1000.0, "mm"), "in": (25.4, "mm")},
    "fan_speed": {"hz": (60.0, "r/min"), "count1min-1": (1.0, "r/min"), "count1sec-1": (60.0, "r/min")},
    HOURS: {"hr": (1.0, "h"), "sec": (1 / 3600, "h"), "min": (1 / 60, "h")},
}  # fmt: skip
"""Factor to our unit by the standard's unit codes."""


def _knows(files: Files) -> bool:
    if len(files.paths()) == 1 and begins_as_json(files.read(files.paths()[0])[:64]):
        return b'"rootSchemaVersion"' in files.read(files.paths()[0])
    return any(path.rpartition("/")[2].casefold() == "adapt.json" for path in files.paths())


def _read(files: Files, _: bytes, zone: ZoneInfo | None) -> Read:
    found = [path for path in files.paths() if path.rpartition("/")[2].casefold() == "adapt.json"] or files.paths()[:1]
    gathered = Gathered()
    for path in found:
        value = read_object(path, files.read(path))
        if not isinstance(value, dict) or not isinstance(value.get("catalog"), dict):
            raise NotRead(path, "has no catalog", "An ADAPT document has catalog and rootSchemaVersion")
        version = text_of(value.get("rootSchemaVersion"))
        if version.partition(".")[0] not in ("1", "2"):
            raise NotRead(path, f"is of version '{version[:20]}'", "Versions 1 and 2 are read")
        _Document(path, value, gathered, zone).read()
    return gathered.read()


class _Document:
    """One document while it is read."""

    def __init__(self, path: str, value: dict[str, Any], gathered: Gathered, zone: ZoneInfo | None) -> None:
        self.path, self.value, self.gathered, self.zone = path, value, gathered, zone
        self.catalog = inner(value, "catalog")
        self.units_of = {
            text_of(one.get("definitionCode")): text_of(
                inner(one, "numericDataTypeDefinitionAttributes").get("unitOfMeasureCode")
            )
            for _, one in objects(self.catalog.get("customDataTypeDefinitions"))
        }

    def read(self) -> None:
        harvests = list(self._harvests())
        crops = {_id(one): _crop_names(one) for _, one in objects(self.catalog.get("crops"))}
        for number, one in objects(self.catalog.get("crops")):
            place = f"{self.path}, crop {number}"
            if not crops[_id(one)]:
                self.gathered.refuse(place, "is a crop without name or code", "Name it in the system it comes from")
            else:
                self.gathered.crops.append(ReadCrop(place, _id(one), crops[_id(one)]))
        used = {device for *_, device, _ in harvests if device}
        for number, one in objects(self.catalog.get("devices")):
            self._device(f"{self.path}, device {number}", one, used, harvests)
        self._tasks(harvests, crops)

    def _harvests(self) -> Iterator[tuple[str, str, dict[str, Any], dict[str, Any], str, dict[str, Any]]]:
        """Kind of document, place, document, operation, device and its configuration of every harvest."""
        documents = inner(self.value, "documents")
        for kind in ("workOrders", "plans", "workRecords"):
            for number, one in objects(documents.get(kind)):
                for _, operation in objects(one.get("operations")):
                    if text_of(operation.get("operationTypeCode")) == HARVEST:
                        configured = inner(operation, "deviceConfiguration")
                        device = text_of(configured.get("deviceId"))
                        yield kind, f"{self.path}, {kind} {number}", one, operation, device, configured

    def _device(self, place: str, one: dict[str, Any], used: set[str], harvests: list[Any]) -> None:
        name, id = text_of(one.get("name")), _id(one)
        items = [
            *_items(one),
            *(item for *_, device, configured in harvests if device == id for item in _items(configured)),
        ]
        values, hours = self._values(place, items)
        if id not in used and not values:
            self.gathered.pass_over(place, f"device '{name[:60]}' takes part in no harvest")
            return
        model = self._by_id("deviceModels", text_of(one.get("deviceModelId")))
        brand = self._by_id("brands", text_of(model.get("brandId")))
        maker = self._by_id("manufacturers", text_of(brand.get("manufacturerId")))
        self.gathered.units.append(
            ReadUnit(
                place=place, key=id, fleet_number=name,
                serial=text_of(one.get("serialNumber")), pin=_unique(one, "PIN"),
                maker=text_of(maker.get("name")) or text_of(brand.get("name")), type=text_of(model.get("name")),
                hours=hours, values=tuple(values),
            )
        )  # fmt: skip

    def _by_id(self, kind: str, id: str) -> dict[str, Any]:
        return next((one for _, one in objects(self.catalog.get(kind)) if id and _id(one) == id), {})

    def _values(self, place: str, items: list[dict[str, Any]]) -> tuple[list[MachineValue], HourReading | None]:
        values: list[MachineValue] = []
        hours: HourReading | None = None
        for item in items:
            code = text_of(item.get("definitionCode"))
            what = HOURS if code.rpartition(".")[2] == HOURS else quantity_of(code)
            if what is None:
                continue
            unit = self.units_of.get(code, "")
            if unit not in FACTORS[what]:
                self.gathered.note(f"{place}: {code[:60]} is in '{unit[:20]}', which is not read for it.")
                continue
            factor, measure = FACTORS[what][unit]
            try:
                number = float(text_of(item.get("valueText"))) * factor
                if not isfinite(number):
                    raise ValueError
                taken = self._when(item)
            except ValueError:
                self.gathered.note(
                    f"{place}: {code[:60]} has '{text_of(item.get('valueText'))[:40]}', which is not read."
                )
                continue
            at, unplaced = (None, False) if taken is None else (taken.at, taken.local)
            if what == HOURS:
                hours = HourReading(number, at, unplaced)
            else:
                values.append(MachineValue(what, code, Role.FIXED, "", number, measure, at, unplaced))
        return values, hours

    def _tasks(self, harvests: list[Any], crops: dict[str, tuple[str, ...]]) -> None:
        zones = {_id(one): text_of(one.get("cropId")) for _, one in objects(self.catalog.get("cropZones"))}
        fields = {_id(one): text_of(one.get("name")) for _, one in objects(self.catalog.get("fields"))}
        for kind, place, one, operation, device, _ in harvests:
            if kind == "workRecords":
                continue  # done already
            named = [zones.get(text_of(one.get("cropZoneId")), "")]
            named += [text_of(id) for id in one.get("cropIds") or () if isinstance(id, str)]
            begins, ends, unplaced = self._window(one) or self._window(operation) or (None, None, False)
            self.gathered.tasks.append(
                ReadTask(
                    place=place, key=f"{_id(one)}/{_id(operation)}", name=text_of(one.get("name")),
                    field=fields.get(text_of(one.get("fieldId")), ""), units=(device,) if device else (),
                    crops=tuple(name for id in named for name in crops.get(id, ())), begins=begins, ends=ends,
                    state="planned", local=unplaced,
                )
            )  # fmt: skip

    def _when(self, item: dict[str, Any]) -> Moment | None:
        """The time of a value. Raises ValueError for what is none."""
        return next((self._moment(text_of(one.get("start"))) for _, one in objects(item.get("timeScopes"))), None)

    def _window(self, one: dict[str, Any]) -> tuple[float | None, float | None, bool] | None:
        """When work is proposed, and whether that is without an offset; None where nobody says when."""
        for _, scope in objects(one.get("timeScopes")):
            if text_of(scope.get("dateContextCode")).startswith("PROPOSED"):
                ends: list[Moment | None] = []
                for name in ("start", "end"):
                    try:
                        ends.append(self._moment(text_of(scope.get(name))))
                    except ValueError:
                        ends.append(None)
                begins, stops = (None if end is None else end.at for end in ends)
                return begins, stops, any(end is not None and end.local for end in ends)
        return None

    def _moment(self, text: str) -> Moment | None:
        found = moment(text, self.zone)
        if found is not None and (said := found.note()):
            self.gathered.note(said)
        return found


def _id(one: dict[str, Any]) -> str:
    return text_of(inner(one, "id").get("referenceId"))


def _unique(one: dict[str, Any], source: str) -> str:
    """An id of an object whose source ends in a word."""
    for _, found in objects(inner(one, "id").get("uniqueIds")):
        if text_of(found.get("idSource")).rpartition("/")[2].casefold() == source.casefold():
            return text_of(found.get("idText"))
    return ""


def _crop_names(one: dict[str, Any]) -> tuple[str, ...]:
    codes = [text_of(found.get("idText")) for _, found in objects(inner(one, "id").get("uniqueIds"))]
    eppo = [found.rpartition("/")[2] for found in codes if len(found.rpartition("/")[2]) == 5]
    return tuple(dict.fromkeys(name for name in (*eppo, text_of(one.get("name"))) if name))


def _items(one: dict[str, Any]) -> list[dict[str, Any]]:
    return [found for _, found in objects(one.get("contextItems"))]


FORMAT = Format("adapt", "document of the ADAPT Standard (adapt.json)", _knows, _read)
