"""setup-audit fleet-report"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.commands.options import add_site
from api.commands.sheets import add_sheet, write_sheet
from api.environment import page, rulebook, say_problems
from api.fleet_lines import read_fleet
from api.fleet_text import FleetPage
from api.fleet_wire import asked_of, comparison_json, fleet_json, schedule_json
from api.status import BAD_INPUT, CLEARED, HELD
from audit.fleet.comparison import compare
from audit.fleet.scheduling import EFFORT, schedule
from audit.fleet.visits import Visits, read_visits
from audit.nouns.problem import BadInput, Place, Problem

if TYPE_CHECKING:
    from api.pages.sheets.printout import Printing, Printout
    from audit.nouns.rulebook import Rulebook

EXAMPLES = {
    "fleet-report": (
        "setup-audit fleet-report report",
        "setup-audit fleet-report report --visits visits.yaml",
        "setup-audit fleet-report report --visits visits.yaml --sheet report.pdf",
        "setup-audit fleet-report report --before report-of-july --json",
    )
}
LACKS_SOLVER = (
    "Visits are planned by OR-Tools, which is not installed; install it with: "
    "pip install 'combine-setup-audit[schedule]'"
)


def add(command: argparse.ArgumentParser, _: str) -> None:
    """Arguments and options."""
    command.add_argument("folder", type=Path, metavar="DIR", help="what 'setup-audit fleet --out DIR' wrote")
    command.add_argument(
        "--visits", type=Path, metavar="FILE", help="technicians, farms, harvest dates: plan the visits"
    )
    command.add_argument(
        "--before", type=Path, metavar="DIR", help="an earlier audit of the same fleet to compare with"
    )
    command.add_argument(
        "--effort", type=_effort, default=EFFORT, metavar="N", help=f"how long to look for better visits ({EFFORT:g})"
    )
    command.add_argument("--top", type=count_of, default=20, metavar="N", help="entries of each list (20)")
    command.add_argument("--json", action="store_true", help="for programs")
    add_sheet(command)
    add_site(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """Report on an audited fleet; status 1 where a unit is held."""
    try:
        found = rulebook(arguments.site)
        answer = report(found, arguments.folder, arguments.visits, arguments.before, arguments.effort)
        write_sheet(arguments, lambda printing: _sheet(arguments.folder, answer, found, printing))
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] != "ortools":
            raise
        print(LACKS_SOLVER, file=sys.stderr)
        return BAD_INPUT
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
    else:
        plain = page(found)
        print("\n".join(FleetPage(plain.width, plain.colour, plain.usual, arguments.top).fleet(answer)))
    return HELD if answer["held"] else CLEARED


def report(found: Rulebook, folder: Path, visits: Path | None, before: Path | None, effort: float) -> dict[str, Any]:
    """The whole answer. Raises BadInput; ModuleNotFoundError where visits are wanted and the solver is missing."""
    fleet = read_fleet(folder)
    if fleet.digest != found.digest:
        message = f"was judged by rulebook {fleet.digest[:12]}, and this is {found.digest[:12]}."
        raise BadInput([Problem(Place(str(folder)), message, "Give the same --site, or audit the fleet again.")])
    plan = None if visits is None else _visits(visits, found)
    answer = fleet_json(fleet, found, {farm.name: farm.harvest for farm in plan.farms} if plan else {})
    answer["changed"] = None
    if before is not None:
        answer["changed"] = comparison_json(compare(read_fleet(before), fleet, asked_of(fleet, found)), fleet, found)
    answer["visits"] = None if plan is None else schedule_json(schedule(fleet.units, plan, effort), fleet)
    return answer


def _sheet(folder: Path, answer: dict[str, Any], found: Rulebook, printing: Printing) -> Printout:
    from api.pages.sheets.fleet_report import Beside, fleet_report

    return fleet_report(answer, read_fleet(folder), found, Beside(folder.resolve().name), printing)


def _visits(path: Path, found: Rulebook) -> Visits:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise BadInput([Problem(Place(str(path)), f"can't be read: {error.strerror}.")]) from None
    return read_visits(content, str(path), tuple(found.machines))


def _effort(text: str) -> float:
    effort = float(text)
    if not 0 < effort <= 100_000:
        raise argparse.ArgumentTypeError("must lie above 0 and be at most 100000")
    return effort


def count_of(text: str) -> int:
    """A whole number, at least 1."""
    top = int(text)
    if top < 1:
        raise argparse.ArgumentTypeError("must be at least 1")
    return top
