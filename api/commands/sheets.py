"""``--sheet FILE``: what a command answers as a sheet for paper or a spreadsheet. Several commands share it."""

from __future__ import annotations

import argparse
import getpass
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from audit.nouns.problem import BadInput, Place, Problem

if TYPE_CHECKING:
    from api.pages.sheets.printout import Printing, Printout
    from api.pages.sheets.unit_sheet import Machine
    from audit.nouns.risk import Level
    from audit.nouns.rulebook import Rulebook
    from audit.nouns.setup import Setup


def add_sheet(command: argparse.ArgumentParser) -> None:
    """Where a sheet goes, and how it is wanted."""
    command.add_argument(
        "--sheet", type=Path, metavar="FILE", help="also write it to print, or as tables: .pdf, .html, .xlsx, .csv"
    )
    command.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of the sheet (a4)")
    command.add_argument("--language", default="en", metavar="TAG", help="language of the sheet, as de (en)")
    command.add_argument(
        "--units", choices=("card", "us", "si"), default="card", help="units of the sheet (the card's)"
    )


def write_sheet(arguments: argparse.Namespace, make: Callable[[Printing], Printout]) -> None:
    """Writes the sheet that the options ask for, if they do. Raises BadInput.

    Args:
        make: the sheet for whom it is printed for.
    """
    if arguments.sheet is None:
        return
    # what lays sheets out takes its time to load, and most calls want none
    from api.drawings.svg import in_words
    from api.pages.languages import languages
    from api.pages.sheets.press import Busy, LacksLayout
    from api.pages.sheets.printout import MEDIA, Printing, printed
    from api.pages.telling import teller_of
    from api.pages.view import View

    path: Path = arguments.sheet
    ending = path.suffix.removeprefix(".").lower()
    if ending not in MEDIA:
        raise _bad(f"--sheet {path}", "ends in none that a sheet can have.", f"Use one of: {', '.join(MEDIA)}.")
    if arguments.language not in languages():
        raise _bad(f"--language {arguments.language}", "is not there.", f"Use one of: {', '.join(languages())}.")
    view = View(None, languages()[arguments.language], arguments.units)
    printing = Printing(view, time.time(), _user(), paper=arguments.paper)
    try:
        with in_words(teller_of(view).drawn):
            content = printed(make(printing), printing, ending)
        beside = path.with_name(f".{path.name}.new")  # so that a sheet is there whole or not at all
        beside.write_bytes(content)
        os.replace(beside, path)
    except (LacksLayout, Busy) as error:
        raise _bad(f"--sheet {path}", "was not written.", str(error)) from None
    except OSError as error:
        raise _bad(f"--sheet {path}", f"can't be written: {error.strerror}.", "") from None


def machine_of(setup: Setup, found: Rulebook, hold_at: Level) -> Machine:
    """A setup as sheets show it."""
    from api.pages.sheets.unit_sheet import Machine
    from audit.run import audit_on_sheet
    from audit.sheet import make_sheet

    sheet = make_sheet(found, found.machines[setup.unit.card], found.crops[setup.crop])
    return Machine(sheet, setup, audit_on_sheet(sheet, setup, hold_at), found)


def _bad(place: str, message: str, advice: str) -> BadInput:
    return BadInput([Problem(Place(place), message, advice)])


def _user() -> str:
    """Who prints, as far as the system says."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
