"""The kinds of drive, shaft and part that exist: every module of audit/drives and audit/parts that defines KIND."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from types import MappingProxyType, ModuleType

import audit.drives
import audit.parts
from audit.nouns.kind import Kind


def _found(package: ModuleType) -> dict[str, Kind]:
    kinds: dict[str, Kind] = {}
    for entry in pkgutil.iter_modules(package.__path__):
        kind = getattr(importlib.import_module(f"{package.__name__}.{entry.name}"), "KIND", None)
        if kind is None:
            continue
        if not isinstance(kind, Kind) or kind.name != entry.name:
            raise TypeError(f"{package.__name__}.{entry.name}: KIND must be a Kind named '{entry.name}'")
        kinds[kind.name] = kind
    return kinds


@cache
def drive_kinds() -> MappingProxyType[str, Kind]:
    """Drive kinds by name."""
    kinds = _found(audit.drives)
    for kind in kinds.values():
        if kind.carry is None:
            raise TypeError(f"drive kind '{kind.name}' does not say how it carries speed")
    return MappingProxyType(kinds)


@cache
def part_kinds() -> MappingProxyType[str, Kind]:
    """Shaft and part kinds by name."""
    return MappingProxyType(_found(audit.parts))


def families() -> frozenset[str]:
    """Every name under which a rule may ask for components."""
    return frozenset(
        family for kinds in (drive_kinds(), part_kinds()) for kind in kinds.values() for family in kind.families
    )
