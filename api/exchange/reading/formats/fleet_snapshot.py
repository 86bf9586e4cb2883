"""Snapshots of a fleet that are compatible with ISO/TS 15143-3: machines, operating hours, fault codes, as XML or JSON.

The standard's scope is earth-moving machines; farm fleets use it by convention. Names of elements are the standard's.
Senders differ in namespaces and in where they put times, so names are matched without namespace, and times are taken
from an attribute or a child of any of the names that are in use. What is not known is passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from lxml import etree

from api.exchange.reading.files import Files
from api.exchange.reading.json_text import begins_as_json, inner, objects, read_object, text_of
from api.exchange.reading.nouns import Gathered, HourReading, MachineFault, NotRead, Read, ReadUnit
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
    """One machine, whatever the syntax: looks up texts by element and child.

    Attributes:
        each: of every element of a name, how its children's texts are looked up, and its time.
    """

    place: str
    text: Callable[[str, str], str]
    has: Callable[[str], bool]
    time: Callable[[str], str]
    each: Callable[[str], Iterable[tuple[Callable[[str], str], str]]]


def _knows(files: Files) -> bool:
    return 0 < len(files.paths()) <= MOST_PAGES and all(_is_page(files.read(path)[:4096]) for path in files.paths())


def _is_page(head: bytes) -> bool:
    plain = head.replace(b"\0", b"")
    return b"Fleet" in plain if plain.lstrip(b"\xef\xbb\xbf\xff\xfe \r\n\t")[:1] == b"<" else b'"Equipment' in plain


def _read(files: Files, _: bytes, zone: ZoneInfo | None) -> Read:
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
            _machine(line, gathered, zone)
    if len(files.paths()) > 1:
        after = ""  # the pages are all here
    if not gathered.units and not gathered.rows:
        gathered.note("The snapshot holds no machine.")
    return gathered.read(next=after)


def _xml_lines(path: str, content: bytes) -> tuple[Iterator[_Line], str]:
    root = read_xml(path, content)
    if local(root) == "Equipment":
        return iter([_xml_line(path, root)]), ""
    if local(root).endswith("Messages"):
        what = local(root).removesuffix("Messages")
        raise NotRead(path, f"is a time series of {what[:60]}, which names no machine", _EXPORT)
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
        return "" if found is None else _xml_time(found)

    def each(name: str) -> Iterator[tuple[Callable[[str], str], str]]:
        return ((partial(child_text, one), _xml_time(one)) for one in children(element, name))

    return _Line(place_of(path, element), text, lambda name: first(name) is not None, time, each)


def _xml_time(element: etree._Element) -> str:
    given = (str(element.get(key) or "").strip() or child_text(element, key) for key in TIMES)
    return next((one for one in given if one), "")


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
    def each(name: str) -> Iterator[tuple[Callable[[str], str], str]]:
        found = one.get(name)
        for _, part in objects(found if isinstance(found, list) else [found]):
            yield partial(_json_text, part), _json_time(part)

    return _Line(
        place,
        lambda name, child: text_of(inner(one, name).get(child)),
        lambda name: isinstance(one.get(name), dict),
        lambda name: _json_time(inner(one, name)),
        each,
    )


def _json_text(part: dict[str, Any], child: str) -> str:
    return text_of(part.get(child))


def _json_time(part: dict[str, Any]) -> str:
    return next((found for key in TIMES if (found := text_of(part.get(key)))), "")


def _next(links: list[tuple[str, str]]) -> str:
    """The next page; '' where it is the page itself, as some senders write one address for every relation."""
    by_relation = {rel.casefold(): href for rel, href in links if href}
    here = by_relation.get("self") or by_relation.get("current") or ""
    found = by_relation.get("next", "")
    return "" if found == here else found


def _machine(line: _Line, gathered: Gathered, zone: ZoneInfo | None) -> None:
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
        hours = _hours(line, gathered, zone)
    except ValueError as error:
        gathered.refuse(line.place, str(error), "Ask the sender; the machine was not changed")
        return
    gathered.units.append(
        ReadUnit(
            place=line.place, key=header["EquipmentID"] or header["PIN"], pin=header["PIN"],
            maker=header["OEMName"] or header["Make"], type=header["Model"], serial=header["SerialNumber"],
            fleet_number=header["EquipmentID"], hours=hours, faults=tuple(_faults(line, gathered, zone)),
        )
    )  # fmt: skip


def _faults(line: _Line, gathered: Gathered, zone: ZoneInfo | None) -> Iterator[MachineFault]:
    """Fault codes that the machine tells. Names of their members are from memory: no open source of them was found."""
    for text, written in line.each("FaultCode"):
        code, says = text("CodeIdentifier"), text("CodeDescription")
        if not code and not says:
            gathered.note(f"{line.place}: a fault code has neither CodeIdentifier nor CodeDescription; it is left out.")
            continue
        try:
            found = moment(written, zone)
        except ValueError:
            gathered.note(f"{line.place}: '{written[:40]}' is no date and time of a fault code.")
            found = None
        if found is not None and (said := found.note()):
            gathered.note(said)
        at, unplaced = (None, False) if found is None else (found.at, found.local)
        yield MachineFault(code, says, text("CodeSeverity"), text("CodeSource"), at, unplaced)


def _hours(line: _Line, gathered: Gathered, zone: ZoneInfo | None) -> HourReading | None:
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
        found: Moment | None = moment(written, zone)
    except ValueError:
        raise ValueError(f"has '{written[:40]}' for the time of its hours, which is no date and time") from None
    if found is not None and (said := found.note()):
        gathered.note(said)  # the standard has UTC, but who left the offset out may have left UTC, too
    return HourReading(hours, None if found is None else found.at, found is not None and found.local)


FORMAT = Format("fleet-snapshot", "fleet snapshot compatible with ISO/TS 15143-3, XML or JSON", _knows, _read)
