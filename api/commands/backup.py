"""setup-audit backup"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

from api.commands.options import add_store
from api.commands.token import with_store
from api.status import BAD_INPUT, CLEARED, HELD

if TYPE_CHECKING:
    from api.store.backup import Copied

EXAMPLES = {"backup": ("setup-audit backup store-2026-08-11.db",)}
SECRET = (
    "The server's secret is not in it: keep that file too, and apart from this one. Without it the server signs with a "
    "new key; what it signed before still verifies."
)
SERVER_TOOLS = (
    "For a large PostgreSQL server use its own dump tools, and this as well: it is verified, and it goes into a store "
    "of either kind."
)
MOST_TOLD = 50
"""Most faults that are printed."""


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments."""
    command.add_argument("file", type=Path, metavar="FILE", help="a new file: a SQLite database, whatever the store is")
    add_store(command)
    command.epilog = f"{command.epilog}\n\n{fill(SECRET)}\n\n{fill(SERVER_TOOLS)}"


def run(arguments: argparse.Namespace, _: str) -> int:
    """Copies a store; status 0 done, 1 the store has faults and nothing was made, 2 bad input."""
    from api.store.backup import back_up

    if not is_there(arguments.store):
        return BAD_INPUT
    done = f"{arguments.file} is a verified copy. {SECRET}"
    return with_store(arguments, lambda store: told(lambda: back_up(store, arguments.file), done))


def is_there(address: str) -> bool:
    """Whether a SQLite store is there, which opening it would make; said where it is not. True for any other kind."""
    from api.store.backup import file_of

    file = file_of(address)
    if file is None or file.is_file():
        return True
    print(f"There is no file {file}.", file=sys.stderr)
    return False


def told(copy: Callable[[], Copied], done: str) -> int:
    """Does it and says what came of it."""
    from api.store.backup import Faulty, Refused
    from api.store.database import NotAStore, StoreUnavailable

    try:
        copied = copy()
    except Faulty as error:
        for organisation, fault in error.found[:MOST_TOLD]:
            print(f"{organisation or 'database'}: {fault.text}", file=sys.stderr)
        more = f" The first {MOST_TOLD} are listed." if len(error.found) > MOST_TOLD else ""
        print(f"Faults: {len(error.found)}; nothing was made or changed.{more}", file=sys.stderr)
        return HELD
    except (Refused, NotAStore, StoreUnavailable) as error:
        print(f"{error}.", file=sys.stderr)
        return BAD_INPUT
    for organisation, (number, hash) in copied.heads.items():
        print(f"{organisation}: {number} events, head {number}:{hash}")
    if copied.aside is not None:
        print(f"The store that was there is {copied.aside} now.")
    print(done)
    return CLEARED
