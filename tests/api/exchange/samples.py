"""Files as farm systems write them, made up for the tests: invented machines of an invented co-op.

Element, attribute and member names are those of the standards: ISO/TS 15143-3, ISO 11783-10, ADAPT Standard 2.
"""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

NAMESPACES = ("http://standards.iso.org/iso/15143/-3", "http://www.jcmanet.or.jp/english2017/ISO/15143/-3/20190501")
"""Both are in use."""
NAME = "A00E840000012345"
"""Industry group 2, device class 7, function 132, manufacturer 0 (reserved), identity number 74565."""


def machine(
    id: str = "Unit 07", serial: str = "U07-000482", pin: str = "XXXMDA1AC00000482", hours: object = 1482.35,
    at: str = "2026-05-31T17:40:10Z", maker: str = "Sample Works", type: str = "Type A",
) -> dict[str, Any]:  # fmt: skip
    """One machine of a snapshot, as JSON has it; what is None is left out."""
    header = {"OEMName": maker, "Model": type, "EquipmentID": id, "SerialNumber": serial, "PIN": pin}
    found: dict[str, Any] = {"EquipmentHeader": {name: value for name, value in header.items() if value}}
    if hours is not None:
        found["CumulativeOperatingHours"] = {"Hour": hours, "datetime": at}
    return found


def snapshot_json(machines: Sequence[Mapping[str, Any]], links: Sequence[tuple[str, str]] = ()) -> bytes:
    """A snapshot as JSON."""
    found = {"Links": [{"rel": rel, "href": href} for rel, href in links], "Equipment": list(machines)}
    return json.dumps(found, ensure_ascii=False).encode()


def snapshot_xml(
    machines: Sequence[Mapping[str, Any]], links: Sequence[tuple[str, str]] = (), namespace: str = NAMESPACES[0],
    time: str = "attribute datetime",
) -> bytes:  # fmt: skip
    """A snapshot as XML, with its times in one of the places where senders put them."""
    how, name = time.split()
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', f'<Fleet xmlns="{namespace}" version="1">']
    lines += [f"<Links><rel>{rel}</rel><href>{href}</href></Links>" for rel, href in links]
    for one in machines:
        lines.append("<Equipment>")
        if "EquipmentHeader" in one:
            header = "".join(f"<{key}>{value}</{key}>" for key, value in one["EquipmentHeader"].items())
            lines.append(f"<EquipmentHeader>{header}</EquipmentHeader>")
        if hours := one.get("CumulativeOperatingHours"):
            at = hours["datetime"]
            attribute, child = (f' {name}="{at}"', "") if how == "attribute" else ("", f"<{name}>{at}</{name}>")
            lines.append(
                f"<CumulativeOperatingHours{attribute}><Hour>{hours['Hour']}</Hour>{child}</CumulativeOperatingHours>"
            )
        lines.append("</Equipment>")
    return "\n".join([*lines, "</Fleet>"]).encode()


def task_data(version: str = "4", more: str = "", tasks: str = "", devices: str = "", name: str = NAME) -> bytes:
    """Task data with one combine, one tractor, two crops and one planned harvest."""
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="{version}" VersionMinor="3" ManagementSoftwareManufacturer="Example Farm Office"
 ManagementSoftwareVersion="1.0" DataTransferOrigin="1">
 <CTP A="CTP1" B="TRZAX Winter wheat" C="PGP1"/>
 <CTP A="CTP2" B="Raps"/>
 <CTR A="CTR1" B="Sample grower"/>
 <DVC A="DVC1" B="Unit 07" C="4.2.0" D="{name}" E="U07-000482" F="53455455503031" G="FF000000006E65">
  <DET A="DET1" B="1" C="1" D="Combine" E="0" F="0"><DOR A="10"/><DOR A="20"/></DET>
  <DET A="DET2" B="2" C="2" D="Threshing" E="1" F="1"><DOR A="11"/><DOR A="21"/></DET>
  <DET A="DET3" B="3" C="2" D="Cleaning" E="2" F="1"><DOR A="12"/></DET>
  <DPD A="10" B="01ED" C="0" D="16" E="Lifetime engine hours" F="30"/>
  <DPD A="11" B="00FB" C="1" D="1" E="Actual concave clearance" F="31"/>
  <DPD A="12" B="00FF" C="1" D="1" E="Actual fan speed"/>
  <DPT A="20" B="00B3" C="8" D="Cultural practice"/>
  <DPT A="21" B="00F7" C="14" D="Chaffer" E="31"/>
  <DVP A="30" B="0" C="0.1" D="1" E="h"/>
  <DVP A="31" B="0" C="1.0" D="0" E="mm"/>
 </DVC>
 <DVC A="DVC2" B="Tractor" C="1" D="A002840000012346" F="53455455503031" G="FF000000006E65">
  <DET A="DET4" B="1" C="1" D="Tractor" E="0" F="0"/>
 </DVC>
 {devices}
 <FRM A="FRM1" B="Home farm" I="CTR1"/>
 <PFD A="PFD1" C="North 40" D="161874" E="CTR1" F="FRM1" G="CTP1"/>
 <PDT A="PDT1" B="Wheat grain" C="PGP1" E="005A"/>
 <PGP A="PGP1" B="Wheat" C="2"/>
 <CPC A="CPC1" B="Harvesting"/>
 <TSK A="TSK1" B="Harvest North 40" C="CTR1" D="FRM1" E="PFD1" G="1">
  <TIM A="2026-07-20T06:00:00" B="2026-07-20T18:00:00" D="1"/>
  <OTP A="CPC1"/>
  <DAN A="{name}" C="DVC1"/>
  <PAN A="PDT1" D="2"/>
 </TSK>
 <TSK A="TSK2" B="Drilling" G="1"><DAN A="A002840000012346" C="DVC2"/></TSK>
 <TSK A="TSK3" B="Last year" G="4">
  <TIM A="2026-05-20T06:00:00" B="2026-05-20T18:00:00" D="4">
   <DLV A="01ED" B="14820" C="DET1"/><DLV A="00FB" B="12" C="DET2"/><DLV A="00FF" B="15000" C="DET3"/>
  </TIM>
 </TSK>
 {tasks}{more}
