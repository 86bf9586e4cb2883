"""setup-audit organisation: who keeps a record here, and on what terms."""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.options import add_store
from api.commands.token import Refused, organisation_of, with_store
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.store.database import Store
    from api.store.organisations import Organisation

SAYS = {
    "make": "add an organisation; none sees another's machines",
    "show": "list the organisations, or show one with its terms",
    "set": "set the terms for a start, and what broken rules do",
}
EXAMPLES = {
    "make": "setup-audit organisation make ridgeline --name 'Ridgeline Growers' --store sqlite:///audit.db",
    "show": "setup-audit organisation show ridgeline --store sqlite:///audit.db",
    "set": "setup-audit organisation set --most-days 7 --effect chaffer-too-open=shown --store sqlite:///audit.db",
}
LEVELS = ("high", "serious", "medium", "low")
EFFECTS = ("shown", "warned", "holds")


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "make":
        command.add_argument("organisation", metavar="ID", help="small letters, digits and hyphens; for ever")
        command.add_argument("--name", required=True, help="as people call it")
    else:
        command.add_argument("organisation", nargs="?", metavar="ID", help="where there are several")
    if name == "show":
        command.add_argument("--json", action="store_true", help="for programs")
    if name == "set":
        command.add_argument("--hold-at", choices=LEVELS, help="lowest risk level that holds a start")
        command.add_argument("--most-hours", type=float, metavar="N", help="engine hours until a new setup is needed")
        command.add_argument("--most-days", type=float, metavar="N", help="days until a new setup is needed")
        command.add_argument("--valid-for", type=float, metavar="N", help="hours that a certificate is good")
        command.add_argument(
            "--effect", action="append", default=[], type=_effect, metavar="RULE=WHAT",
            help="what a broken rule does: shown, warned or holds; repeatable",
        )  # fmt: skip
        command.add_argument(
            "--site", action="append", default=[], type=Path, metavar="DIR",
            help="folder of site rules, the same as the server is started with; repeatable",
        )  # fmt: skip
    add_store(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 2 bad input."""
    return with_store(arguments, lambda store: _RUN[name](arguments, store, clock()))


def _make(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.identity.tokens import at_command_line
    from api.store.organisations import AlreadyThere, BadName, make

    who = at_command_line(arguments.organisation).who
    try:
        with store.connection(writes=True) as connection:
            make(connection, arguments.organisation, arguments.name, who, now)
    except AlreadyThere as error:
        raise Refused(f"There is an organisation '{error}' already.") from error
    except BadName as error:
        raise Refused(f"The organisation can't be made: {error}.") from error
    print(
        f"{arguments.organisation} is there. Give it an owner: setup-audit token make "
        f"--organisation {arguments.organisation} --role owner --name NAME"
    )
    return CLEARED


def _show(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.store.organisations import ids, read, set_by_owner

    with store.connection() as connection:
        wanted = (arguments.organisation,) if arguments.organisation else ids(connection)
    found = []
    for id in wanted:
        with store.reading(id, now) as work:
            found.append(read(work))
    if arguments.json:
        plain = [{"id": one.id, "name": one.name, **set_by_owner(one.terms, one.effects)} for one in found]
        print(json.dumps(plain, ensure_ascii=False, indent=1))
        return CLEARED
    for one in found:
        print("\n".join(_lines(one)))
    if not found:
        print("There is no organisation yet.")
    return CLEARED


def _set(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from dataclasses import replace

    from api.environment import say_problems
    from api.identity.terms import BadTerms, check_terms
    from api.identity.tokens import at_command_line
    from api.service.gate import Gate
    from api.service.in_force import InForce, Unreadable, read_shipped
    from api.service.rulebooks import NoSuchRule, NotLowered, check_effects
    from api.store.organisations import read, set_terms
    from audit.nouns.clearance import Effect
    from audit.nouns.problem import BadInput
    from audit.nouns.risk import Level

    given = {"most_hours": arguments.most_hours, "most_days": arguments.most_days, "valid_for": arguments.valid_for}
    changes = {key: value for key, value in given.items() if value is not None}
    caller = at_command_line(organisation_of(arguments, store))
    try:
        in_force = InForce(store, read_shipped(arguments.site))
        in_force.prepare(caller.organisation)
        with store.writing(caller.organisation, caller.who, now) as work:
            before = read(work)
            level = Level[arguments.hold_at.upper()] if arguments.hold_at else before.terms.hold_at
            terms = replace(before.terms, hold_at=level, **changes)
            effects = {rule: Effect(what) for rule, what in arguments.effect}
            check_terms(terms)
            check_effects(in_force.rulebook(work), effects, before.effects)
            after = set_terms(work, terms, {**before.effects, **effects})
            gone = Gate(in_force, "").recheck(work)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    except (BadTerms, NoSuchRule, NotLowered, Unreadable) as error:
        raise Refused(f"Nothing was set: {error}") from error
    print("\n".join(_lines(after)))
    for start in gone:
        print(f"  revoked: start {start.id} of {start.unit}, which would not be cleared by these terms")
    return CLEARED


def _lines(found: Organisation) -> list[str]:
    terms = found.terms
    return [
        f"{found.id}: {found.name}",
        f"  a start is held at {terms.hold_at.name.capitalize()} and above",
        f"  a new setup is needed after {terms.most_hours:g} engine hours, or {terms.most_days:g} days",
        f"  a certificate is good for {terms.valid_for:g} h",
        *(f"  {rule}: {effect.value} only" for rule, effect in sorted(found.effects.items())),
    ]


def _effect(text: str) -> tuple[str, str]:
    rule, _, what = text.partition("=")
    if not rule or what not in EFFECTS:
        raise argparse.ArgumentTypeError(f"must be RULE=WHAT, with WHAT one of {', '.join(EFFECTS)}")
    return rule, what


_RUN = {"make": _make, "show": _show, "set": _set}
