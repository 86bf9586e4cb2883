"""Setups out of Parquet, a piece of rows at a time; and the lists of an audit as Parquet. The only import of polars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

import polars as pl
from polars.io.plugins import register_io_source

from api.fleet.blocks import Piece
from api.fleet.streams import Broken
from audit.intake.columns import Grid, Header

ROW_GROUP = 16_384
"""Rows of a group in what is written. Several groups are held in memory while they are written, and then of each some
kilobytes a column until the file ends: small groups are dear in a long list, large ones in a short."""
_PART = 1024 * 1024
"""Bytes of lines that are turned into rows at a time."""

_WORK = pl.Struct(
    {
        "minutes": pl.Float64,
        "people": pl.Int64,
        "parts": pl.List(pl.String),
        "tools": pl.List(pl.String),
        "steps": pl.Int64,
        "proven": pl.Boolean,
        "conflict": pl.Boolean,
    }
)
UNITS: dict[str, Any] = {
    **dict.fromkeys(("row",), pl.Int64),
    **dict.fromkeys(("source", "unit", "farm", "serial"), pl.String),
    "build_year": pl.Int64,
    **dict.fromkeys(("card", "builds", "crop", "header_kind", "taken", "by", "state"), pl.String),
    "engine_hours": pl.Float64,
    "clearance": pl.String,
    **dict.fromkeys(("kept", "broken", "unknown", "not_asked", "holding"), pl.Int64),
    "worst": pl.String,
    "work": _WORK,
}
"""Columns of the list of units; builds are JSON text, since each card has its own."""
FINDINGS: dict[str, Any] = {
    "row": pl.Int64,
    **dict.fromkeys(("unit", "farm", "card", "crop", "rule", "on", "station", "verdict", "level"), pl.String),
    "index": pl.Int64,
    "holds": pl.Boolean,
    "downtime_h": pl.Float64,
    "share": pl.Float64,
    "people": pl.Boolean,
    **dict.fromkeys(("quantity", "side", "found", "wanted"), pl.String),
}
"""Columns of the list of findings."""
SHAPES = {"units.parquet": (UNITS, ROW_GROUP), "findings.parquet": (FINDINGS, 2 * ROW_GROUP)}
"""Columns of the tables of an audit, and rows of a group: there are some findings a unit, in rows that are short."""


def columns_in(path: Path) -> tuple[str, ...]:
    """Names of the columns. Raises ValueError for a file that is no Parquet, or has a column of lists."""
    try:
        schema = pl.read_parquet_schema(path)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise ValueError(f"is no Parquet file that can be read: {error}") from None
    for name, kind in schema.items():
        if kind.is_nested() or kind in (pl.Binary, pl.Duration, pl.Time, pl.Object):
            raise ValueError(f"column '{name}' is of type {kind}; a cell must hold a number, a text, yes/no or a time.")
    return tuple(schema)


def rows_in(path: Path, rows: int) -> Iterator[Piece]:
    """Pieces of so many rows, as they are needed. Raises Broken."""
    names = columns_in(path)
    frames = pl.scan_parquet(path, glob=False, hive_partitioning=False).select(*map(_plain, names, _kinds(path)))
    waiting: list[pl.DataFrame] = []
    count, first = 0, 1
    try:
        for frame in frames.collect_batches(chunk_size=rows, maintain_order=True):
            waiting.append(frame)
            count += frame.height
            if count < rows:
                continue
            whole = pl.concat(waiting)
            for start in range(0, count - rows + 1, rows):
                yield Piece("rows", whole.slice(start, rows), first, rows, names)
                first += rows
            waiting = [whole.slice(count - count % rows)]
            count %= rows
    except pl.exceptions.PolarsError as error:
        raise Broken(f"can't be read from here on: {error}") from None
    if count:
        yield Piece("rows", pl.concat(waiting), first, count, names)


def _kinds(path: Path) -> list[pl.DataType]:
    return list(pl.read_parquet_schema(path).values())


def _plain(name: str, kind: pl.DataType) -> pl.Expr:
    """A column in the few types that a cell may have; an empty text is not known."""
    cell = pl.col(name)
    if kind.is_integer() or kind == pl.Boolean:
        return cell
    if kind.is_numeric():
        return cell.cast(pl.Float64)
    if kind == pl.Datetime:
        zone = getattr(kind, "time_zone", None)
        return (cell.dt.convert_time_zone("UTC") if zone else cell).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    text = cell.cast(pl.String)
    return pl.when(text != "").then(text).alias(name)


def grid_of(frame: pl.DataFrame, header: Header) -> Grid:
    """A piece's rows as a grid."""
    cells = [_years(column.flat, series.to_list()) for column, series in zip(header.columns, frame, strict=True)]
    return Grid(header, cells, frame.height)


def _years(flat: str, cells: list[Any]) -> list[Any]:
    """Years of build as whole numbers: a column with gaps often comes as one of floats."""
    if flat != "unit.build_year":
        return cells
    return [int(cell) if isinstance(cell, float) and cell.is_integer() else cell for cell in cells]


def columns(kinds: Mapping[str, type]) -> dict[str, Any]:
    """Columns of texts, numbers and yes/no, as ``write`` takes them."""
    known: dict[type, Any] = {str: pl.String, float: pl.Float64, int: pl.Int64, bool: pl.Boolean}
    return {name: known[kind] for name, kind in kinds.items()}


class Lines(Protocol):
    """A file of lines from its beginning."""

    def read(self, size: int, /) -> bytes: ...

    def readline(self) -> bytes: ...


def write_list(lines: Lines, path: Path, name: str) -> None:
    """A list of an audit as the table of that name."""
    write(lines, path, *SHAPES[name])


def write(lines: Lines, path: Path, schema: dict[str, Any], group: int = ROW_GROUP) -> None:
    """A file of lines as Parquet, a group of so many rows at a time; the same lines give the same bytes.

    The lines are read in parts here: polars would map the whole file into memory.
    """

    def parts(*_: object) -> Iterator[pl.DataFrame]:  # all columns and rows are wanted, so nothing is asked of it
        some = first
        while some:
            yield pl.read_ndjson(some + lines.readline(), schema=schema)
            some = lines.read(_PART)

    if first := lines.read(_PART):
        register_io_source(parts, schema=schema).sink_parquet(
            path, compression="zstd", row_group_size=group, maintain_order=True
        )
    else:
        pl.DataFrame(schema=schema).write_parquet(path, compression="zstd")
