"""The quick way from a line of JSON to canonical values: typed decoding and one look-up per value.

Each input has a table from the value as written to its canonical form, filled by the plain reader; programs and people
write few different values, so nearly every reading is one look-up. Whatever the quick way does not take as it stands
(an unknown key, a wrong unit, a value twice) raises, and the caller reads the line again in the plain way, which says
what is wrong and where.
"""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Annotated, Any, Literal

import msgspec
from msgspec.structs import astuple
from numpy import count_nonzero, frombuffer, uint8

from audit.intake.setups import HEADER_KEYS, JOB_KEYS, STATES, UNIT_KEYS, VALUE_SECTIONS
from audit.intake.values import ValueReader
from audit.measures import find_unit
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value

MOST_REMEMBERED = 2048


class NotQuick(Exception):
    """The quick way does not take this line as it stands."""


class _Within(threading.local):
    """Objects inside the settings, readings and jobs that this thread has decoded since it last looked."""

    def __init__(self) -> None:
        self.found: list[msgspec.Struct] = []


_within = _Within()
_making = threading.Lock()
"""One decoder is made at a time. Types that decoders share are worked out by the first; one that was made meanwhile
took them half worked out, and the process crashed when it decoded."""


_TEXT = Annotated[str, msgspec.Meta(min_length=1)]
"""A text that stands for itself; whether an empty one does depends on its key, which the plain way knows."""


class Inner(msgspec.Struct, frozen=True, gc=False):
    """What may stand as an object inside another; it makes itself known as it is decoded.

    Like all that a line is decoded to it can hold no cycle, so that the collector need not look at it.
    """

    def __post_init__(self) -> None:
        _within.found.append(self)


