"""The command line. Exit status: 0 cleared, 1 held, 2 bad input.

Imports that cost time stand inside the commands that need them: a check of one file starts in a fraction of a second.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from api.status import BAD_INPUT, CLEARED

EXAMPLES = """examples:
  setup-audit check unit-07.json             what is wrong with one machine, worst first
  setup-audit check fleet.ndjson --brief     a fleet, one setup a line
  setup-audit card show axial-single --blank > unit-07.json
  setup-audit rulebook check --site our-rules
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    arguments = parser().parse_args(argv)
    try:
        return int(arguments.run(arguments))
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return CLEARED
    except KeyboardInterrupt:
        return BAD_INPUT


def parser() -> argparse.ArgumentParser:
    """The commands and their options."""
    root = argparse.ArgumentParser(
        prog="setup-audit",
        description="Checks combine harvester setups against a rulebook and ranks what is wrong by risk of damage.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    root.add_argument("--version", action=_Version, nargs=0, help="print the version")
    commands = root.add_subparsers(required=True, metavar="COMMAND")

    check = commands.add_parser("check", help="audit setups and rank what is wrong")
    check.add_argument("files", nargs="+", metavar="FILE", help="JSON, an array, or one setup a line; - for a pipe")
    check.add_argument("--json", action="store_true", help="one report a line, for programs")
    check.add_argument("--brief", action="store_true", help="a line for each finding (usual for many setups)")
    check.add_argument("--full", action="store_true", help="every finding in full (usual for one setup)")
    check.add_argument("--facts", action="store_true", help="also what was computed, with formula and inputs")
    check.add_argument(
        "--hold-at", choices=("high", "serious", "medium", "low"), default="high", help="level that holds (high)"
    )
    _site(check)
    check.set_defaults(run=_check)

    rulebook = commands.add_parser("rulebook", help="check or show the rules").add_subparsers(
        required=True, metavar="COMMAND"
    )
    proof = rulebook.add_parser("check", help="load every file and run every rule's own cases")
    _site(proof)
    proof.set_defaults(run=_rulebook_check)
    show = rulebook.add_parser("show", help="list the rules, or one in full")
    show.add_argument("rule", nargs="?", help="id of a rule")
    show.add_argument("--json", action="store_true", help="for programs")
    _site(show)
    show.set_defaults(run=_rulebook_show)

    card = commands.add_parser("card", help="machine cards: show, write, check").add_subparsers(
        required=True, metavar="COMMAND"
    )
    show = card.add_parser("show", help="list the cards, or one in walk-round order")
    show.add_argument("card", nargs="?", help="id of a card")
    show.add_argument("--blank", action="store_true", help="an empty setup to fill in")
    show.add_argument("--crop", default="corn", help="crop of the empty setup (corn)")
    show.add_argument("--json", action="store_true", help="for programs")
    _site(show)
    show.set_defaults(run=_card_show)
    new = card.add_parser("new", help="print a card to start from")
    new.add_argument("name", help="id of the new card, such as our-axial")
    new.set_defaults(run=_card_new)
    proof = card.add_parser("check", help="check a card file and preview its speeds")
    proof.add_argument("file", type=Path, help="the card")
    _site(proof)
    proof.set_defaults(run=_card_check)

    serve = commands.add_parser("serve", help="the HTTP door on this machine")
    serve.add_argument("--host", default="127.0.0.1", help="address of this machine (127.0.0.1)")
    serve.add_argument("--port", type=int, default=8000, help="port (8000)")
    _site(serve)
    serve.set_defaults(run=_serve)

    commands.add_parser("demo", help="audit the demo fleet").set_defaults(run=_demo)
    return root


def _site(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--site", action="append", type=Path, default=[], metavar="DIR", help="folder of your own rules and cards"
    )


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, root: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import PackageNotFoundError, version

        try:
            found = version("combine-setup-audit")
        except PackageNotFoundError:
            found = "from source"
        print(f"{root.prog} {found}")
        root.exit()


def _check(arguments: argparse.Namespace) -> int:
    from api.commands.check import check

    return check(arguments)


def _rulebook_check(arguments: argparse.Namespace) -> int:
    from api.commands.rulebook import check

    return check(arguments.site)


def _rulebook_show(arguments: argparse.Namespace) -> int:
    from api.commands.rulebook import show

    return show(arguments.rule, arguments.site, arguments.json)


def _card_show(arguments: argparse.Namespace) -> int:
    from api.commands.card import blank, show

    if arguments.blank:
        return blank(arguments.card, arguments.crop, arguments.site)
    return show(arguments.card, arguments.site, arguments.json)


def _card_new(arguments: argparse.Namespace) -> int:
    from api.commands.card import new

    return new(arguments.name)


def _card_check(arguments: argparse.Namespace) -> int:
    from api.commands.card import check

    return check(arguments.file, arguments.site)


def _serve(arguments: argparse.Namespace) -> int:
    from api.commands.serve import serve

    return serve(arguments.host, arguments.port, arguments.site)


def _demo(_: argparse.Namespace) -> int:
    from api.commands.demo import demo

    return demo()


if __name__ == "__main__":
    sys.exit(main())
