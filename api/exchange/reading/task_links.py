"""Links of ISO 11783-10, version 4: what objects of a set of task data are called in other systems (LINKLIST.XML).

The root ``ISO11783LinkList`` has groups. LGP group: A id, B type (1: UUIDs, 2: of one maker's own, 3: URIs that are
unique, 4: URIs that tell something), C the maker's GLN, D namespace, E designator. LNK link: A the object's id in the
task data, B value, C designator. A link says which record of which system an object is, so of a machine it proves
nothing; but a group whose namespace ends in PIN gives product identification numbers, which are looked at as such.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from uuid import UUID

from api.exchange.reading.files import Files
from api.exchange.reading.nouns import Gathered, NotRead, SystemId
from api.exchange.reading.xml_text import children, local, place_of, read_xml

NAME = "LINKLIST.XML"
ROOT = "ISO11783LinkList"
UUIDS, OWN, UNIQUE, TELLING = "1", "2", "3", "4"
PIN = "pin"
MOST_LINKS = 100_000
_ENDS = re.compile(r"[/:#.]")
_EPPO = re.compile(r"(?:^|[/:#.=])([0-9A-Z]{5,6})/?$")


@dataclass(frozen=True, slots=True)
class Link:
    """One link of an object.

    Attributes:
        issuer: within what the value is unique, '' for the world.   value: as it is written.
    """

    kind: str
    issuer: str
    value: str

    def is_pin(self) -> bool:
        """Whether it gives a product identification number."""
        return _ENDS.split(self.issuer.rstrip("/"))[-1].casefold() == PIN

    def eppo(self) -> str:
        """The EPPO code that it gives, '' for none."""
        if "eppo" not in f"{self.issuer} {self.value}".casefold():
            return ""
        found = _EPPO.search(self.value.upper())
        return found[1] if found else ""


def read_links(files: Files, folder: str, gathered: Gathered) -> Mapping[str, tuple[Link, ...]]:
    """Links by the ids of objects, none where the set has no list. A list that can't be read is a row that is wrong."""
    path = files.find(folder, NAME)
    if path is None:
        return MappingProxyType({})
    try:
        root = read_xml(path, files.read(path))
    except NotRead as error:
        gathered.refuse(path, error.why, error.advice)
        return MappingProxyType({})
    if local(root) != ROOT:
        said = f"is XML of another kind (root element {local(root)[:60]})"
        gathered.refuse(path, said, f"A list of links begins with {ROOT}")
        return MappingProxyType({})
    found: dict[str, list[Link]] = {}
    count = 0
    for group in children(root, "LGP"):
        kind = (group.get("B") or "").strip()
        if kind not in (UUIDS, OWN, UNIQUE, TELLING):
            gathered.refuse(place_of(path, group), f"is a group of links of type '{kind[:10]}'", "Types are 1 to 4")
            continue
        issuer = (group.get("D") or "").strip() or (group.get("C") or "").strip()
        for one in children(group, "LNK"):
            count += 1
            if count > MOST_LINKS:
                raise NotRead(path, f"holds more than {MOST_LINKS:,} links", "Send it in parts")
            object, value = (one.get("A") or "").strip().upper(), (one.get("B") or "").strip()
            if not object or not value:
                gathered.refuse(place_of(path, one), "is a link without object or value", "Export the set again")
                continue
            if kind == UUIDS and _uuid(value) is None:
                gathered.refuse(place_of(path, one), f"has '{value[:40]}' for a UUID", "Export the set again")
                continue
            found.setdefault(object, []).append(Link(kind, issuer, value))
    return MappingProxyType({object: tuple(links) for object, links in found.items()})


def system_ids(links: tuple[Link, ...], origin: str) -> tuple[SystemId, ...]:
    """What a machine is called in other systems by its links. URIs that only tell something are no ids.

    Args:
        origin: what the task data say that they come from; ids of a group that names no issuer are unique within it.
    """
    found = []
    for one in links:
        if one.kind == UUIDS:
            found.append(SystemId("", str(_uuid(one.value))))
        elif one.kind == UNIQUE and not one.is_pin():
            found.append(SystemId(one.issuer, one.value))
        elif one.kind == OWN and not one.is_pin() and (issuer := one.issuer or origin):
            found.append(SystemId(issuer, one.value))
    return tuple(dict.fromkeys(found))


def _uuid(text: str) -> UUID | None:
    """A UUID of RFC 9562 in any of its usual forms, None for none."""
    try:
        return UUID(text)
    except ValueError:
        return None
