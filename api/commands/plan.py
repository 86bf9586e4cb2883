"""setup-audit plan"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.options import add_planning
from api.commands.sheets import add_sheet, machine_of, write_sheet
from api.environment import page, rulebook, say_problems
from api.inputs import setups_in
from api.plan_text import PlanPage
from api.plan_wire import out_of_time_after, planned_json
from api.status import BAD_INPUT, CLEARED, HELD
from audit.intake.locks import read_locks
from audit.intake.setups import read_setup
from audit.intake.tree import Node, Problems
from audit.nouns.machine import MachineCard
from audit.nouns.plan import Locks, Plan, Planned
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime

if TYPE_CHECKING:
    from api.pages.sheets.printout import Printing, Printout

TOO_SLOW = "time ran out before any plan was found; give it more with --seconds."


EXAMPLES = {
    "plan": (
        "setup-audit plan unit-07.json",
        "setup-audit plan unit-07.json --sheet work-order.pdf --paper letter",
        "setup-audit plan unit-07.json --leave feeder.drum --without 'lifting strap' --people 1 --minutes 240",
    )
}


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("file", metavar="FILE", help="one setup; - for a pipe")
    add_planning(command)
    add_sheet(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """The cheapest work that puts a setup right, in walking order."""
    try:
        found = rulebook(arguments.site)
        setup, locks = setup_and_locks(arguments, found)
        planned = planner(arguments, found).plan(setup, locks, out_of_time_after(arguments.seconds))
        write_sheet(arguments, lambda printing: _order(arguments, setup, planned, found, printing))
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except OutOfTime:
        print(TOO_SLOW, file=sys.stderr)
        return BAD_INPUT
    answer = planned_json(planned, found)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
    else:
        print("\n".join(plan_page(found).planned(answer)))
    return status(planned)


def _order(
    arguments: argparse.Namespace, setup: Setup, planned: Planned, found: Rulebook, printing: Printing
) -> Printout:
    from api.pages.sheets.work_order import work_order

    return work_order(machine_of(setup, found, Level[arguments.hold_at.upper()]), planned, printing)


def planner(arguments: argparse.Namespace, found: Rulebook) -> Planner:
    return Planner(found, Level[arguments.hold_at.upper()])


def plan_page(found: Rulebook) -> PlanPage:
    """A page as wide as the terminal."""
    plain = page(found)
    return PlanPage(plain.width, plain.colour, plain.usual)


def status(planned: Planned) -> int:
    """Cleared where there is a plan, or nothing to do, in every branch."""
    return CLEARED if all(isinstance(branch.outcome, Plan) for branch in planned.branches) else HELD


def setup_and_locks(arguments: argparse.Namespace, found: Rulebook) -> tuple[Setup, Locks]:
    """The setup of the file and what may not be done. Raises BadInput."""
    setup = one_setup(arguments.file, found)
    problems = Problems()
    locks = locks_of(arguments, found.machines[setup.unit.card], found, problems)
    if problems:
        raise BadInput(problems.found)
    return setup, locks


def one_setup(name: str, found: Rulebook) -> Setup:
    """The one setup of a file, or of standard input for '-'. Raises BadInput."""
    shown = "standard input" if name == "-" else name
    try:
        if name == "-":
            texts = list(setups_in(sys.stdin.buffer))
        else:
            with Path(name).open("rb") as stream:
                texts = list(setups_in(stream))
    except OSError as error:
        raise BadInput([Problem(Place(shown), f"can't be read: {error.strerror}.")]) from None
    if len(texts) != 1:
        count = f"{len(texts)} setups" if texts else "no setup"
        advice = f"Take one out of it, for example: sed -n 2p {name} | setup-audit plan -"
        raise BadInput(
            [Problem(Place(shown), f"holds {count}; one is planned at a time.", advice if len(texts) > 1 else "")]
        )
    text, place = texts[0]
    return read_setup(text, f"{shown}{place}", found)


def locks_of(arguments: argparse.Namespace, card: MachineCard, found: Rulebook, problems: Problems) -> Locks:
    """What the options say may not be done; each mistake has its option as place."""

    def listed(option: str, names: list[str]) -> Node:
        return Node([Node(name, Place(option)) for name in names], Place(option))

    tree = {"leave": listed("--leave", arguments.leave), "lacking": listed("--without", arguments.without)}
    for key in ("people", "minutes"):
        tree[key] = Node(getattr(arguments, key), Place(f"--{key}"))
    return read_locks(Node(tree, Place("options")), card, found, problems)
