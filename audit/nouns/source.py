"""Where a number or a rule comes from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Ground(Enum):
    """On what ground something is held to be true."""

    PUBLISHED = "published"
    MEMORY = "memory"
    COMMON_PRACTICE = "common practice"
    MACHINE_CARD = "machine card"
    DEFINITION = "definition"


@dataclass(frozen=True, slots=True)
class Source:
    """A handbook, standard, bulletin or paper."""

    key: str
    title: str
    by: str = ""
    edition: str = ""
    publisher: str = ""
    year: str = ""
    status: str = "read"


@dataclass(frozen=True, slots=True)
class Basis:
    """The ground of a rule or a number; ``source`` is a key of the sources file where one is named."""

    ground: Ground
    source: str = ""
    at: str = ""
    note: str = ""
