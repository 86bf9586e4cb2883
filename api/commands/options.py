"""Options that several commands share."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from api.store import ADDRESS


def usual_store() -> str:
    """The database where none is named: that of the environment, else a file in the user's own data folder."""
    named = os.environ.get(ADDRESS)
    if named:
        return named
    data = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return f"sqlite:///{data / 'setup-audit' / 'record.db'}"


def add_store(command: argparse.ArgumentParser) -> None:
    """Which database."""
    command.add_argument(
        "--store",
        default=usual_store(),
        metavar="URL",
        help="the database (else $SETUP_AUDIT_STORE, else a file of yours)",
    )


def add_site(command: argparse.ArgumentParser) -> None:
    """Rules and cards of one's own."""
    command.add_argument(
        "--site", action="append", type=Path, default=[], metavar="DIR", help="folder of your own rules and cards"
    )


def add_hold_at(command: argparse.ArgumentParser) -> None:
    """The level that holds."""
    command.add_argument(
        "--hold-at", choices=("high", "serious", "medium", "low"), default="high", help="level that holds (high)"
    )


def add_fitted(command: argparse.ArgumentParser) -> None:
    """Variants of the machine."""
    command.add_argument(
        "--fitted", action="append", default=[], metavar="BUILD=CHOICE", help="which variant the machine has"
    )


def add_planning(command: argparse.ArgumentParser) -> None:
    """What may not be done, and how the answer is wanted."""
    command.add_argument(
        "--leave", action="append", default=[], metavar="NAME", help="stays as it is: setting, part, station, procedure"
    )
    command.add_argument(
        "--without", action="append", default=[], metavar="THING", help="a part or tool that is not on hand"
    )
    command.add_argument("--people", type=int, metavar="N", help="most people there are")
    command.add_argument("--minutes", type=float, metavar="N", help="most minutes there are")
    command.add_argument(
        "--seconds", type=_seconds, default=10.0, metavar="S", help="longest to look for the cheapest work (10)"
    )
    add_hold_at(command)
    command.add_argument("--json", action="store_true", help="for programs")
    add_site(command)


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 < seconds <= 3600:
        raise argparse.ArgumentTypeError("must lie above 0 and be at most 3600")
    return seconds
