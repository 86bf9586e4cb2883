"""setup-audit check"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from api.commands.options import add_hold_at, add_site
from api.commands.sheets import add_sheet, machine_of, write_sheet
from api.environment import page, rulebook, say_problems
from api.inputs import setups_in
from api.status import BAD_INPUT, CLEARED, HELD
from api.text import Page
from api.wire import judged_json, problem_json, report_json
from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.finding import Clearance, Report
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict

if TYPE_CHECKING:
    from api.pages.sheets.printout import Printing, Printout
    from api.pages.sheets.unit_sheet import Machine

EXAMPLES = {
    "check": (
        "setup-audit check unit-07.json",
        "setup-audit check fleet.ndjson --brief --hold-at serious",
        "setup-audit check - --json < unit-07.json",
        "setup-audit check unit-07.json --sheet unit-07.pdf",
    )
}


@dataclass
class Tally:
    """What came of all setups."""

    setups: int = 0
    held: int = 0
    refused: int = 0
    findings: dict[str, int] = field(default_factory=dict)

    def add(self, clearance: Clearance, findings: Iterable[tuple[Level, Verdict]]) -> None:
        self.setups += 1
        self.held += clearance is Clearance.HELD
        for level, verdict in findings:
            key = f"{level.name.lower()} {verdict.value}"
            self.findings[key] = self.findings.get(key, 0) + 1

    def status(self) -> int:
        return BAD_INPUT if self.refused else HELD if self.held else CLEARED


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("files", nargs="+", metavar="FILE", help="JSON, an array, or one setup a line; - for a pipe")
    length = command.add_mutually_exclusive_group()
    length.add_argument("--json", action="store_true", help="one report a line, for programs")
    length.add_argument("--brief", action="store_true", help="a line for each finding (usual for many setups)")
    length.add_argument("--full", action="store_true", help="every finding in full (usual for one setup)")
    command.add_argument("--facts", action="store_true", help="also what was computed, with formula and inputs")
    add_hold_at(command)
    add_sheet(command)
    add_site(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """Audit every setup of every file; a bad one stops nothing and is counted."""
    try:
        auditor = Auditor(rulebook(arguments.site), Level[arguments.hold_at.upper()])
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    tally = Tally()
    setups = _setups(arguments.files, tally)
    if arguments.sheet is not None:
        try:
            setups = _with_sheet(arguments, setups, auditor)
        except BadInput as error:
            say_problems(error.problems)
            return BAD_INPUT
    answers = Answers(auditor, tally, page(auditor.rulebook), arguments.facts)
    if arguments.json:
        _print_all(setups, answers.as_json, answers.refused_json, tally)
        return tally.status()
    ahead = list(islice(setups, 2))
    full = arguments.full or arguments.facts or (len(ahead) < 2 and not arguments.brief)
    _print_all(chain(ahead, setups), answers.in_full if full else answers.in_brief, answers.refused, tally)
    if tally.setups + tally.refused != 1:
        print("\n".join(_summary(tally, answers.sheet, full)))
    return tally.status()


def _with_sheet(
    arguments: argparse.Namespace, setups: Iterable[tuple[bytes, str]], auditor: Auditor
) -> Iterator[tuple[bytes, str]]:
    """The one setup, once its sheet is written. Raises BadInput."""
    found = list(islice(setups, 2))
    if len(found) > 1:
        advice = "Take one out of it, for example: sed -n 2p FILE | setup-audit check - --sheet unit.pdf"
        raise BadInput([Problem(Place("--sheet"), "is of one setup, and here are more.", advice)])
    for text, shown in found:
        try:
            setup = read_setup(text, shown, auditor.rulebook)
        except BadInput:
            continue  # it is refused where it is audited, and counted there
        machine = machine_of(setup, auditor.rulebook, auditor.hold_at)
        write_sheet(arguments, partial(_unit_sheet, machine))
    return iter(found)


def _unit_sheet(machine: Machine, printing: Printing) -> Printout:
    from api.pages.sheets.unit_sheet import unit_sheet

    return unit_sheet(machine, printing)


@dataclass
class Answers:
    """What is printed for one setup, in each way of saying it; every answer is counted."""

    auditor: Auditor
    tally: Tally
    sheet: Page
    facts: bool

    def as_json(self, text: bytes, shown: str) -> Iterator[str]:
        report = self.report(text, shown)
        yield json.dumps(report_json(report, self.auditor.rulebook, self.facts), ensure_ascii=False)

    def in_full(self, text: bytes, shown: str) -> Iterator[str]:
        report = self.report(text, shown)
        if self.tally.setups > 1:
            yield ""
        yield from self.sheet.report(report_json(report, self.auditor.rulebook, with_facts=True), self.facts)

    def in_brief(self, text: bytes, shown: str) -> Iterator[str]:
        """By the quick way: many complete setups take a small part of the time."""
        judged = self.auditor.judge(text, shown)
        self.tally.add(
            judged.clearance,
            ((Level(hit[0][0]), Verdict.UNKNOWN if hit[0][3] else Verdict.BROKEN) for hit in judged.hits),
        )
        if self.tally.setups > 1:
            yield ""
        yield from self.sheet.brief(judged_json(judged, self.auditor.rulebook))

    def refused(self, shown: str, _: Sequence[Problem]) -> str:
        return f"{shown}: refused"

    def refused_json(self, shown: str, problems: Sequence[Problem]) -> str:
        return json.dumps({"refused": shown, "problems": [problem_json(problem) for problem in problems]})

    def report(self, text: bytes, shown: str) -> Report:
        report = self.auditor.report(text, shown)
        self.tally.add(report.clearance, ((finding.risk.level, finding.verdict) for finding in report.findings))
        return report


def _print_all(
    setups: Iterable[tuple[bytes, str]],
    answer: Callable[[bytes, str], Iterable[str]],
    refused: Callable[[str, Sequence[Problem]], str],
    tally: Tally,
) -> None:
    for text, shown in setups:
        try:
            said = "\n".join(answer(text, shown))
        except BadInput as error:
            tally.refused += 1
            said = refused(shown, error.problems)
            sys.stdout.flush()  # so that both outputs stay in order on one terminal
            say_problems(error.problems)
        print(said)


def _summary(tally: Tally, sheet: Page, full: bool) -> Iterator[str]:
    yield ""
    cleared = tally.setups - tally.held
    yield f"{tally.setups} setups audited: {cleared} cleared, {tally.held} held; {tally.refused} refused as bad input."
    order = [f"{level.name.lower()} {verdict}" for level in Level for verdict in ("broken", "unknown")]
    counts = ", ".join(f"{tally.findings[key]} {key}" for key in order if key in tally.findings)
    if counts:
        more = "" if full else " With --full: why, what it damages and how to put it right."
        yield f"Findings: {counts}.{more}"
        if not full:
            yield from sheet.safety()


def _setups(files: list[str], tally: Tally) -> Iterator[tuple[bytes, str]]:
    """Every setup of every file with its place; a file that can't be opened, or is empty, is refused and counted."""
    for name in files:
        if name == "-":
            yield from _of(sys.stdin.buffer, "standard input", tally)
            continue
        try:
            with Path(name).open("rb") as stream:
                yield from _of(stream, name, tally)
        except OSError as error:
            tally.refused += 1
            say_problems([Problem(Place(name), f"can't be read: {error.strerror}.")])


def _of(stream: BinaryIO, shown: str, tally: Tally) -> Iterator[tuple[bytes, str]]:
    empty = True
    for text, place in setups_in(stream):
        empty = False
        yield text, f"{shown}{place}"
    if empty:
        tally.refused += 1
        say_problems([Problem(Place(shown), "holds no setup.", "Write one JSON object, or one a line.")])
