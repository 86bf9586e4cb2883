"""One set of ISO 11783-10 task data: its main file with the files that it refers to, elements by kind and id.

The child elements and attributes used here are those of versions 3 and 4 of the standard's schema:

DVC device: A id, B designator, C software, D NAME, E serial.  DET element: A id, B object, C type, D designator.
DOR reference: A object.  DPD process variable: A object, B entry.  DPT fixed value: A object, B entry, C value.
CTP crop: A id, B designator.  PFD field: A id, C designator, G crop.  PDT product: A id, B designator, C group.
PGP group: A id, B designator, C kind (2: crop).  CPC practice: A id, B designator.
TSK task: A id, B designator, E field, G state.  TIM time: A from, B to, D kind; DLV value: A entry, B value, C element.
DAN allocation: A NAME, B mask, C device.  PAN product: A product, D mode (2: emptying).  OTP practice: A practice.
TLG log: A file.  XFR file: A name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from zoneinfo import ZoneInfo

from lxml import etree

from api.exchange.reading.files import Files
from api.exchange.reading.nouns import Gathered, NotRead
from api.exchange.reading.task_links import Link, read_links
from api.exchange.reading.times import Moment, moment
from api.exchange.reading.xml_text import local, place_of, read_xml

MAIN = "TASKDATA.XML"
ROOT = "ISO11783_TaskData"
FURTHER = "XFC"
"""Root of a file that a main file refers to."""
VERSIONS = ("3", "4")


@dataclass(slots=True)
class TaskSet:
    """Elements of one set.

    Attributes:
        path: of the main file.   folder: where files that it names stand.
        zone: of the machine's clock, None for not known.
        links: what objects are called in other systems, by their ids.
        by_id: elements by their id; of several with one id the first, which is noted.
    """

    files: Files
    path: str
    folder: str
    origin: str
    version: str
    elements: list[tuple[str, etree._Element]]
    zone: ZoneInfo | None = None
    links: Mapping[str, tuple[Link, ...]] = field(default_factory=dict)
    by_id: dict[str, etree._Element] = field(default_factory=dict)

    def all(self, kind: str) -> Iterator[tuple[str, etree._Element]]:
        """Top elements of a kind, with their places."""
        return ((place_of(path, one), one) for path, one in self.elements if local(one) == kind)

    def moment(self, text: str, place: str, gathered: Gathered) -> Moment | None:
        """A time that an element gives, None where it gives none; what is to be known of it is noted."""
        try:
            found = moment(text, self.zone)
        except ValueError:
            gathered.note(f"{place}: '{text[:40]}' is no date and time.")
            return None
        if found is not None and (said := found.note()):
            gathered.note(said)
        return found

    def named(self, id: str | None, kind: str) -> etree._Element | None:
        """The element of an id and kind, None where the reference leads nowhere."""
        found = self.by_id.get(plain_id(id or ""))
        return found if found is not None and local(found) == kind else None


def plain_id(text: str) -> str:
    """An id as it is compared."""
    return text.strip().upper()


def mains(files: Files) -> list[str]:
    """Paths of every main file, its name in any case and in any folder."""
    return [path for path in files.paths() if PurePosixPath(path).name.casefold() == MAIN.casefold()]


def read_set(files: Files, path: str, gathered: Gathered, zone: ZoneInfo | None = None) -> TaskSet:
    """A main file and those that it refers to. Raises NotRead."""
    root = read_xml(path, files.read(path))
    if local(root) != ROOT:
        raise NotRead(path, f"is XML of another kind (root element {local(root)[:60]})", f"Task data begin with {ROOT}")
    version = root.get("VersionMajor") or ""
    if version not in VERSIONS:
        raise NotRead(path, f"is of version '{version[:10]}'", "Versions 3 and 4 are read; export it as one of these")
    folder = str(PurePosixPath(path).parent)
    elements = [(path, one) for one in root]
    for link in [one for one in root if local(one) == "XFR"]:
        name = (link.get("A") or "").strip()
        found = files.find(folder, name if name.casefold().endswith(".xml") else f"{name}.XML")
        if found is None:
            gathered.refuse(
                place_of(path, link), f"refers to {name[:40]}, which is not there", "Send all files of the set"
            )
            continue
        further = read_xml(found, files.read(found))
        if local(further) != FURTHER:
            gathered.refuse(
                found, f"is XML of another kind (root element {local(further)[:60]})", "Export the set again"
            )
            continue
        elements += [(found, one) for one in further]
    made = TaskSet(files, path, folder, _origin(root), version, elements, zone, read_links(files, folder, gathered))
    for where, element in elements:
        for one in element.iter():
            id = plain_id(one.get("A") or "")
            if not _is_id(local(one), id):
                continue
            if id in made.by_id:
                gathered.refuse(
                    place_of(where, one), f"has the id {id}, which another element has", "Export the set again"
                )
            else:
                made.by_id[id] = one
    return made


def _is_id(kind: str, id: str) -> bool:
    """Whether attribute A is an id of this kind of element (an allocation's A is a NAME, a time's a time)."""
    return len(kind) == 3 and id.startswith(kind) and id[3:].lstrip("-").isdigit()


def _origin(root: etree._Element) -> str:
    said = (root.get("ManagementSoftwareManufacturer"), root.get("TaskControllerManufacturer"))
    return next((one.strip() for one in said if one and one.strip()), "")
