"""setup-audit check"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import BinaryIO

from api.environment import page, rulebook, say_problems
from api.inputs import setups_in
from api.status import BAD_INPUT, CLEARED, HELD
from api.text import SAFETY_FIRST, Page
from api.wire import problem_json, report_json
from audit.auditor import Auditor
from audit.nouns.finding import Clearance, Report
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level


@dataclass
class Tally:
    """What came of all setups."""

    setups: int = 0
    held: int = 0
    refused: int = 0
    findings: dict[str, int] = field(default_factory=dict)

    def add(self, report: Report) -> None:
        self.setups += 1
        self.held += report.clearance is Clearance.HELD
        for finding in report.findings:
            key = f"{finding.risk.level.name.lower()} {finding.verdict.value}"
            self.findings[key] = self.findings.get(key, 0) + 1

    def status(self) -> int:
        return BAD_INPUT if self.refused else HELD if self.held else CLEARED


def check(arguments: argparse.Namespace) -> int:
    """Audit every setup of every file; a bad one stops nothing and is counted."""
    try:
        auditor = Auditor(rulebook(arguments.site), Level[arguments.hold_at.upper()])
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    tally = Tally()
    setups = _setups(arguments.files, tally)
    if arguments.json:
        return _as_json(setups, auditor, tally, arguments.facts)
    ahead = list(_take(setups, 2))
    full = arguments.full or arguments.facts or (len(ahead) < 2 and not arguments.brief)
    _as_text(chain(ahead, setups), auditor, tally, page(), full, arguments.facts)
    if tally.setups + tally.refused != 1:
        _summary(tally)
    return tally.status()


def _as_json(setups: Iterator[tuple[bytes, str]], auditor: Auditor, tally: Tally, facts: bool) -> int:
    for text, shown in setups:
        try:
            report = auditor.report(text, shown)
        except BadInput as error:
            tally.refused += 1
            say_problems(error.problems)
            print(json.dumps({"refused": shown, "problems": [problem_json(problem) for problem in error.problems]}))
            continue
        tally.add(report)
        print(json.dumps(report_json(report, auditor.rulebook, facts), ensure_ascii=False))
    return tally.status()


def _as_text(
    setups: Iterator[tuple[bytes, str]], auditor: Auditor, tally: Tally, sheet: Page, full: bool, facts: bool
) -> None:
    for text, shown in setups:
        try:
            report = auditor.report(text, shown)
        except BadInput as error:
            tally.refused += 1
            print(f"{shown}: refused", flush=True)
            say_problems(error.problems)
            continue
        if tally.setups:
            print()
        tally.add(report)
        plain = report_json(report, auditor.rulebook, with_facts=facts)
        lines = sheet.report(plain, facts) if full else sheet.brief(plain)
        print("\n".join(lines))


def _summary(tally: Tally) -> None:
    cleared = tally.setups - tally.held
    print(
        f"\n{tally.setups} setups audited: {cleared} cleared, {tally.held} held; {tally.refused} refused as bad input."
    )
    order = [f"{level.name.lower()} {verdict}" for level in Level for verdict in ("broken", "unknown")]
    counts = ", ".join(f"{tally.findings[key]} {key}" for key in order if key in tally.findings)
    if counts:
        print(f"Findings: {counts}. With --full: why, what it damages and how to put it right.")
        print(SAFETY_FIRST)


def _take(setups: Iterator[tuple[bytes, str]], count: int) -> Iterator[tuple[bytes, str]]:
    for _ in range(count):
        found = next(setups, None)
        if found is None:
            return
        yield found


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
