"""Setups as rows of columns, such as a table has: flat names with dots, one value a cell, an empty cell not known.

``unit.id``, ``unit.fitted.NAME``, ``job.crop``, ``job.header.kind``, ``taken.at``, ``settings.NAME``, ``readings.NAME``
and so on; what is taken left and right has a column for each, ``NAME.left`` and ``NAME.right``, or one for both.
A row becomes the same values as written that a line of JSON gives; one that can't is written as JSON and read in the
plain way, which says what is wrong.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from operator import itemgetter
from typing import Any, NamedTuple

from audit.intake.setups import HEADER_KEYS, JOB_KEYS, UNIT_KEYS, VALUE_SECTIONS
from audit.intake.structs import Sides, UnitIn
from audit.nearest import did_you_mean
from audit.nouns.machine import MachineCard
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.quantity import SIDES, Form, Quantity
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import Vocabulary, on_card

Cells = list[Any]
"""The values of a column: text, number, yes/no, or None for not known."""

ENVELOPE_COLUMNS = (
    *(f"unit.{key}" for key in UNIT_KEYS),
    *(f"job.{key}" for key in JOB_KEYS),
    *(f"job.header.{key}" for key in HEADER_KEYS),
)
"""Columns of what unit, job and header hold, in the order of ``structs.ENVELOPE_NAMES``."""

_UNIT = ("unit.id", "unit.card", "unit.serial", "unit.build_year", "unit.owner", "unit.engine_hours")
_JOB = ("job.crop", *(flat for flat in ENVELOPE_COLUMNS if flat.startswith("job.")))
_TAKEN = ("taken.at", "taken.by", "taken.state")
_WORDS = ("job.condition", "job.header.kind")
_KINDS: dict[Form, set[type]] = {
    Form.NUMBER: {str, float, int},
    Form.YES_NO: {bool},
    Form.WORD: {str},
    Form.TIME: {str},
}
_YES_NO = {"true": True, "false": False, "TRUE": True, "FALSE": False, "True": True, "False": False}
_DIGITS = re.compile(r"[0-9.-]*")
_NUMBER = re.compile(r"-?[0-9]{1,40}(?:\.[0-9]{1,40})?")


class Column(NamedTuple):
    """A column: the keys that lead to its value in a setup, and what its values look like."""

    flat: str
    keys: tuple[str, ...]
    form: Form


def columns_of(card: MachineCard, vocabulary: Vocabulary) -> list[Column]:
    """Every column that a machine of this card may have, in walk order of a setup."""
    fitted = [f"unit.fitted.{build.name}" for build in card.builds]
    found = [Column(flat, tuple(flat.split(".", 2)), _form(flat)) for flat in (*_UNIT, *fitted, *_JOB, *_TAKEN)]
    for section, role in VALUE_SECTIONS.items():
        for name, quantity in on_card(card, vocabulary).items():
            if quantity.role is role:
                found += _of_quantity(section, name, quantity)
    return found


def _form(flat: str) -> Form:
    return Form.NUMBER if flat in ENVELOPE_COLUMNS and flat not in _WORDS else Form.WORD


def _of_quantity(section: str, name: str, quantity: Quantity) -> Iterator[Column]:
    if not quantity.sided:
        yield Column(f"{section}.{name}", (section, name), quantity.form)
        return
    for side in SIDES:
        yield Column(f"{section}.{name}.{side}", (section, name, side), quantity.form)


class Header:
    """The columns of a table.

    Attributes:
        columns: in the order of the table.
    """

    def __init__(self, columns: Sequence[Column]) -> None:
        self.columns = tuple(columns)

    def text(self, values: Sequence[object]) -> bytes:
        """A row as a setup written in JSON; what is not known is left out."""
        setup: dict[str, Any] = {}
        for column, value in zip(self.columns, values, strict=True):
            if value is not None:
                inner = setup
                for key in column.keys[:-1]:
                    inner = inner.setdefault(key, {})
                    if not isinstance(inner, dict):
                        break
                else:
                    inner[column.keys[-1]] = value
        return json.dumps(setup, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")


def read_header(names: Sequence[str], shown: str, rulebook: Rulebook) -> Header:
    """The columns with some names, of any card. Raises BadInput with every column that is none, or stands twice."""
    known = known_columns(rulebook)
    problems: list[Problem] = []
    for place, name in enumerate(names, 1):
        where = Place(shown, path=f"column {place}")
        if name not in known:
            advice = did_you_mean(name, known, "'setup-audit fleet --columns CARD' lists the columns of a card.")
            problems.append(Problem(where, f"there is no column '{name[:80]}'.", advice))
        elif name in names[: place - 1]:
            problems.append(Problem(where, f"column '{name}' stands twice.", "Keep the right one."))
    for name in names:
        if any(f"{name}.{side}" in names for side in SIDES):
            problems.append(Problem(Place(shown), f"'{name}' stands for both sides and has a side of its own too."))
    for name in ("unit.id", "unit.card", "job.crop"):
        if name not in names:
            problems.append(Problem(Place(shown), f"lacks the column '{name}'."))
    if problems:
        raise BadInput(problems)
    return Header([known[name] for name in names])


def known_columns(rulebook: Rulebook) -> dict[str, Column]:
    """Every column that some card has, those for both sides and for whole families of parts included."""
    found: dict[str, Column] = {}
    vocabulary = rulebook.vocabulary
    for card in rulebook.machines.values():
        for column in columns_of(card, vocabulary):
            found[column.flat] = column
            if column.keys[-1] in SIDES:
                both = column.flat.removesuffix(f".{column.keys[-1]}")
                found[both] = Column(both, column.keys[:-1], column.form)
    for section, role in VALUE_SECTIONS.items():
        for family in vocabulary.families:
            for attribute, quantity in vocabulary.of_family(family).items():
                name = f"{section}.{family}.{attribute}"
                if quantity.role is role:
                    found.setdefault(name, Column(name, (section, f"{family}.{attribute}"), quantity.form))
    return found


def families_of(card: MachineCard, vocabulary: Vocabulary) -> dict[str, tuple[str, ...]]:
    """Names such as ``belt.condition`` that stand for a quantity of a card, by the quantity."""
    names = on_card(card, vocabulary)
    found: dict[str, tuple[str, ...]] = {}
    for component in card.components():
        kind = vocabulary.drive_kinds.get(component.kind) or vocabulary.part_kinds[component.kind]
        for family in kind.families:
            for attribute in vocabulary.of_family(family):
                name, wide = f"{component.id}.{attribute}", f"{family}.{attribute}"
                if name in names and wide not in names:
                    found[name] = (*found.get(name, ()), wide)
    return found


def own_columns(card: MachineCard, vocabulary: Vocabulary) -> set[str]:
    """Names of the columns that may hold something of a machine of this card."""
    found = {column.flat for column in columns_of(card, vocabulary)}
    found |= {flat.removesuffix(f".{side}") for flat in found for side in SIDES if flat.endswith(f".{side}")}
    names = on_card(card, vocabulary)
    for name, wide in families_of(card, vocabulary).items():
        found |= {f"{names[name].role.value}s.{other}" for other in wide}
    return found


def from_text(column: Column, cells: list[str | None]) -> Cells:
    """A column of text as values; what can't be one stays text, for the reader to refuse."""
    if column.flat == "unit.build_year":
        return [int(c) if c is not None and c.isdecimal() and c.isascii() and len(c) < 10 else c for c in cells]
    if column.form is Form.YES_NO:
        return [None if cell is None else _YES_NO.get(cell, cell) for cell in cells]
    return _numbers(cells) if column.form is Form.NUMBER else cells


