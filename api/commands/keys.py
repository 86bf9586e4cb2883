"""setup-audit keys: the keys that sign start certificates."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from api.commands.options import add_store
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.store.database import Store

SAYS = {
    "list": "every signing key, newest first",
    "rotate": "let a new key sign; those before it still verify",
    "compromised": "nothing that a key signed counts any more, and its starts are revoked",
}
EXAMPLES = {
    "list": "setup-audit keys list --store sqlite:///audit.db",
    "rotate": "setup-audit keys rotate --store sqlite:///audit.db",
    "compromised": "setup-audit keys compromised KID --store sqlite:///audit.db",
}


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "compromised":
        command.add_argument(
            "key", metavar="KID", help="id of the key, as 'keys list' shows it, behind '--' if it begins with '-'"
        )
    add_store(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 2 bad input."""
    from api.certificates.secret import NoSecret, secret_of
    from api.identity.caller import How
    from api.service.withdrawing import withdraw_key
    from api.store.database import NotAStore, Store, StoreUnavailable
    from api.store.keys import NoSuchKey, rotate

    try:
        store = Store(arguments.store)
        try:
            if name == "list":
                return _list(store)
            secret = secret_of(store.file, os.environ)
            if name == "rotate":
                with store.connection(writes=True) as connection:
                    made = rotate(connection, secret, clock())
                said = f"{made.id} signs from now on. Terminals must fetch the keys before they can check it."
            else:
                gone = withdraw_key(store, arguments.key, secret, How.COMMAND_LINE.value, clock())
                said = "\n".join(
                    [
                        f"{arguments.key} is compromised: nothing that it signed counts, and it is published no more. "
                        "Terminals must fetch the keys and the list of revoked starts at once; units that were started "
                        "on its certificates need new ones.",
                        *(f"  revoked: start {start.id} of {start.unit}" for start in gone),
                    ]
                )
        finally:
            store.close()
    except NoSuchKey as error:
        print(f"There is no signing key '{error}'; 'setup-audit keys list' lists them.", file=sys.stderr)
        return BAD_INPUT
    except (NotAStore, StoreUnavailable, NoSecret) as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    print(said)  # once it is written
    return CLEARED


def _list(store: Store) -> int:
    from api.certificates.moment import shown
    from api.store.keys import lines

    with store.connection() as connection:
        found = lines(connection)
    for line in found:
        state = "signs" if line.signs else "compromised" if line.compromised else "retired"
        retired = f", retired {shown(line.retired)}" if line.retired is not None else ""
        print(f"{line.id}  {state:11}  made {shown(line.created)}{retired}")
    if not found:
        print("No key was made yet; the first certificate makes one.")
    return CLEARED
