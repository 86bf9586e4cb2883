"""setup-audit whatif"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from api.commands.changeover import fitted_tree
from api.commands.options import add_fitted, add_planning
from api.commands.plan import TOO_SLOW, locks_of, one_setup, plan_page, planner
from api.environment import rulebook, say_problems
from api.plan_wire import out_of_time_after, whatif_json
from api.status import BAD_INPUT, CLEARED, HELD
from audit.intake.locks import read_changes
from audit.intake.setups import HEADER_KEYS, JOB_KEYS
from audit.intake.tree import Problems
from audit.nearest import did_you_mean
from audit.nouns.finding import Clearance
from audit.nouns.machine import MachineCard
from audit.nouns.problem import BadInput, Place
from audit.nouns.quantity import SIDES, Form, Quantity, Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.planning.solver import OutOfTime
from audit.planning.whatif import what_if

_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
_JOB = {
    "job.crop": ("job", "crop"),
    **{name: ("job", key) for key, name in JOB_KEYS.items()},
    **{name: ("job", "header", key) for key, name in HEADER_KEYS.items()},
}


EXAMPLES = {
    "whatif": (
        "setup-audit whatif unit-07.json --set feeder.drum.right=raised --set 'rotor.speed=320 r/min'",
        "setup-audit whatif unit-07.json --unset feeder.sheave_gap --fitted shoe.stroke=long",
    )
}


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("file", metavar="FILE", help="one setup; - for a pipe")
    command.add_argument(
        "--set", action="append", default=[], metavar="NAME=VALUE", help="as in a setup; NAME.left=VALUE for one side"
    )
    command.add_argument("--unset", action="append", default=[], metavar="NAME", help="as if it were not known")
    add_fitted(command)
    add_planning(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """What some changes would do to a machine as found; nothing is stored."""
    try:
        found = rulebook(arguments.site)
        setup = one_setup(arguments.file, found)
        card = found.machines[setup.unit.card]
        problems = Problems()
        locks = locks_of(arguments, card, found, problems)
        changes = Changes(card, found, problems)
        for option in arguments.set:
            changes.set(option)
        for name in arguments.unset:
            changes.unset(name)
        changes.fit(arguments.fitted)
        after = read_changes(changes.plain, setup, found, problems, changes.place_of)
        if problems:
            raise BadInput(problems.found)
        until = out_of_time_after(arguments.seconds)
        answer = what_if(planner(arguments, found), setup, after, locks, until)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except OutOfTime:
        print(TOO_SLOW, file=sys.stderr)
        return BAD_INPUT
    plain = whatif_json(answer, setup, after, found)
    print(json.dumps(plain, ensure_ascii=False) if arguments.json else "\n".join(plan_page(found).whatif(plain)))
    return CLEARED if answer.after.before.clearance is Clearance.CLEARED else HELD


class Changes:
    """Options of the command line as the sections of a setup that they change; every mistake goes on record."""

    def __init__(self, card: MachineCard, found: Rulebook, problems: Problems) -> None:
        self.card, self.rulebook, self.problems = card, found, problems
        self.names = on_card(card, found.vocabulary)
        self.plain: dict[str, Any] = {}
        self.options: dict[str, str] = {}
        self.given: dict[str, dict[str, str | None]] = {}

    def set(self, option: str) -> None:
        """NAME=VALUE, or NAME.left=VALUE for one side."""
        name, _, text = option.partition("=")
        if not name or not text.strip():
            self.problems.add(Place(f"--set {option}"), "must be NAME=VALUE.", "To say not known, use --unset NAME.")
            return
        self.put(name.strip(), text.strip(), f"--set {option}")

    def unset(self, name: str) -> None:
        """NAME or NAME.left: not known."""
        self.put(name, None, f"--unset {name}")

    def fit(self, options: list[str]) -> None:
        """BUILD=CHOICE."""
        tree = fitted_tree(options, self.problems)
        if isinstance(tree.value, dict) and tree.value:
            self.plain["fitted"] = tree.plain()
            self.options |= {f"fitted/{name}": f"--fitted {name}={node.value}" for name, node in tree.value.items()}

    def put(self, name: str, text: str | None, option: str) -> None:
        base, side = self.sided(name)
        quantity = self.quantity(base)
        path = None if quantity is None else self.path(base, quantity)
        place = Place(option)
        if quantity is None:
            advice = did_you_mean(base, self.changeable(), f"'setup-audit card show {self.card.id}' lists them.")
            self.problems.add(place, f"machine card {self.card.id} has nothing called '{base[:60]}'.", advice)
        elif path is None:
            advice = f"Use --fitted {base.removeprefix('build.')}=CHOICE." if quantity.role is Role.BUILD else ""
            self.problems.add(place, f"'{base}' is stated by the unit or its card, or computed.", advice)
        elif side and not quantity.sided:
            self.problems.add(place, f"'{base}' is not taken left and right.", f"Write {base}.")
        elif self.is_new(base, side, text, place):
            plain = _YES_NO.get(text.casefold(), text) if text and quantity.form is Form.YES_NO else text
            self.write(path, side, plain)
            self.options["/".join(path)] = option

    def sided(self, name: str) -> tuple[str, str]:
        """Name and side: the last word is a side unless the whole is a name."""
        base, _, last = name.rpartition(".")
        return (base, last) if last in SIDES and name not in self.names else (name, "")

    def quantity(self, name: str) -> Quantity | None:
        """What is called so on this card, or on every part of a family."""
        family, _, attribute = name.partition(".")
        return self.names.get(name) or self.rulebook.vocabulary.of_family(family).get(attribute)

    def path(self, name: str, quantity: Quantity) -> tuple[str, ...] | None:
        """Where it stands in a setup; None for what can't be changed."""
        if quantity.role in (Role.SETTING, Role.READING, Role.EVENT):
            return f"{quantity.role.value}s", name
        return _JOB.get(name)

    def changeable(self) -> list[str]:
        return [name for name, quantity in self.names.items() if self.path(name, quantity)]

    def is_new(self, name: str, side: str, text: str | None, place: Place) -> bool:
        """Whether it does not contradict an option before it; a contradiction goes on record."""
        sides = self.given.setdefault(name, {})
        for other, was in sides.items():
            if (other == side or "" in (other, side)) and was != text:
                told = [f"set to {one}" if one is not None else "unset" for one in (was, text)]
                self.problems.add(place, f"'{name}' is both {told[0]} and {told[1]}.", "Give it once.")
                return False
        sides[side] = text
        return True

    def write(self, path: tuple[str, ...], side: str, plain: object) -> None:
        inner = self.plain
        for key in path[:-1]:
            inner = inner.setdefault(key, {})
        if side and isinstance(inner.get(path[-1]), dict):
            inner[path[-1]][side] = plain
        elif not side or path[-1] not in inner:
            inner[path[-1]] = {side: plain} if side else plain

    def place_of(self, path: str) -> Place:
        """The option that a path inside the changes comes from."""
        found = [key for key in self.options if path == key or path.startswith(f"{key}/")]
        return Place(self.options[max(found, key=len)]) if found else Place("changes", path=path)