def _numbers(cells: list[str | None]) -> Cells:
    known = [cell for cell in cells if cell is not None]
    if _DIGITS.fullmatch("".join(known)):
        try:
            return [None if cell is None else float(cell) for cell in cells]
        except ValueError:
            pass
    return [float(cell) if cell is not None and _NUMBER.fullmatch(cell) else cell for cell in cells]


class Grid:
    """Some rows of a table.

    Args:
        header: its columns.
        cells: the values of each column, all of one length.
        count: how many rows.
    """

    def __init__(self, header: Header, cells: Sequence[Cells], count: int) -> None:
        self.header, self.cells, self.count = header, cells, count

    def text(self, row: int) -> bytes:
        """A row as a setup written in JSON."""
        return self.header.text([column[row] for column in self.cells])

    def groups(self) -> Iterator[tuple[str, list[int], Rows]]:
        """Rows of one card and crop together: the card, their places, their values."""
        by_name = {column.flat: cells for column, cells in zip(self.header.columns, self.cells, strict=True)}
        places: dict[tuple[object, object], list[int]] = {}
        for row, key in enumerate(zip(by_name["unit.card"], by_name["job.crop"], strict=True)):
            places.setdefault(key, []).append(row)
        for (card, crop), rows in places.items():
            if isinstance(card, str) and isinstance(crop, str):
                whole = len(rows) == self.count
                yield card, rows, Rows(crop, len(rows), by_name if whole else _some(by_name, rows))


def _some(columns: Mapping[str, Cells], rows: Sequence[int]) -> dict[str, Cells]:
    """Some rows of the columns; a column that has nothing in them is left out."""
    pick = itemgetter(*rows)
    found = {}
    for name, cells in columns.items():
        some = list(pick(cells)) if len(rows) > 1 else [pick(cells)]
        if some.count(None) != len(some):
            found[name] = some
    return found


