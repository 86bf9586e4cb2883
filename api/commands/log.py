"""setup-audit log"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from api.commands.fleet_report import count_of
from api.commands.options import add_hold_at, add_site
from api.environment import page, rulebook, say_problems
from api.fleet.blocks import Block
from api.fleet.csv_text import grid_of, records
from api.fleet.parquet import grid_of as frame_grid
from api.fleet.reading import Reader
from api.fleet.streams import CHUNK
from api.fleet.texts import parted
from api.log_text import LogPage
from api.log_wire import log_json
from api.status import BAD_INPUT, CLEARED, HELD
from audit.auditor import Auditor
from audit.fleet.spells import Mark, Row, audit_log
from audit.intake.columns import read_header
from audit.intake.moments import read_moment
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook

EXAMPLES = {
    "log": (
        "setup-audit log unit-07-monday.ndjson",
        "setup-audit log unit-07.csv.gz --json",
        "setup-audit log - --gap 120 --debounce 30 < unit-07.ndjson",
    )
}
_M2_PER_HA, _MM_PER_M = 10_000, 1000


def add(command: argparse.ArgumentParser, _: str) -> None:
    """Arguments and options."""
    command.add_argument(
        "file",
        metavar="FILE",
        help="time-stamped setups of one unit: NDJSON, CSV, Parquet, also compressed; - for a pipe",
    )
    command.add_argument("--gap", type=_seconds, default=300.0, metavar="S", help="longest time a row stands, s (300)")
    command.add_argument(
        "--debounce", type=_seconds, default=30.0, metavar="S", help="shortest change that counts, s (30)"
    )
    command.add_argument("--top", type=count_of, default=20, metavar="N", help="entries of each list (20)")
    command.add_argument("--json", action="store_true", help="for programs")
    add_hold_at(command)
    add_site(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """Audit a log; status 1 where some row holds a start, 2 where a row was refused."""
    try:
        found = rulebook(arguments.site)
        reader = LogReader(Auditor(found, Level[arguments.hold_at.upper()]))
        with TemporaryDirectory() as folder:
            rows = list(reader.rows(Reader([arguments.file], found, Path(folder), CHUNK)))
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except OSError as error:
        say_problems([Problem(Place(arguments.file), f"can't be read: {error.strerror}.")])
        return BAD_INPUT
    say_problems(reader.refused)
    if not rows:
        say_problems([Problem(Place(arguments.file), "holds no row that can be used.")])
        return BAD_INPUT
    answer = log_json(audit_log(rows, arguments.gap, arguments.debounce), reader.unit, reader.card, found)
    answer["refused"] = len(reader.refused)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
    else:
        plain = page(found)
        print("\n".join(LogPage(plain.width, plain.colour, plain.usual, arguments.top).log(answer)))
    return BAD_INPUT if reader.refused else HELD if reader.held else CLEARED


def texts_of(block: Block, rulebook: Rulebook, refused: list[Problem]) -> Iterator[tuple[str, bytes]]:
    """Every setup of a block as JSON, with its place; what is none at all goes to ``refused``."""
    piece, shown = block.piece, block.shown
    if piece.kind == "lines":
        placed = zip(*parted(piece.payload, piece.first), strict=True)
        yield from ((f"{shown}:{number}", bytes(line)) for number, line in placed)
    elif piece.kind == "items":
        yield from ((f"{shown}[{number}]", text) for number, text in enumerate(piece.payload, piece.first))
    elif piece.kind == "lost":
        refused.append(Problem(Place(shown), *piece.payload))
    else:
        header = read_header(piece.columns, shown, rulebook)
        if piece.kind == "rows":
            grid, lines = frame_grid(piece.payload, header), list(range(piece.first, piece.first + piece.setups))
        else:
            found = list(records(piece.payload, piece.first, piece.columns, piece.comma))
            refused += [Problem(Place(f"{shown}:{record.line}"), record.wrong) for record in found if record.wrong]
            right = [record for record in found if not record.wrong]
            grid, lines = grid_of(right, header), [record.line for record in right]
        yield from ((f"{shown}:{line}", grid.text(row)) for row, line in enumerate(lines))


class LogReader:
    """Rows of a log from its lines; what can't be used is set aside with its place.

    Attributes:
        unit, card: of the first row; another unit's row is refused.   held: some row holds a start.
    """

    def __init__(self, auditor: Auditor) -> None:
        self.auditor = auditor
        self.refused: list[Problem] = []
        self.unit = self.card = ""
        self.held = False
        self.speeds: dict[str, float | None] = {}

    def rows(self, reader: Reader) -> Iterator[Row]:
        """Every row that can be used, in the order of the log."""
        for block in reader.blocks():
            for shown, text in texts_of(block, self.auditor.rulebook, self.refused):
                try:
                    row = self.row(text, shown)
                except BadInput as error:
                    self.refused += error.problems
                else:
                    yield row

    def row(self, text: bytes, shown: str) -> Row:
        """One row. Raises BadInput: no setup, without a time, or of another unit."""
        judged = self.auditor.judge(text, shown)
        plain = json.loads(text)
        if not (plain.get("taken") or {}).get("at"):
            raise BadInput([Problem(Place(shown, path="taken/at"), "is missing: when was this so?")])
        if self.unit not in ("", judged.unit):
            raise BadInput([Problem(Place(shown, path="unit/id"), f"is {judged.unit}; this log is of {self.unit}.")])
        self.unit, self.card = judged.unit, judged.card
        self.held = self.held or judged.clearance.value == "held"
        rules = self.auditor.rulebook.rules
        marks = {
            (rule, on): Mark(not rank[3], Level(rank[0]), rank[1], -rank[2], rules[rule].harm.people)
            for rank, _, rule, on in judged.hits
        }
        return Row(read_moment(plain["taken"]["at"]), self.area_rate(plain), marks)

    def area_rate(self, plain: dict[str, Any]) -> float | None:
        """Ground speed times working width, ha/s; None where either is not known."""
        key = json.dumps(plain["job"])
        if key not in self.speeds:
            only = json.dumps({"unit": {"id": "-", "card": self.card}, "job": plain["job"]}).encode()
            values = read_setup(only, "", self.auditor.rulebook).values
            speed, width = values.get("job.ground_speed"), values.get("job.header_width")
            known = isinstance(speed, float) and isinstance(width, float)
            self.speeds[key] = speed * width / _MM_PER_M / _M2_PER_HA if known else None  # type: ignore[operator]
        return self.speeds[key]


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 <= seconds <= 86_400:
        raise argparse.ArgumentTypeError("must lie between 0 and 86400")
    return seconds
