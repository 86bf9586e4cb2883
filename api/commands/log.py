"""setup-audit log"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from api.commands.options import add_hold_at, add_site
from api.environment import page, rulebook, say_problems
from api.inputs import setups_in
from api.log_text import LogPage
from api.log_wire import log_json
from api.status import BAD_INPUT, CLEARED, HELD
from audit.auditor import Auditor
from audit.fleet.spells import Mark, Row, audit_log
from audit.intake.moments import read_moment
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level

SAYS = "audit a log of one unit: when each rule was out of window, for how long, over what area"
EXAMPLES = ("setup-audit log unit-07-monday.ndjson", "setup-audit log - --gap 120 --debounce 30 < unit-07.ndjson")
_M2_PER_HA, _MM_PER_M = 10_000, 1000


def add(command: argparse.ArgumentParser) -> None:
    """Arguments and options."""
    command.add_argument("file", metavar="FILE", help="time-stamped setups of one unit, one a line; - for a pipe")
    command.add_argument("--gap", type=_seconds, default=300.0, metavar="S", help="longest time a row stands, s (300)")
    command.add_argument(
        "--debounce", type=_seconds, default=30.0, metavar="S", help="shortest change that counts, s (30)"
    )
    command.add_argument("--top", type=int, default=20, metavar="N", help="entries of each list (20)")
    command.add_argument("--json", action="store_true", help="for programs")
    add_hold_at(command)
    add_site(command)


def log(arguments: argparse.Namespace) -> int:
    """Audit a log; status 1 where a rule that holds a start was ever broken, 2 where a row was refused."""
    try:
        found = rulebook(arguments.site)
        level = Level[arguments.hold_at.upper()]
        with sys.stdin.buffer if arguments.file == "-" else Path(arguments.file).open("rb") as stream:
            reader = LogReader(Auditor(found, level))
            shown = "standard input" if arguments.file == "-" else arguments.file
            rows = list(reader.rows(setups_in(stream), shown))
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except OSError as error:
        say_problems([Problem(Place(arguments.file), f"can't be read: {error.strerror}.")])
        return BAD_INPUT
    say_problems(reader.refused)
    if not rows:
        say_problems(
            [Problem(Place(shown), "holds no row that can be used.", "Write one setup a line, with 'taken/at'.")]
        )
        return BAD_INPUT
    answer = log_json(audit_log(rows, arguments.gap, arguments.debounce), reader.unit, reader.card, found)
    answer["refused"] = len(reader.refused)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
    else:
        plain = page(found)
        print("\n".join(LogPage(plain.width, plain.colour, plain.usual, max(1, arguments.top)).log(answer)))
    return BAD_INPUT if reader.refused else HELD if reader.held else CLEARED


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

    def rows(self, setups: Iterator[tuple[bytes, str]], shown: str) -> Iterator[Row]:
        """Every row that can be used, in the order of the log."""
        for text, place in setups:
            try:
                row = self.row(text, shown + place)
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