class Rows:
    """Rows of one card and crop.

    Attributes:
        crop: as written.
        refused: places of the rows that must be read in the plain way.
    """

    def __init__(self, crop: str, count: int, columns: Mapping[str, Cells]) -> None:
        self.crop, self.count, self.columns = crop, count, columns
        self.refused: set[int] = set()
        self.nothing: Cells = [None] * count

    def column(self, flat: str) -> Cells:
        """The values of a column as they are."""
        return self.columns.get(flat, self.nothing)

    def envelope(self) -> list[Cells]:
        """The values of what unit, job and header hold, a column each."""
        found = [self.column(flat) for flat in ENVELOPE_COLUMNS]
        for flat, cells in zip(ENVELOPE_COLUMNS, found, strict=True):
            self.refuse_kinds(_form(flat), cells)
        return found

    def refuse_others(self, known: set[str]) -> None:
        """Refuses rows that have a value in a column that is none of the card's."""
        for flat, cells in self.columns.items():
            if flat not in known and cells.count(None) != self.count:
                self.refused.update(row for row, value in enumerate(cells) if value is not None)

    def values(self, section: str, name: str, quantity: Quantity, wider: Sequence[str]) -> Cells:
        """The values of a setting, reading or event as a line of JSON would give them.

        Args:
            wider: names that stand for it where it is not named itself.
        """
        found = self.columns.get(f"{section}.{name}")
        if quantity.sided:
            return self.sides(f"{section}.{name}", found, quantity.form)
        for other in wider:
            family = self.columns.get(f"{section}.{other}")
            if family is not None:
                found = family if found is None else [v if f is None else f for f, v in zip(found, family, strict=True)]
        if found is None:
            return self.nothing
        if quantity.form is Form.NUMBER:
            return self.numbers(found, quantity)
        if quantity.form is Form.WORD and quantity.words:
            allowed = {word for word, _ in quantity.words} | {None}
            self.refuse(found, set(found) <= allowed, lambda value: value not in allowed)
            return found
        self.refuse_kinds(quantity.form, found)
        return found

    def refuse(self, cells: Cells, fine: bool, wrong: Any) -> None:
        """Refuses the rows whose value is wrong."""
        if not fine:
            self.refused.update(row for row, value in enumerate(cells) if value is not None and wrong(value))

    def refuse_kinds(self, form: Form, *columns: Cells) -> set[type]:
        """Refuses the rows whose value is of another kind: false equals 0 where it is looked up, and is not 0.

        Returns: kinds there are besides those that the form has.
        """
        others = set(map(type, chain(*columns))) - _KINDS[form]
        if others - {type(None)}:
            for cells in columns:
                self.refuse(cells, False, lambda value: type(value) not in _KINDS[form])
        return others

    def numbers(self, cells: Cells, quantity: Quantity) -> Cells:
        """Numbers: finite and within bounds, or text, which is read with its unit."""
        kinds = set(map(type, cells))
        if int in kinds:
            cells = [float(value) if type(value) is int else value for value in cells]
        bare = cells if kinds == {float} else [value for value in cells if type(value) is float]
        low = -math.inf if quantity.lowest is None else quantity.lowest
        high = math.inf if quantity.highest is None else quantity.highest
        fine = not bare or (math.isfinite(sum(bare)) and low <= min(bare) and max(bare) <= high)
        fine = fine and kinds <= {float, int, str, type(None)}
        self.refuse(cells, fine, lambda v: type(v) is not str and not (type(v) is float and low <= v <= high))
        return cells

    def sides(self, flat: str, both: Cells | None, form: Form) -> Cells:
        """Left and right in one value."""
        left, right = (self.columns.get(f"{flat}.{side}") for side in SIDES)
        if left is None and right is None:
            if both is None:
                return self.nothing
            self.refuse_kinds(form, both)
            return both
        one, other = left or self.nothing, right or self.nothing
        if not self.refuse_kinds(form, one, other):
            return list(map(Sides, one, other))
        return [
            None if here is None and there is None else Sides(here, there)
            for here, there in zip(one, other, strict=True)
        ]

    def units(self) -> Iterator[tuple[UnitIn, str, str, str] | None]:
        """Of each row the unit, and when, by whom and in which state the setup was taken; None for one refused."""
        texts = [self.column(flat) for flat in ("unit.id", "unit.card", "unit.serial", "unit.owner")]
        taken = [self.column(flat) for flat in _TAKEN]
        fitted = {flat: cells for flat, cells in self.columns.items() if flat.startswith("unit.fitted.")}
        names = [flat.removeprefix("unit.fitted.") for flat in fitted]
        choices = zip(*fitted.values(), strict=True) if fitted else iter([()] * self.count)
        years = self.column("unit.build_year")
        rows = zip(zip(*texts, *taken, strict=True), choices, years, strict=True)
        for place, ((unit, card, serial, owner, at, by, state), chosen, year) in enumerate(rows):
            said = [text for text in (unit, serial, owner, at, by, state, *chosen, "") if text is not None]
            fine = set(map(type, said)) == {str} and type(year) in (int, type(None)) and (unit or "").strip()
            if not fine or place in self.refused:
                yield None
            else:
                stated = {name: choice for name, choice in zip(names, chosen, strict=True) if choice is not None}
                yield (
                    UnitIn(unit, card, serial or "", year, stated or None, owner or ""),
                    at or "",
                    by or "",
                    state or "",
                )