</ISO11783_TaskData>
""".encode()


LOG_TEMPLATE = b"""<?xml version="1.0" encoding="UTF-8"?>
<TIM A="" D="4"><PTN A="" B="" D=""/>
 <DLV A="01ED" B="" C="DET1"/><DLV A="0001" B="" C="DET1"/><DLV A="00FB" B="" C="DET2"/>
</TIM>
"""


def log_record(day: int, clock: int, values: Sequence[tuple[int, int]]) -> bytes:
    """One record of ``LOG_TEMPLATE``: north, east and status of the position, then pairs of variable and value."""
    pairs = b"".join(struct.pack("<Bi", *pair) for pair in values)
    return struct.pack("<IHiiBB", clock, day, 499001000, -971402000, 1, len(values)) + pairs


def zipped(files: Mapping[str, bytes], stored: bool = False) -> bytes:
    """An archive."""
    found = io.BytesIO()
    with zipfile.ZipFile(found, "w", zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return found.getvalue()


def adapt(**changes: Any) -> bytes:
    """An ADAPT document with one combine, one crop and one planned harvest."""
    code = "EXAMPLE.CONCAVE_CLEARANCE"
    hours = "EXAMPLE.ENGINE_HOURS"
    when = [{"dateContextCode": "CALIBRATION", "start": "2026-05-20T08:00:00Z"}]
    found: dict[str, Any] = {
        "rootSchemaVersion": "2.0.2",
        "catalog": {
            "manufacturers": [{"id": {"referenceId": "mk1"}, "name": "Sample Works"}],
            "brands": [{"id": {"referenceId": "b1"}, "name": "Sample", "manufacturerId": "mk1"}],
            "fields": [{"id": {"referenceId": "fld1"}, "name": "North 40", "farmId": "f1"}],
            "cropZones": [{"id": {"referenceId": "z1"}, "name": "whole", "fieldId": "fld1", "cropId": "c1"}],
            "crops": [
                {
                    "id": {
                        "referenceId": "c1",
                        "uniqueIds": [
                            {"idText": "TRZAX", "idTypeCode": "STRING", "idSource": "https://gd.eppo.int", "idSourceTypeCode": "URI"}
                        ],
                    },
                    "name": "Winter wheat",
                }
            ],
            "deviceModels": [{"id": {"referenceId": "m1"}, "name": "Type A", "brandId": "b1"}],
            "devices": [
                {
                    "id": {"referenceId": "d1"}, "name": "Unit 07", "deviceModelId": "m1", "serialNumber": "U07-000482",
                    "contextItems": [
                        {"definitionCode": code, "valueText": "12", "timeScopes": when},
                        {"definitionCode": hours, "valueText": "1482.4", "timeScopes": when},
                    ],
                },
                {"id": {"referenceId": "d2"}, "name": "Sprayer"},
            ],
            "customDataTypeDefinitions": [
                {"definitionCode": code, "name": "Concave clearance", "dataDefinitionBaseTypeCode": "NUMERIC", "dataDefinitionStatusCode": "VALID", "scopes": ["DEVICE"], "numericDataTypeDefinitionAttributes": {"numericDataTypeCode": "DOUBLE", "unitOfMeasureCode": "mm"}},
                {"definitionCode": hours, "name": "Engine hours", "dataDefinitionBaseTypeCode": "NUMERIC", "dataDefinitionStatusCode": "VALID", "scopes": ["DEVICE"], "numericDataTypeDefinitionAttributes": {"numericDataTypeCode": "DOUBLE", "unitOfMeasureCode": "hr"}},
            ],
        },
        "documents": {
            "workOrders": [
                {
                    "id": {"referenceId": "w1"}, "name": "Harvest North 40", "fieldId": "fld1", "cropZoneId": "z1",
                    "timeScopes": [{"dateContextCode": "PROPOSED", "start": "2026-07-20T06:00:00Z", "end": "2026-07-20T18:00:00Z"}],
                    "operations": [
                        {"id": {"referenceId": "o1"}, "name": "Harvest", "operationTypeCode": "HARVEST", "deviceConfiguration": {"deviceId": "d1"}}
                    ],
                }
            ]
        },
    }  # fmt: skip
    return json.dumps({**found, **changes}).encode()
