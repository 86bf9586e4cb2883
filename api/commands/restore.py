"""setup-audit restore"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path

from api.commands.backup import told
from api.commands.options import add_store

EXAMPLES = {"restore": ("setup-audit restore store-2026-08-11.db --replace",)}


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("file", type=Path, metavar="FILE", help="a file that 'setup-audit backup' made")
    command.add_argument("--replace", action="store_true", help="put a SQLite store that is there aside")
    add_store(command)


def run(arguments: argparse.Namespace, _: str, clock: Callable[[], float] = time.time) -> int:
    """Makes a store of a backup; status 0 done, 1 the backup has faults and nothing was changed, 2 bad input."""
    from api.store.backup import restore

    return told(
        lambda: restore(arguments.file, arguments.store, arguments.replace, clock()),
        f"{arguments.file} was restored. What was written after it was made is not in it.",
    )
