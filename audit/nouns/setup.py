"""What was found or left on one unit for one job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from audit.nouns.quantity import Sided, Value


@dataclass(frozen=True, slots=True)
class Unit:
    """One physical machine."""

    id: str
    card: str
    serial: str = ""
    build_year: int | None = None
    fitted: tuple[tuple[str, str], ...] = ()
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """When, by whom and in which state the setup was taken."""

    at: str = ""
    by: str = ""
    state: str = ""


@dataclass(frozen=True, slots=True)
class Setup:
    """A setup with every value in canonical form.

    Attributes:
        values: by quantity name: settings, readings, events, job, unit and build; a sided quantity has a pair.
            What is not here is not known.
        given: the text that the input gave for a value, by the same names; for showing only.
    """

    unit: Unit
    crop: str
    header_kind: str
    taken: Taken
    values: Mapping[str, Value | Sided]
    given: Mapping[str, str]
