"""What the surroundings decide: where the rules are, how wide the terminal is, whether it has colours."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import rules
from api.status import WrongPackage
from api.text import Page
from api.wire import usual_cautions
from audit.intake.rulebook import read_rulebook

if TYPE_CHECKING:
    from audit.nouns.rulebook import Rulebook


def rulebook(sites: Sequence[Path] = (), cards: Sequence[Path] = ()) -> Rulebook:
    """The shipped rulebook with the site folders over it. Raises BadInput; WrongPackage if ``rules`` is not ours."""
    return read_rulebook(shipped_rules(), sites, cards)


def shipped_rules() -> Path:
    """Folder of the shipped rulebook. Raises WrongPackage if ``rules`` is not ours."""
    root = getattr(rules, "root", None)
    if root is None or not (root() / "quantities.yaml").is_file():
        raise WrongPackage("another package called 'rules' is installed in its place; use an environment of its own")
    found: Path = root()
    return found


def page(found: Rulebook) -> Page:
    """A page as wide as the terminal; 100 columns and no colour in a pipe. Its cautions are the rulebook's."""
    terminal = sys.stdout.isatty()
    width = min(shutil.get_terminal_size((100, 24)).columns, 120) if terminal else 100
    return Page(width, terminal and not os.environ.get("NO_COLOR"), usual_cautions(found))


def say_problems(problems: Sequence[object]) -> None:
    """Problems on the error output, one a line."""
    for problem in problems:
        print(problem, file=sys.stderr)
