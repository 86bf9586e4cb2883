"""setup-audit changeover"""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from api.commands.options import add_fitted, add_planning
from api.commands.plan import TOO_SLOW, locks_of, one_setup, plan_page, planner, status
from api.commands.sheets import add_sheet, machine_of, write_sheet
from api.environment import rulebook, say_problems
from api.plan_wire import changeover_json, out_of_time_after
from api.status import BAD_INPUT
from audit.intake.locks import NO_LEGAL, read_builds, read_card, read_crop, read_header
from audit.intake.tree import Node, Problems
from audit.nouns.plan import Planned
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.planning.changeover import changeover as change_over
from audit.planning.changeover import what_changes
from audit.planning.solver import OutOfTime
from audit.sheet import make_sheet

if TYPE_CHECKING:
    from api.pages.sheets.printout import Printing, Printout

OF_A_SETUP = ("leave", "without", "people", "minutes", "sheet")
OF_A_CARD = ("card", "from_crop", "fitted")


EXAMPLES = {
    "changeover": (
        "setup-audit changeover unit-07.json --to soybean --header draper",
        "setup-audit changeover unit-07.json --to soybean --sheet cab.pdf",
        "setup-audit changeover --card axial-single --from corn --to soybean",
    )
}


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("file", nargs="?", metavar="FILE", help="one setup; - for a pipe; else --card and --from")
    command.add_argument("--to", required=True, metavar="CROP", help="crop to change to")
    command.add_argument("--header", metavar="KIND", help="kind of header for it (today's if it suits)")
    command.add_argument("--card", help="without a setup: any machine of this card that is in order")
    command.add_argument("--from", dest="from_crop", metavar="CROP", help="without a setup: the crop it is set for")
    add_fitted(command)
    add_planning(command)
    add_sheet(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """The work from one crop to another: for a machine as found, or for any machine of a card that is in order."""
    try:
        found = rulebook(arguments.site)
        _check_options(arguments)
        planned, from_crop = _of_setup(arguments, found) if arguments.file else _of_card(arguments, found)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except OutOfTime:
        print(TOO_SLOW, file=sys.stderr)
        return BAD_INPUT
    answer = changeover_json(planned, from_crop, found)
    sheet = plan_page(found)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
    else:
        print("\n".join(sheet.changeover(answer) if arguments.file else sheet.moves(answer)))
    return status(planned)


def _check_options(arguments: argparse.Namespace) -> None:
    """A file or a card, and the options that go with it."""
    problems = Problems()
    where = Place("setup-audit changeover")
    if arguments.file:
        for name in OF_A_CARD:
            if getattr(arguments, name):
                problems.add(where, f"--{name.removesuffix('_crop')} goes without a file.", "The file says it already.")
    else:
        for name, option in (("card", "--card"), ("from_crop", "--from")):
            if not getattr(arguments, name):
                problems.add(where, f"lacks a file, or else {option}.", "Give a setup, or --card and --from.")
        for name in OF_A_SETUP:
            if getattr(arguments, name) not in (None, []):
                problems.add(where, f"--{name} goes with a setup.", "Give its file.")
    if problems:
        raise BadInput(problems.found)


def _of_setup(arguments: argparse.Namespace, found: Rulebook) -> tuple[Planned, str]:
    setup = one_setup(arguments.file, found)
    card = found.machines[setup.unit.card]
    problems = Problems()
    locks = locks_of(arguments, card, found, problems)
    crop = read_crop(Node(arguments.to, Place("--to")), card, found, problems)
    header = read_header(Node(arguments.header, Place("--header")), card, found, problems)
    if problems:
        raise BadInput(problems.found)
    until = out_of_time_after(arguments.seconds)
    planned = change_over(planner(arguments, found), setup, crop, header, locks, until)
    write_sheet(arguments, lambda printing: _cab_sheet(arguments, setup, planned, found, printing))
    return planned, setup.crop


def _cab_sheet(
    arguments: argparse.Namespace, setup: Setup, planned: Planned, found: Rulebook, printing: Printing
) -> Printout:
    from api.pages.sheets.cab_sheet import cab_sheet
    from api.pages.sheets.unit_sheet import about_unit

    machine = machine_of(setup, found, Level[arguments.hold_at.upper()])
    to = make_sheet(found, machine.sheet.card, found.crops[planned.before.crop])
    return cab_sheet(machine, planned, setup.crop, to, about_unit(machine, printing.view), printing)


def _of_card(arguments: argparse.Namespace, found: Rulebook) -> tuple[Planned, str]:
    problems = Problems()
    card = read_card(Node(arguments.card, Place("--card")), found, problems)
    if card is None:
        raise BadInput(problems.found)
    crops = [
        read_crop(Node(name, Place(option)), card, found, problems)
        for name, option in ((arguments.from_crop, "--from"), (arguments.to, "--to"))
    ]
    header = read_header(Node(arguments.header, Place("--header")), card, found, problems)
    builds = read_builds(fitted_tree(arguments.fitted, problems), card, problems)
    if problems:
        raise BadInput(problems.found)
    until = out_of_time_after(arguments.seconds)
    try:
        planned = what_changes(planner(arguments, found), card.id, crops[0], crops[1], header, builds, until)
    except ValueError as error:
        raise BadInput([Problem(Place("--from"), f"{error}.", NO_LEGAL)]) from None
    return planned, crops[0]


def fitted_tree(options: list[str], problems: Problems) -> Node:
    """``--fitted BUILD=CHOICE`` as a tree; a build that is named twice must be named alike."""
    tree: dict[str, Node] = {}
    for option in options:
        name, sign, choice = option.partition("=")
        place = Place(f"--fitted {option}")
        if not sign or not name or not choice:
            problems.add(place, "must be BUILD=CHOICE.")
        elif name in tree and tree[name].value != choice:
            problems.add(place, f"'{name}' is already {tree[name].value}.", "Give it once.")
        else:
            tree[name] = Node(choice, place)
    return Node(tree, Place("--fitted"))
