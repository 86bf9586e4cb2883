"""XML from outside: no document type, no entities, no network, bounded in every way."""

from __future__ import annotations

import re

from lxml import etree

from api.exchange.reading.nouns import NotRead

MOST_BYTES = 64 * 1024 * 1024
MOST_TAGS = 1_500_000
"""Tags are what costs memory: each takes some hundred bytes."""
ENCODINGS = (
    "utf-8",
    "utf-16",
    "utf-16le",
    "utf-16be",
    "us-ascii",
    "ascii",
    "iso-8859-1",
    "iso-8859-15",
    "windows-1252",
)
"""In each of these a document type can be seen by its bytes."""
_DECLARED = re.compile(rb"""<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]*)["']""")
_DOCTYPE = re.compile(rb"<!(DOCTYPE|ENTITY)", re.IGNORECASE)


def read_xml(shown: str, content: bytes) -> etree._Element:
    """The root of an XML document. Raises NotRead."""
    if not content.strip(b"\0 \t\r\n"):
        raise NotRead(shown, "is empty", "Export it again")
    if len(content) > MOST_BYTES:
        raise NotRead(shown, f"is longer than {MOST_BYTES:,} bytes", "Send fewer machines or tasks at once")
    plain = content.replace(b"\0", b"") if b"\0" in content[:200] else content
    declared = _DECLARED.search(plain[:300])
    if declared and declared[1].decode().lower() not in ENCODINGS:
        raise NotRead(shown, f"is in the encoding '{declared[1].decode()[:40]}'", "Save it as UTF-8")
    if _DOCTYPE.search(plain):
        raise NotRead(shown, "holds a document type or an entity", "These formats have none; it may be an attack")
    if plain.count(b"<") > MOST_TAGS:
        raise NotRead(shown, f"holds more than {MOST_TAGS:,} tags", "Send fewer machines or tasks at once")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(content, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        line = getattr(error, "lineno", 0) or 0
        where = f"{shown}, line {line}" if line else shown
        said = str(error).split(", line")[0][:200]
        raise NotRead(where, f"is not whole XML: {said}", "Export it again; the file may be cut off") from None
    return root


def local(element: etree._Element) -> str:
    """An element's name without its namespace."""
    return str(etree.QName(element).localname)


def children(element: etree._Element, name: str) -> list[etree._Element]:
    """Children of a name, whatever their namespace."""
    return [one for one in element if local(one) == name]


def child_text(element: etree._Element, name: str) -> str:
    """Text of the first child of a name, '' for none."""
    return next(((one.text or "").strip() for one in children(element, name)), "")


def place_of(shown: str, element: etree._Element) -> str:
    """Where an element stands."""
    return f"{shown}, line {element.sourceline}"
