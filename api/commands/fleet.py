"""setup-audit fleet"""

from __future__ import annotations

import argparse
import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.options import add_hold_at, add_site
from api.environment import say_problems, shipped_rules
from api.status import BAD_INPUT, CLEARED
from audit.intake.columns import columns_of
from audit.intake.rulebook import layer_of, read_layers
from audit.nearest import did_you_mean
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook

if TYPE_CHECKING:
    from api.fleet.mapping import Mapper

EXAMPLES = {
    "fleet": (
        "setup-audit fleet 'spring/*.ndjson.gz' --out spring-audit --plan",
        "setup-audit fleet season.parquet --out season-audit --workers 8 --resume",
        "setup-audit fleet --columns axial-single > fleet.csv",
    )
}


def add(command: argparse.ArgumentParser, _: str) -> None:
    """Arguments and options of the command."""
    command.add_argument(
        "files",
        nargs="*",
        metavar="FILE",
        help="one setup a line, a JSON array, CSV or Parquet, also gzip or zstd; a pattern; - for a pipe",
    )
    command.add_argument("--out", type=Path, metavar="DIR", help="folder for the lists and the summary")
    command.add_argument("--plan", action="store_true", help="also plan the work for each unit")
    command.add_argument("--lists-only", action="store_true", help="don't write the lists as Parquet too")
    where = command.add_mutually_exclusive_group()
    where.add_argument(
        "--workers",
        type=_count,
        default=1,
        metavar="N",
        help="processes of this machine that judge; where they are several, two more write the tables (1)",
    )
    where.add_argument("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster, such as tcp://10.0.0.5:8786")
    command.add_argument("--resume", action="store_true", help="go on where a run that was stopped or killed was")
    command.add_argument("--columns", metavar="CARD", help="print the columns of a table for a card, and do no more")
    add_hold_at(command)
    add_site(command)


def _count(text: str) -> int:
    number = int(text)
    if not 1 <= number <= 1024:
        raise argparse.ArgumentTypeError("must lie from 1 to 1024")
    return number


def run(arguments: argparse.Namespace, _: str) -> int:
    """Audit every setup of every file into a folder; the exit status is that of ``check``."""
    from api.fleet.judging import OtherRulebook
    from api.fleet.mapping import GaveUp
    from api.fleet.outputs import InTheWay
    from api.fleet.run import Wanted, status_of
    from api.fleet.run import run as audit
    from api.fleet.telling import Teller

    try:
        site = tuple(layer_of(folder, str(folder)) for folder in arguments.site)
        rulebook = read_layers([layer_of(shipped_rules(), ""), *site])
        if arguments.columns:
            return columns(arguments.columns, rulebook)
        if not arguments.files or arguments.out is None:
            print("Name the files to audit and, with --out, a folder for what comes of it.", file=sys.stderr)
            return BAD_INPUT
        wanted = Wanted(
            tuple(arguments.files), arguments.out, rulebook, site, Level[arguments.hold_at.upper()], arguments.plan,
            not arguments.lists_only, arguments.resume,
        )  # fmt: skip
        teller = Teller(sys.stderr)
        try:
            summary = audit(wanted, _mapper(arguments), teller)
        finally:
            teller.close()
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except (GaveUp, InTheWay, OtherRulebook) as error:
        print(f"setup-audit fleet: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print(f"Stopped. It goes on where it was with: --out {arguments.out} --resume", file=sys.stderr)
        return BAD_INPUT
    print(
        f"{summary['setups']:,} setups: {summary['cleared']:,} cleared, {summary['held']:,} held, "
        f"{summary['set_aside']:,} set aside as bad input. Lists and summary are in {arguments.out}."
    )
    return status_of(summary)


def _mapper(arguments: argparse.Namespace) -> Mapper | None:
    if arguments.cluster:
        try:
            from api.fleet.cluster import Cluster
        except ImportError:
            from api.fleet.mapping import GaveUp

            raise GaveUp("--cluster needs the optional part 'cluster' of this program to be installed.") from None
        return Cluster(arguments.cluster)
    if arguments.workers > 1:
        from api.fleet.processes import Local

        return Local(arguments.workers)
    return None


def columns(card: str, rulebook: Rulebook) -> int:
    """Print the header line of a table for a card."""
    found = rulebook.machines.get(card)
    if found is None:
        known = ", ".join(rulebook.machines)
        print(
            f"No machine card is called '{card}'. {did_you_mean(card, rulebook.machines, f'Known: {known}.')}",
            file=sys.stderr,
        )
        return BAD_INPUT
    csv.writer(sys.stdout, lineterminator="\n").writerow(
        column.flat for column in columns_of(found, rulebook.vocabulary)
    )
    return CLEARED
