"""setup-audit token: who may do what over HTTP."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from api.certificates.moment import shown
from api.commands.options import add_store
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.store.database import Store

SAYS = {
    "make": "make a token; its secret is printed this once",
    "list": "every token, without its secret",
    "revoke": "end a token; a running server follows within a second",
}
EXAMPLES = {
    "make": "setup-audit token make --store sqlite:///audit.db --name 'tablet, unit 07' --role mechanic --unit unit-07",
    "list": "setup-audit token list --store sqlite:///audit.db",
    "revoke": "setup-audit token revoke 5f0c1d2e3a4b5c6d --store sqlite:///audit.db",
}
ROLES = ("reader", "recorder", "mechanic", "approver", "author", "owner")
USUAL_DAYS = 365.0
_DAY = 86400.0


class Refused(Exception):
    """The command can't be done, and why."""


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "make":
        command.add_argument("--name", required=True, help="who or what carries it, as the record will name them")
        command.add_argument("--role", required=True, choices=ROLES, help="what it is for")
        command.add_argument("--unit", action="append", default=[], metavar="ID", help="only for this unit; repeatable")
        ends = command.add_mutually_exclusive_group()
        ends.add_argument("--days", type=_days, default=USUAL_DAYS, metavar="N", help="days until it expires (365)")
        ends.add_argument("--forever", action="store_true", help="it never expires")
    if name == "list":
        command.add_argument("--json", action="store_true", help="for programs")
    if name == "revoke":
        command.add_argument("token", metavar="ID", help="id of the token, as 'token list' shows it")
        command.add_argument("--force", action="store_true", help="also the last owner's token")
    command.add_argument("--organisation", metavar="ID", help="where there are several")
    add_store(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 2 bad input."""
    return with_store(arguments, lambda store: _RUN[name](arguments, store, clock()))


def with_store(arguments: argparse.Namespace, run: Callable[[Store], int]) -> int:
    """Runs a command on the store of its option; what can't be done is said, with status 2."""
    from api.store.database import NoSuchOrganisation, NotAStore, Store, StoreUnavailable

    try:
        store = Store(arguments.store)
        try:
            return run(store)
        finally:
            store.close()
    except NoSuchOrganisation as error:
        print(f"There is no organisation '{error}'; 'setup-audit organisation show' lists them.", file=sys.stderr)
    except (NotAStore, StoreUnavailable, Refused) as error:
        print(error, file=sys.stderr)
    return BAD_INPUT


def organisation_of(arguments: argparse.Namespace, store: Store) -> str:
    """The organisation that is named, or the only one. Raises Refused."""
    from api.store.organisations import ids

    if arguments.organisation:
        return str(arguments.organisation)
    with store.connection() as connection:
        found = ids(connection)
    if len(found) == 1:
        return found[0]
    if not found:
        raise Refused("There is no organisation yet: setup-audit organisation make ID --name NAME")
    raise Refused(f"There are several organisations; say which with --organisation: {', '.join(found)}")


def _make(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.identity.rights import Role
    from api.identity.tokens import BadToken, at_command_line, make
    from api.store.tokens import NameTaken

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, now) as work:
            expires = None if arguments.forever else work.now + arguments.days * _DAY
            made, secret = make(work, caller, arguments.name, Role(arguments.role), arguments.unit, expires)
    except BadToken as error:
        raise Refused(f"The token can't be made: {error}.") from error
    except NameTaken as error:
        raise Refused(
            f"A token is or was called '{error}'; the record names tokens, so choose another name."
        ) from error
    print(
        f"Token {made.id} of {made.organisation}. Its secret is printed this once, and kept nowhere:", file=sys.stderr
    )
    print(secret)
    return CLEARED


def _list(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from dataclasses import asdict

    from api.store.tokens import every

    with store.reading(organisation_of(arguments, store), now) as work:
        found, at = every(work), work.now
    if arguments.json:
        print(json.dumps([asdict(one) for one in found], ensure_ascii=False, indent=1))
        return CLEARED
    for one in found:
        state = "live" if one.live(at) else "revoked" if one.revoked is not None else "expired"
        units = ", ".join(one.units) or "all units"
        until = f"until {shown(one.expires)}" if one.expires is not None else "for ever"
        print(f"{one.id}  {state:8} {one.role:9} {one.name}: {units}, {until}")
    if not found:
        print("There is no token yet.")
    return CLEARED


def _revoke(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.identity.tokens import LastOwner, at_command_line, revoke
    from api.store.tokens import NoSuchToken

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, now) as work:
            ended = revoke(work, caller, arguments.token, arguments.force)
    except NoSuchToken as error:
        raise Refused(f"There is no token '{error}'; 'setup-audit token list' lists them.") from error
    except LastOwner as error:
        raise Refused(f"The token was not revoked: {error} (--force)") from error
    print(f"{ended.name}: revoked. A running server follows within a second.")
    return CLEARED


def _days(text: str) -> float:
    days = float(text)
    if not 0 < days <= 3660:
        raise argparse.ArgumentTypeError("must lie above 0 and be at most 3660")
    return days


_RUN = {"make": _make, "list": _list, "revoke": _revoke}
