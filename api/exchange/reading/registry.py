"""The formats that can be read: every module of ``formats`` that defines FORMAT."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from zoneinfo import ZoneInfo

from api.exchange.reading import formats
from api.exchange.reading.files import Files
from api.exchange.reading.nouns import NotRead, Read


@dataclass(frozen=True, slots=True)
class Format:
    """A format that can be read.

    Attributes:
        name: the module's name with hyphens.   says: what it is, in a line.
        knows: whether the files look like it; asked in order of ``name``, and must be quick.
        read: reads the files with the text of a mapping file, '' for none, and the time zone of clocks whose times
            have no offset, None for not known. Raises NotRead.
    """

    name: str
    says: str
    knows: Callable[[Files], bool]
    read: Callable[[Files, bytes, ZoneInfo | None], Read]


@cache
def known() -> MappingProxyType[str, Format]:
    """Every format by name."""
    found: dict[str, Format] = {}
    for entry in pkgutil.iter_modules(formats.__path__):
        one = getattr(importlib.import_module(f"{formats.__name__}.{entry.name}"), "FORMAT", None)
        if not isinstance(one, Format) or one.name != entry.name.replace("_", "-"):
            raise TypeError(f"{entry.name}: FORMAT must be a Format named '{entry.name.replace('_', '-')}'")
        found[one.name] = one
    return MappingProxyType(found)


def format_of(files: Files, named: str = "") -> Format:
    """The named format, else the first that knows the files. Raises NotRead."""
    choices = ", ".join(known())
    if named:
        if named not in known():
            raise NotRead(files.name, f"'{named[:40]}' is no format", f"Choose one of {choices}")
        return known()[named]
    if not files.paths():
        raise NotRead(files.name, "holds no file", f"Formats that are read: {choices}")
    for one in known().values():
        if one.knows(files):
            return one
    raise NotRead(files.name, "is of no format that is read here", f"Name one if it is one of {choices}")
