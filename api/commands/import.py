"""setup-audit import: machines, engine hours, crops and planned harvests from files of farm systems."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.options import add_site, add_store
from api.commands.token import Refused, organisation_of, with_store
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.exchange.reading.files import Files
    from api.service.importing import Prepared, Report
    from api.store.database import Store
    from audit.nouns.rulebook import Rulebook

EXAMPLES = {
    "import": (
        "setup-audit import fleet.xml --dry-run        what would happen, and nothing else",
        "setup-audit import TASKDATA.zip --timezone Europe/Berlin",
        "setup-audit import machines.csv --map machines.yaml",
    )
}
MOST_OF_A_FILE = 64 * 1024 * 1024
_NOT_DONE = ("refused", "waits")


def add(command: argparse.ArgumentParser, _: str) -> None:
    """Arguments and options."""
    command.add_argument("file", nargs="+", type=Path, metavar="FILE", help="a file, an archive, or a folder")
    command.add_argument("--map", type=Path, metavar="FILE", help="mapping of a table's columns (YAML)")
    command.add_argument("--dry-run", action="store_true", help="show what would happen; nothing is put on record")
    command.add_argument("--format", default="", metavar="NAME", help="its format, where that can't be seen")
    command.add_argument("--source", default="", metavar="NAME", help="a name for where it comes from")
    command.add_argument(
        "--timezone", default="", metavar="NAME", help="time zone of times without an offset, as Europe/Berlin"
    )
    command.add_argument("--json", action="store_true", help="for programs")
    command.add_argument("--organisation", metavar="ID", help="where there are several")
    add_site(command)
    add_store(command)


def run(arguments: argparse.Namespace, _: str, clock: Callable[[], float] = time.time) -> int:
    """Run it; status 0 done, 1 done but rows wait or were refused, 2 bad input."""
    return with_store(arguments, lambda store: _import(arguments, store, clock()))


def _import(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.exchange.reading.nouns import NotRead
    from api.import_wire import report_json
    from api.service import importing

    mapping = _bytes(arguments.map) if arguments.map else b""
    status, answers = CLEARED, []
    for path in arguments.file:
        try:
            prepared = importing.prepare(
                files_of(path), mapping, arguments.format, arguments.source.strip(), arguments.timezone.strip()
            )
        except NotRead as error:
            print(f"Not read: {error}.", file=sys.stderr)
            status = BAD_INPUT
            continue
        report = at_desk(arguments, store, now, prepared, arguments.dry_run)
        if any(line.fate in _NOT_DONE for line in report.lines):
            status = max(status, 1)
        if arguments.json:
            answers.append(report_json(report, arguments.dry_run))
        else:
            print("\n".join(told(report, arguments.dry_run)))
    if arguments.json:
        print(json.dumps(answers, ensure_ascii=False, indent=1))
    return status


def at_desk(arguments: argparse.Namespace, store: Store, now: float, prepared: Prepared, dry_run: bool) -> Report:
    """Puts an import on record, or only shows it. Raises Refused."""
    from api.environment import say_problems
    from api.identity.tokens import at_command_line
    from api.service import importing
    from api.service.draft import Draft, done, drawn
    from api.service.gate import Gate
    from api.service.in_force import InForce, Unreadable, read_shipped
    from audit.nouns.problem import BadInput

    caller = at_command_line(organisation_of(arguments, store))

    def draw(draft: Draft, rulebook: Rulebook) -> Report:
        return importing.apply(draft, Gate(in_force, ""), rulebook, prepared)

    try:
        in_force = InForce(store, read_shipped(arguments.site))
        in_force.prepare(caller.organisation)
        if dry_run:
            return drawn(store, in_force, caller, now, draw)[1]
        return done(store, in_force, caller, now, draw)
    except BadInput as error:
        say_problems(error.problems)
        raise Refused("Nothing was imported: the rulebook can't be read.") from error
    except Unreadable as error:
        raise Refused(f"Nothing was imported: {error}") from error


def told(report: Report, dry_run: bool) -> list[str]:
    """What came of an import, for people."""
    row = report.row
    counts = ", ".join(f"{number} {fate}" for fate, number in report.counts().items()) or "nothing in it"
    if dry_run:
        head = f"{row.name}: would be imported ({row.format}): {counts}. Nothing was put on record."
    elif report.repeated:
        head = f"{row.name}: all of it is on record, by import {row.number}: {counts}."
    else:
        head = f"{row.name}: import {row.number} ({row.id}, {row.format}): {counts}."
    lines = [head]
    for line in report.lines:
        said = ": ".join(one for one in (line.unit, line.text) if one)
        lines.append(
            f"  {line.fate:14} {line.place}{f': {said}' if said else ''}{f'. {line.advice}' if line.advice else ''}"
        )
    lines += [f"  note: {note}" for note in report.notes]
    lines += [f"  revoked: start {start}, which would not be cleared now" for start in report.revoked]
    if any(line.fate == "waits" for line in report.lines) and not dry_run:
        lines.append("  What waits is answered with: setup-audit imports questions, setup-audit imports answer")
    return lines


def files_of(path: Path) -> Files:
    """A file, the files of an archive, or those of a folder. Raises Refused, NotRead."""
    from api.exchange.reading.files import MOST_BYTES, MOST_FILES, Files, opened
    from api.exchange.reading.nouns import NotRead

    if not path.is_dir():
        return opened(path.name, _bytes(path))
    found = sorted(one for one in path.rglob("*") if one.is_file() and not one.name.startswith("._"))
    if len(found) > MOST_FILES or sum(one.stat().st_size for one in found) > MOST_BYTES:
        raise NotRead(str(path), "holds too many files, or too much", "Name a smaller folder")
    return Files(path.name, {one.relative_to(path).as_posix(): partial(_bytes, one) for one in found})


def _bytes(path: Path) -> bytes:
    """A file's bytes. Raises Refused."""
    try:
        if path.stat().st_size > MOST_OF_A_FILE:
            raise Refused(f"{path} has more than {MOST_OF_A_FILE:,} bytes.")
        return path.read_bytes()
    except OSError as error:
        raise Refused(f"{path} can't be read: {error.strerror}") from error
