"""Snapshots of a fleet that are compatible with ISO/TS 15143-3: machines and their operating hours, as XML or JSON.

The standard's scope is earth-moving machines; farm fleets use it by convention. Names of elements are the standard's.
Senders differ in namespaces and in where they put times, so names are matched without namespace, and times are taken
from an attribute or a child of any of the names that are in use. What is not known is passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from lxml import etree

from api.exchange.reading.files import Files
from api.exchange.reading.json_text import begins_as_json, inner, objects, read_object, text_of
from api.exchange.reading.nouns import Gathered, HourReading, NotRead, Read, ReadUnit
from api.exchange.reading.registry import Format
from api.exchange.reading.times import Moment, moment
from api.exchange.reading.xml_text import child_text, children, local, place_of, read_xml

TIMES = ("datetime", "dateTime", "Datetime", "DateTime", "Timestamp", "timestamp")
"""Names under which senders give a time."""
MOST_MACHINES = 10_000
MOST_PAGES = 200
"""Files of one archive or folder, each a page."""
_EXPORT = "Export a fleet snapshot (root element Fleet) from the system"


@dataclass(frozen=True, slots=True)
class _Line:
    """One machine, whatever the syntax: looks up texts by element and child."""

    place: str
    text: Callable[[str, str], str]
    has: Callable[[str], bool]
    time: Callable[[str], str]


def _knows(files: Files) -> bool:
    return 0 < len(files.paths()) <= MOST_PAGES and all(_is_page(files.read(path)[:4096]) for path in files.paths())


def _is_page(head: bytes) -> bool:
    plain = head.replace(b"\0", b"")
    return b"Fleet" in plain if plain.lstrip(b"\xef\xbb\xbf\xff\xfe \r\n\t")[:1] == b"<" else b'"Equipment' in plain


def _read(files: Files, _: bytes) -> Read:
    gathered, after = Gathered(), ""
    for path in files.paths():
        content = files.read(path)
        if begins_as_json(content):
            lines, after = _json_lines(path, content)
        else:
            lines, after = _xml_lines(path, content)
        for number, line in enumerate(lines, 1):
            if number > MOST_MACHINES:
                raise NotRead(path, f"holds more than {MOST_MACHINES:,} machines", "Send them in pages")
            _machine(line, gathered)
    if len(files.paths()) > 1:
        after = ""  # the pages are all here
    if not gathered.units and not gathered.rows:
        gathered.note("The snapshot holds no machine.")
    return gathered.read(next=after)


def _xml_lines(path: str, content: bytes) -> tuple[Iterator[_Line], str]:
    root = read_xml(path, content)
    if local(root) == "Equipment":
        return iter([_xml_line(path, root)]), ""
    if local(root) != "Fleet":
        raise NotRead(path, f"is XML of another kind (root element {local(root)[:60]})", _EXPORT)
    links = [(child_text(one, "rel"), child_text(one, "href")) for one in children(root, "Links")]
    return (_xml_line(path, one) for one in children(root, "Equipment")), _next(links)


def _xml_line(path: str, element: etree._Element) -> _Line:
    def first(name: str) -> etree._Element | None:
        return next(iter(children(element, name)), None)

    def text(name: str, child: str) -> str:
        found = first(name)
        return "" if found is None else child_text(found, child)

    def time(name: str) -> str:
        found = first(name)
        if found is None:
            return ""
        given = (str(found.get(key) or "").strip() or child_text(found, key) for key in TIMES)
        return next((one for one in given if one), "")

    return _Line(place_of(path, element), text, lambda name: first(name) is not None, time)


def _json_lines(path: str, content: bytes) -> tuple[Iterator[_Line], str]:
    value = read_object(path, content)
    if isinstance(value, list):  # a list of snapshots, or the machines themselves
        pages = [one for _, one in objects(value) if "Equipment" in one]
        machines: Any = [unit for page in pages for _, unit in objects(page["Equipment"])] if pages else value
        links = [one for page in pages for _, one in objects(page.get("Links"))]
    elif isinstance(value, dict) and ("Equipment" in value or "Fleet" in value):
        fleet = value if "Equipment" in value else inner(value, "Fleet")
        machines, links = fleet.get("Equipment"), [one for _, one in objects(fleet.get("Links"))]
    else:
        raise NotRead(path, "is JSON of another kind (no member Equipment)", _EXPORT)
    pairs = [(text_of(one.get("rel")), text_of(one.get("href"))) for one in links]
    return (_json_line(f"{path}, Equipment {number}", one) for number, one in objects(machines)), _next(pairs)


def _json_line(place: str, one: dict[str, Any]) -> _Line:
    def time(name: str) -> str:
        return next((found for key in TIMES if (found := text_of(inner(one, name).get(key)))), "")

    return _Line(
        place,
        lambda name, child: text_of(inner(one, name).get(child)),
        lambda name: isinstance(one.get(name), dict),
        time,
    )


def _next(links: list[tuple[str, str]]) -> str:
    """The next page; '' where it is the page itself, as some senders write one address for every relation."""
    by_relation = {rel.casefold(): href for rel, href in links if href}
    here = by_relation.get("self") or by_relation.get("current") or ""
    found = by_relation.get("next", "")
    return "" if found == here else found


def _machine(line: _Line, gathered: Gathered) -> None:
    if not line.has("EquipmentHeader"):
        gathered.refuse(line.place, "has no EquipmentHeader, so nobody knows which machine it is", "Ask the sender")
        return
    header = {
        name: line.text("EquipmentHeader", name)
        for name in ("OEMName", "Make", "Model", "EquipmentID", "SerialNumber", "PIN")
    }
    if not any(header[name] for name in ("EquipmentID", "SerialNumber", "PIN")):
        gathered.refuse(line.place, "has no PIN, serial number or equipment id", "Ask the sender")
        return
    try:
        hours = _hours(line, gathered)
    except ValueError as error:
        gathered.refuse(line.place, str(error), "Ask the sender; the machine was not changed")
        return
    gathered.units.append(
        ReadUnit(
            place=line.place, key=header["EquipmentID"] or header["PIN"], pin=header["PIN"],
            maker=header["OEMName"] or header["Make"], type=header["Model"], serial=header["SerialNumber"],
            fleet_number=header["EquipmentID"], hours=hours,
        )
    )  # fmt: skip


def _hours(line: _Line, gathered: Gathered) -> HourReading | None:
    """Operating hours, None where it gives none. Raises ValueError."""
    said = line.text("CumulativeOperatingHours", "Hour")
    if not said:
        return None
    try:
        hours = float(said)
    except ValueError:
        raise ValueError(f"has '{said[:40]}' for operating hours, which is no number") from None
    written = line.time("CumulativeOperatingHours")
    try:
        found: Moment | None = moment(written)
    except ValueError:
        raise ValueError(f"has '{written[:40]}' for the time of its hours, which is no date and time") from None
    if found is not None and found.local:
        gathered.note("Times without an offset are read as UTC, as the standard has them.")
    return HourReading(hours, None if found is None else found.at, found is not None and found.local)


FORMAT = Format("fleet-snapshot", "fleet snapshot compatible with ISO/TS 15143-3, XML or JSON", _knows, _read)
