"""A table of machines as delimited text (RFC 4180), read by a mapping file that says what each column is."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from api.exchange.reading.files import Files
from api.exchange.reading.nouns import Gathered, HourReading, NotRead, Read, ReadUnit
from api.exchange.reading.registry import Format
from api.exchange.reading.times import moment, zone_named
from audit.intake.tree import Fields, Problems
from audit.intake.yaml_text import decode_yaml

FIELDS = (
    "pin", "serial", "isobus_name", "fleet_number", "maker", "type", "card", "build_year", "owner", "engine_hours",
    "hours_at",
)  # fmt: skip
KNOW_IT_BY = ("pin", "serial", "isobus_name", "fleet_number")
HOURS = {"h": 1.0, "min": 1 / 60, "s": 1 / 3600}
"""Units of engine hours, in h."""
MOST_LINES = 5_000
MOST_CELL = 10_000


@dataclass(frozen=True, slots=True)
class Columns:
    """What the columns are.

    Attributes:
        columns: the field by the column's title.   factor: h in one step of the hours' column.
        timezone: IANA's name of the time zone of times without an offset, '' for not said; ``zone`` is what holds.
        origin: what the table's owner calls the place it comes from; fleet numbers are unique within it.
    """

    columns: Mapping[str, str]
    factor: float
    delimiter: str
    decimal: str
    origin: str
    timezone: str = ""
    zone: ZoneInfo | None = None


def _knows(files: Files) -> bool:
    return len(files.paths()) == 1 and files.paths()[0].casefold().endswith((".csv", ".tsv"))


def _read(files: Files, mapping: bytes, zone: ZoneInfo | None) -> Read:
    gathered = Gathered()
    if not mapping:
        raise NotRead(
            files.name, "needs a mapping file that says what each column is",
            "Write 'columns:' and under it a line a column: title: {is: engine_hours, unit: h}; "
            f"fields are {', '.join(FIELDS)}",
        )  # fmt: skip
    says = read_mapping(mapping)
    own = zone_named(says.timezone)
    if zone is not None and own is not None and zone.key != own.key:
        raise NotRead("mapping", f"says timezone {own.key}, but {zone.key} was asked for", "Leave one of them out")
    says = replace(says, zone=zone or own)
    for path in files.paths():
        _table(path, files.read(path), says, gathered)
    return gathered.read(origin=says.origin)


def read_mapping(content: bytes) -> Columns:
    """The mapping file. Raises NotRead with every problem."""
    problems = Problems()
    tree = decode_yaml(content, "mapping", problems)
    columns: dict[str, str] = {}
    factor, delimiter, decimal, origin, timezone = 1.0, ",", ".", "", ""
    if tree is not None and not problems:
        fields = Fields(tree, problems, "the mapping")
        origin, timezone = fields.text("origin", ""), fields.text("timezone", "")
        delimiter = fields.word("delimiter", (",", ";", "tab"), ",")
        decimal = fields.word("decimal", (".", ","), ".")
        for title, node in fields.pairs("columns", required=True):
            column = Fields(node, problems, f"column '{title}'")
            what = column.word("is", FIELDS)
            unit = column.word("unit", tuple(HOURS), "h")
            if what in columns.values():
                problems.add(node.place, f"is the second column for '{what}'.", "Keep the right one.")
            if what == "engine_hours":
                factor = HOURS[unit]
            columns[title] = what
            column.close()
        fields.close()
        if not problems and not set(columns.values()) & set(KNOW_IT_BY):
            problems.add(
                fields.place, "names no column by which a machine is known.", f"One of {', '.join(KNOW_IT_BY)}."
            )
    if problems:
        said = " ".join(f"{one.place}: {one.message} {one.advice}".strip() for one in problems.found[:10])
        raise NotRead("mapping", said.rstrip("."), "Put the mapping right and try again")
    return Columns(columns, factor, "\t" if delimiter == "tab" else delimiter, decimal, origin, timezone)


def _table(path: str, content: bytes, says: Columns, gathered: Gathered) -> None:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotRead(path, f"is not UTF-8 (byte {error.start + 1})", "Save it as CSV in UTF-8") from None
    if "\0" in text:
        raise NotRead(path, "holds zero bytes, so it is no text", "Save it as CSV in UTF-8")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=says.delimiter, strict=True)
    try:
        titles = next(reader, None)
        if titles is None:
            raise NotRead(path, "is empty", "Export it again")
        titles = [title.strip() for title in titles]
        if missing := [title for title in says.columns if title not in titles]:
            raise NotRead(path, f"has no column '{missing[0][:60]}'", f"Its columns are {', '.join(titles)[:300]}")
        if twice := [title for title in says.columns if titles.count(title) > 1]:
            raise NotRead(path, f"has two columns '{twice[0][:60]}'", "Rename one of them")
        for cells in reader:
            place = f"{path}, line {reader.line_num}"
            if reader.line_num > MOST_LINES:
                raise NotRead(place, f"has more than {MOST_LINES:,} lines", "Send it in parts")
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(titles):
                gathered.refuse(
                    place,
                    f"has {len(cells)} cells, the titles are {len(titles)}",
                    "Look for a stray delimiter or quote",
                )
                continue
            _line(place, dict(zip(titles, cells, strict=True)), says, gathered)
    except csv.Error as error:
        raise NotRead(
            f"{path}, line {reader.line_num}", f"is no delimited text: {error}", "Look for a stray quote"
        ) from None


def _line(place: str, cells: Mapping[str, str], says: Columns, gathered: Gathered) -> None:
    found = {what: cells[title].strip() for title, what in says.columns.items()}
    if not any(found.get(name) for name in KNOW_IT_BY):
        gathered.refuse(place, "has nothing by which a machine is known", f"Fill one of {', '.join(KNOW_IT_BY)}")
        return
    if any(len(cell) > MOST_CELL for cell in found.values()):
        gathered.refuse(place, "has a cell that is far too long", "Look for a missing quote")
        return
    try:
        hours = _hours(found, says, gathered)
        year = _year(found.get("build_year", ""))
    except ValueError as error:
        gathered.refuse(place, str(error), "Put it right and send the file again")
        return
    gathered.units.append(
        ReadUnit(
            place=place, key=found.get("fleet_number", ""), pin=found.get("pin", ""), maker=found.get("maker", ""),
            type=found.get("type", ""), serial=found.get("serial", ""), isobus_name=found.get("isobus_name", ""),
            fleet_number=found.get("fleet_number", ""), card=found.get("card", ""), build_year=year,
            owner=found.get("owner", ""), hours=hours,
        )
    )  # fmt: skip


def _hours(found: Mapping[str, str], says: Columns, gathered: Gathered) -> HourReading | None:
    said, when = found.get("engine_hours", ""), found.get("hours_at", "")
    if not said:
        return None
    other = "," if says.decimal == "." else "."
    if other in said:
        raise ValueError(
            f"has '{said[:40]}' for engine hours, but the mapping says that decimals have '{says.decimal}'"
        )
    try:
        hours = float(said.replace(says.decimal, ".")) * says.factor
    except ValueError:
        raise ValueError(f"has '{said[:40]}' for engine hours, which is no number") from None
    try:
        at = moment(when, says.zone)
    except ValueError:
        raise ValueError(f"has '{when[:40]}' for the time of its hours; write 2026-08-11T07:40:00Z") from None
    if at is not None and (said := at.note()):
        gathered.note(said)
    return HourReading(hours, None if at is None else at.at, at is not None and at.local)


def _year(text: str) -> int | None:
    if not text:
        return None
    try:
        year = float(text)
    except ValueError:
        year = math.nan
    if not 1900 <= year <= 2200 or year != int(year):
        raise ValueError(f"has '{text[:40]}' for a year of build")
    return int(year)


FORMAT = Format("csv-units", "table of machines as CSV, with a mapping file", _knows, _read)
