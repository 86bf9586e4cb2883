"""Fleets in every format, and an audit of them in a folder."""

from __future__ import annotations

import csv
import gzip
import io
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
import zstandard

from api.fleet.outputs import LISTS
from api.fleet.run import Wanted, run
from audit.intake.columns import known_columns
from audit.nouns.rulebook import Rulebook

Setup = dict[str, Any]
SMALL = 60_000
"""Bytes of a block: the demo fleet makes about ten."""


@pytest.fixture(scope="session")
def flat(rulebook: Rulebook) -> Callable[[Setup], dict[str, Any]]:
    """A setup as the cells of a table, by column; a value with its unit becomes text."""
    known = known_columns(rulebook)

    def cells(setup: Setup) -> dict[str, Any]:
        found: dict[str, Any] = {}

        def put(flat: str, value: Any) -> None:
            if isinstance(value, dict) and "value" in value:
                put(flat, f"{value['value']} {value['unit']}" if "unit" in value else value["value"])
            elif isinstance(value, dict):
                for key, inner in value.items():
                    put(f"{flat}.{key}" if flat else key, inner)
            elif f"{flat}.left" in known:
                found[f"{flat}.left"] = found[f"{flat}.right"] = value
            else:
                found[flat] = value

        put("", setup)
        return found

    return cells


@pytest.fixture(scope="session")
def written(flat: Callable[[Setup], dict[str, Any]]) -> Callable[[list[Setup], str], bytes]:
    """Setups in a format by its usual ending: ndjson, json, csv, parquet, each also .gz and .zst."""

    def write(setups: list[Setup], ending: str) -> bytes:
        kind, _, packed = ending.partition(".")
        text = _WRITERS[kind](setups, [flat(setup) for setup in setups])
        if packed == "gz":
            return gzip.compress(text, mtime=0)
        return zstandard.ZstdCompressor().compress(text) if packed == "zst" else text

    return write


def _names(rows: Iterable[dict[str, Any]]) -> list[str]:
    return list(dict.fromkeys(name for row in rows for name in row))


def _csv(_: list[Setup], rows: list[dict[str, Any]]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, _names(rows), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: str(value).lower() if isinstance(value, bool) else value for name, value in row.items()})
    return out.getvalue().encode()


def _parquet(_: list[Setup], rows: list[dict[str, Any]]) -> bytes:
    columns = {}
    for name in _names(rows):
        values = [row.get(name) for row in rows]
        kinds = {type(value) for value in values if value is not None}
        # a column has one type: numbers beside texts are texts with a number in them
        columns[name] = [None if v is None else str(v) for v in values] if str in kinds and len(kinds) > 1 else values
    out = io.BytesIO()
    pl.DataFrame(columns, strict=False).write_parquet(out, row_group_size=13)
    return out.getvalue()


_WRITERS: dict[str, Callable[[list[Setup], list[dict[str, Any]]], bytes]] = {
    "ndjson": lambda setups, _: b"".join(json.dumps(setup).encode() + b"\n" for setup in setups),
    "json": lambda setups, _: json.dumps(setups, indent=2, ensure_ascii=False).encode(),
    "csv": _csv,
    "parquet": _parquet,
}


class Folder:
    """The files that an audit left behind."""

    def __init__(self, path: Path, summary: dict[str, Any], inputs: tuple[str, ...]) -> None:
        self.path, self.summary, self.inputs = path, summary, inputs

    def bytes(self) -> dict[str, bytes]:
        """Every file but the log, by name."""
        return {path.name: path.read_bytes() for path in sorted(self.path.iterdir()) if path.name != "run.log"}

    def lines(self, name: str) -> list[dict[str, Any]]:
        """A list, decoded."""
        return [json.loads(line) for line in (self.path / f"{name}.ndjson").read_bytes().splitlines()]

    def without_source(self) -> list[list[dict[str, Any]]]:
        """The lists without the names of the inputs."""
        return [[{**line, "source": ""} for line in self.lines(name.removesuffix(".ndjson"))] for name in LISTS]


Audit = Callable[..., Folder]


@pytest.fixture
def audit(tmp_path: Path, rulebook: Rulebook) -> Audit:
    """Audits texts into a folder; each call has one of its own unless ``out`` names it."""
    made = 0

    def run_on(*texts: bytes, out: Path | None = None, mapper: Any = None, **options: Any) -> Folder:
        nonlocal made
        made += 1
        names = []
        for number, text in enumerate(texts):
            path = tmp_path / f"input{made}-{number}"
            path.write_bytes(text)
            names.append(str(path))
        folder = out or tmp_path / f"out{made}"
        wanted = Wanted(tuple(options.pop("inputs", names)), folder, rulebook, **{"size": SMALL, **options})
        return Folder(folder, run(wanted, mapper), wanted.inputs)

    return run_on