class Number(Inner, frozen=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    """A number with its unit and instrument, or the two sides of one."""

    value: _TEXT | int | float | None = None
    unit: _TEXT | None = None
    with_: _TEXT | None = msgspec.field(default=None, name="with")
    left: _TEXT | int | float | Number | None = None
    right: _TEXT | int | float | Number | None = None


class Word(Inner, frozen=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    """A word, or the two sides of one."""

    value: _TEXT | None = None
    with_: _TEXT | None = msgspec.field(default=None, name="with")
    left: _TEXT | None = None
    right: _TEXT | None = None


class YesNo(Inner, frozen=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    """Yes or no, or the two sides of it."""

    value: bool | None = None
    with_: _TEXT | None = msgspec.field(default=None, name="with")
    left: bool | None = None
    right: bool | None = None


_NUMBER = _TEXT | float | Number | None


class UnitIn(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    id: _TEXT
    card: _TEXT
    serial: _TEXT = ""
    build_year: int | None = None
    fitted: dict[_TEXT, _TEXT] | None = None
    owner: _TEXT = ""
    engine_hours: _NUMBER = None


class HeaderIn(Inner, frozen=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    kind: _TEXT | None = None
    width: _NUMBER = None
    rows: _NUMBER = None
    row_spacing: _NUMBER = None
    drive_speed: _NUMBER = None


class JobIn(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    crop: _TEXT
    condition: _TEXT | None = None
    header: HeaderIn | None = None
    ground_speed: _NUMBER = None
    grain_yield: _NUMBER = None
    hectares: _NUMBER = None
    seeds_per_kg: _NUMBER = None


class TakenIn(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    at: _TEXT = ""
    by: _TEXT = ""
    state: _TEXT = ""


NO_HEADER = HeaderIn()
NOT_TAKEN = TakenIn()


class Sides(msgspec.Struct, frozen=True):
    """Two sides that were not decoded but put together, from a column each."""

    left: str | int | float | bool | None
    right: str | int | float | bool | None


_UNIT, _JOB, _HEADER = (attrgetter(*keys) for keys in (UNIT_KEYS, JOB_KEYS, HEADER_KEYS))
ENVELOPE_NAMES = (*UNIT_KEYS.values(), *JOB_KEYS.values(), *HEADER_KEYS.values())
"""Quantities that unit, job and header hold."""


def envelope_values(unit: UnitIn, job: JobIn, header: HeaderIn) -> tuple[object, ...]:
    """Their values as written, in the order of ``ENVELOPE_NAMES``."""
    return (*_UNIT(unit), *_JOB(job), *_HEADER(header))


class Table(dict[object, Value | Sided]):
    """Canonical values of one quantity by the value as written."""

    def __init__(self, quantity: Quantity) -> None:
        super().__init__({None: (None, None) if quantity.sided else None})
        self.reader = ValueReader(quantity)

    def __missing__(self, written: object) -> Value | Sided:
        value = self.reader.read(_plain(written) if isinstance(written, msgspec.Struct) else written)
        if len(self) >= MOST_REMEMBERED:
            self.clear()
            self[None] = (None, None) if self.reader.quantity.sided else None
        self[written] = value
        return value


def _plain(written: msgspec.Struct) -> dict[str, object]:
    plain: dict[str, object] = msgspec.to_builtins(written)
    return plain


class NumberTable(Table):
    """The table of a quantity that is written as text or with its instrument; a bare number needs no look-up.

    Attributes:
        factor, offset: canonical = bare number × factor + offset.
    """

    def __init__(self, quantity: Quantity) -> None:
        super().__init__(quantity)
        unit = find_unit(quantity.unit, self.reader.dimension)
        self.factor, self.offset = unit.factor, unit.offset


class Tables:
    """The tables in use; quantities that are read alike share one, which keeps the working set small."""

    def __init__(self) -> None:
        self.found: dict[object, Table] = {}

    def of(self, quantity: Quantity, bounded: bool) -> Table:
        """The table of a quantity; ``bounded`` where the decoder has checked a bare number's bounds already."""
        kind = NumberTable if bounded and quantity.form is Form.NUMBER and not quantity.sided else Table
        alike = (kind, replace(quantity, name="", role=Role.READING, meaning="", how=""))
        found = self.found.get(alike)
        if found is None:
            found = self.found[alike] = kind(quantity)
        return found


class CardDecoder:
    """Decodes lines of one machine card, every setting and reading it has in a field of its own.

    Attributes:
        tables: by setting, reading and event, in the order of the result's fields, the table that its value needs;
            None where the field already holds the canonical value.
    """

    def __init__(self, names: Mapping[str, Quantity], tables: Tables) -> None:
        self.tables: dict[str, Table | None] = {}
        sections = [(section, self._section(section, role, names, tables)) for section, role in VALUE_SECTIONS.items()]
        envelope: list[tuple[str, Any, Any]] = [("unit", UnitIn, msgspec.NODEFAULT), ("job", JobIn, msgspec.NODEFAULT)]
        absent = [type_() for _, type_ in sections]
        envelope.append(("taken", TakenIn | None, None))
        envelope += [(name, type_, empty) for (name, type_), empty in zip(sections, absent, strict=True)]
        line = msgspec.defstruct("Line", envelope, forbid_unknown_fields=True, omit_defaults=True, gc=False)
        with _making:
            self._decode: Callable[[Line], Any] = msgspec.json.Decoder(line).decode

    def decode(self, line: Line) -> tuple[Any, list[msgspec.Struct]]:
        """A line decoded, and the objects that stood inside its settings, readings and job."""
        within: list[msgspec.Struct] = []
        _within.found = within
        return self._decode(line), within

    def _section(self, section: str, role: Role, names: Mapping[str, Quantity], tables: Tables) -> type[msgspec.Struct]:
        fields: list[tuple[str, Any, Any]] = []
        rename: dict[str, str] = {}
        for place, name in enumerate(name for name, quantity in names.items() if quantity.role is role):
            kind, needs_table = _type(names[name])
            fields.append((f"f{place}", kind | None, None))
            rename[f"f{place}"] = name
            self.tables[name] = tables.of(names[name], bounded=True) if needs_table else None
        return msgspec.defstruct(
            section.capitalize(), fields, rename=rename, forbid_unknown_fields=True, omit_defaults=True, gc=False,
            frozen=True,
        )  # fmt: skip


def _type(quantity: Quantity) -> tuple[Any, bool]:
    """Type of a field in JSON, and whether what is decoded must still be looked up."""
    if quantity.form is Form.NUMBER:
        # bounds are checked as the number is decoded; the rounding that the plain way allows is left to it
        bare = Annotated[float, msgspec.Meta(ge=quantity.lowest, le=quantity.highest)]
        return bare | _TEXT | Number, True
    if quantity.form is Form.TIME:
        return _TEXT, True
    if quantity.form is Form.YES_NO:
        return (bool | YesNo, True) if quantity.sided else (bool, False)
    if quantity.sided or not quantity.words:
        return _TEXT | Word, True
    return Literal[tuple(word for word, _ in quantity.words)], False


Line = bytes | memoryview
"""A setup written as JSON."""

_COMMA = uint8(ord(","))
_CARD = re.compile(rb'"card"\s*:\s*"([^"\\]{1,100})"')


def card_of(line: Line) -> str:
    """The card that a line seems to be written for; the decoded line says whether it is. Raises NotQuick."""
    found = _CARD.search(line)
    if found is None:
        raise NotQuick
    return str(found[1], "utf-8")


def check_no_key_twice(line: Line) -> None:
    """Raises NotQuick if an object of the line has a key twice.

    The decoder keeps the last of two equal keys without a word. An object of n members needs n - 1 commas, so a line
    with no more commas than the kept members need has none that was dropped, and need not be looked at here. A comma
    inside a text, a null written out or an object of nothing makes a line look longer than it is.
    """
    try:
        json.loads(bytes(line), object_pairs_hook=_without_twins)
    except ValueError:
        raise NotQuick from None


def commas_in(line: Line) -> int:
    """Commas of a line, those inside its texts included; numpy looks at many bytes at once."""
    return int(count_nonzero(frombuffer(line, uint8) == _COMMA))


def commas_needed(decoded: Any, within: Sequence[msgspec.Struct]) -> int:
    """Commas between the members that a decoded line has, besides one for each value of unit, job, header and sections.

    An object that is a member of another adds a member there and needs one comma less than it has members, so it counts
    as many as its members; what is left are the first three members of line, unit and job and the second of unit.

    Args:
        within: the objects inside settings, readings, events and the job, those that were dropped included: as many
            commas are theirs.
    """
    unit, taken = decoded.unit, decoded.taken or NOT_TAKEN
    members: int = 2 + (len(unit.fitted) if unit.fitted else 0)
    members += (unit.serial != "") + (unit.owner != "") + (taken.at != "") + (taken.by != "") + (taken.state != "")
    for one in within:
        if type(one) is not HeaderIn:  # whose values are among those given
            written = astuple(one)
            members += len(written) - written.count(None) - 1
    return members


def _without_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    plain = dict(pairs)
    if len(plain) != len(pairs):
        raise ValueError("a key stands twice")
    return plain


def check_taken(at: str, state: str, moments: Table) -> None:
    """Raises NotQuick or Unreadable if the record of the taking is not as it should be."""
    if at:
        moments[at]
    if state and state not in STATES:
        raise NotQuick
