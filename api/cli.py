"""The command line. Exit status: 0 cleared (or planned, or proven), 1 held (or no plan, or flaws), 2 bad input.

Imports that cost time stand inside the commands that need them: a check of one file starts in a fraction of a second.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from api.status import BAD_INPUT, WrongPackage

EXAMPLES = """examples:
  setup-audit check unit-07.json             what is wrong with one machine, worst first
  setup-audit check fleet.ndjson --brief     a fleet, one setup a line
  setup-audit plan unit-07.json              the least work that puts it right, in walking order
  setup-audit changeover unit-07.json --to soybean
  setup-audit card show axial-single --blank > unit-07.json
  setup-audit rulebook check --site our-rules
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    arguments = parser().parse_args(argv)
    try:
        status = int(arguments.run(arguments))
        sys.stdout.flush()
        return status
    except BrokenPipeError:  # not everything was judged or read, so this is no clearance
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BAD_INPUT
    except KeyboardInterrupt:
        return BAD_INPUT
    except WrongPackage as error:
        print(error, file=sys.stderr)
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

    check = _command(
        commands,
        "check",
        "audit setups and rank what is wrong",
        "setup-audit check unit-07.json",
        "setup-audit check fleet.ndjson --brief --hold-at serious",
        "setup-audit check - --json < unit-07.json",
    )
    check.add_argument("files", nargs="+", metavar="FILE", help="JSON, an array, or one setup a line; - for a pipe")
    length = check.add_mutually_exclusive_group()
    length.add_argument("--json", action="store_true", help="one report a line, for programs")
    length.add_argument("--brief", action="store_true", help="a line for each finding (usual for many setups)")
    length.add_argument("--full", action="store_true", help="every finding in full (usual for one setup)")
    check.add_argument("--facts", action="store_true", help="also what was computed, with formula and inputs")
    _hold_at(check)
    _site(check)
    check.set_defaults(run=_check)

    plan = _command(
        commands,
        "plan",
        "the least work that puts a setup right, in walking order",
        "setup-audit plan unit-07.json",
        "setup-audit plan unit-07.json --leave feeder.drum --without 'lifting strap' --people 1 --minutes 240",
    )
    plan.add_argument("file", metavar="FILE", help="one setup; - for a pipe")
    _planning(plan)
    plan.set_defaults(run=_plan)

    change = _command(
        commands,
        "changeover",
        "the work from one crop to another",
        "setup-audit changeover unit-07.json --to soybean --header draper",
        "setup-audit changeover --card axial-single --from corn --to soybean",
    )
    change.add_argument("file", nargs="?", metavar="FILE", help="one setup; - for a pipe; else --card and --from")
    change.add_argument("--to", required=True, metavar="CROP", help="crop to change to")
    change.add_argument("--header", metavar="KIND", help="kind of header for it (today's if it suits)")
    change.add_argument("--card", help="without a setup: any machine of this card that is in order")
    change.add_argument("--from", dest="from_crop", metavar="CROP", help="without a setup: the crop it is set for")
    _fitted(change)
    _planning(change)
    change.set_defaults(run=_changeover)

    whatif = _command(
        commands,
        "whatif",
        "what some changes would do; nothing is stored",
        "setup-audit whatif unit-07.json --set feeder.drum.right=raised --set 'rotor.speed=320 r/min'",
        "setup-audit whatif unit-07.json --unset feeder.sheave_gap --fitted shoe.stroke=long",
    )
    whatif.add_argument("file", metavar="FILE", help="one setup; - for a pipe")
    whatif.add_argument(
        "--set", action="append", default=[], metavar="NAME=VALUE", help="as in a setup; NAME.left=VALUE for one side"
    )
    whatif.add_argument("--unset", action="append", default=[], metavar="NAME", help="as if it were not known")
    _fitted(whatif)
    _planning(whatif)
    whatif.set_defaults(run=_whatif)

    rulebook = _command(commands, "rulebook", "check or show the rules").add_subparsers(
        required=True, metavar="COMMAND"
    )
    proof = _command(
        rulebook,
        "check",
        "load every file and run every rule's own cases",
        "setup-audit rulebook check --site our-rules",
    )
    _site(proof)
    proof.set_defaults(run=_rulebook_check)
    show = _command(
        rulebook, "show", "list the rules, or one in full", "setup-audit rulebook show elevator-chain-too-tight"
    )
    show.add_argument("rule", nargs="?", help="id of a rule")
    show.add_argument("--json", action="store_true", help="for programs")
    _site(show)
    show.set_defaults(run=_rulebook_show)
    prove = _command(
        rulebook,
        "prove",
        "look for contradictions: a legal setup for every machine, a near miss for every rule",
        "setup-audit rulebook prove --site our-rules",
        "setup-audit rulebook prove --legal axial-single corn | setup-audit check -",
    )
    prove.add_argument("--card", help="counts of this card only")
    one = prove.add_mutually_exclusive_group()
    one.add_argument("--legal", nargs="+", metavar=("CARD", "CROP"), help="print a legal setup (card, crop, header)")
    one.add_argument("--near", metavar="RULE", help="print a setup that breaks this rule alone")
    prove.add_argument("--json", action="store_true", help="for programs")
    _site(prove)
    prove.set_defaults(run=_rulebook_prove)

    card = _command(commands, "card", "machine cards: show, write, check").add_subparsers(
        required=True, metavar="COMMAND"
    )
    show = _command(
        card,
        "show",
        "list the cards, or one in walk-round order",
        "setup-audit card show axial-single",
        "setup-audit card show axial-single --blank --crop soybean > unit-07.json",
    )
    show.add_argument("card", nargs="?", help="id of a card")
    show.add_argument("--blank", action="store_true", help="an empty setup to fill in")
    show.add_argument("--crop", default="corn", help="crop of the empty setup (corn)")
    show.add_argument("--json", action="store_true", help="for programs")
    _site(show)
    show.set_defaults(run=_card_show)
    new = _command(card, "new", "print a card to start from", "setup-audit card new our-axial > our-axial.yaml")
    new.add_argument("name", help="id of the new card, such as our-axial")
    new.set_defaults(run=_card_new)
    proof = _command(
        card, "check", "check card files and preview their speeds", "setup-audit card check our-axial.yaml"
    )
    proof.add_argument("files", nargs="+", type=Path, metavar="FILE", help="a card")
    _site(proof)
    proof.set_defaults(run=_card_check)

    serve = _command(commands, "serve", "the HTTP door on this machine", "setup-audit serve --port 8080")
    serve.add_argument("--host", default="127.0.0.1", help="address of this machine (127.0.0.1)")
    serve.add_argument("--port", type=int, default=8000, help="port (8000)")
    _site(serve)
    serve.set_defaults(run=_serve)

    _command(commands, "demo", "audit the demo fleet", "setup-audit demo").set_defaults(run=_demo)
    return root


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, says: str, *examples: str
) -> argparse.ArgumentParser:
    """A command whose help says what it does and shows it done."""
    shown = "\n".join(("examples:" if len(examples) > 1 else "example:", *(f"  {example}" for example in examples)))
    return commands.add_parser(
        name,
        help=says,
        description=f"{says[0].upper()}{says[1:]}.",
        epilog=shown if examples else None,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def _site(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--site", action="append", type=Path, default=[], metavar="DIR", help="folder of your own rules and cards"
    )


def _hold_at(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--hold-at", choices=("high", "serious", "medium", "low"), default="high", help="level that holds (high)"
    )


def _fitted(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--fitted", action="append", default=[], metavar="BUILD=CHOICE", help="which variant the machine has"
    )


def _planning(command: argparse.ArgumentParser) -> None:
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
    _hold_at(command)
    command.add_argument("--json", action="store_true", help="for programs")
    _site(command)


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 < seconds <= 3600:
        raise argparse.ArgumentTypeError("must lie above 0 and be at most 3600")
    return seconds


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


def _plan(arguments: argparse.Namespace) -> int:
    from api.commands.plan import plan

    return plan(arguments)


def _changeover(arguments: argparse.Namespace) -> int:
    from api.commands.changeover import changeover

    return changeover(arguments)


def _whatif(arguments: argparse.Namespace) -> int:
    from api.commands.whatif import whatif

    return whatif(arguments)


def _rulebook_prove(arguments: argparse.Namespace) -> int:
    from api.commands.rulebook import prove

    return prove(arguments)


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

    return check(arguments.files, arguments.site)


def _serve(arguments: argparse.Namespace) -> int:
    from api.commands.serve import serve

    return serve(arguments.host, arguments.port, arguments.site)


def _demo(_: argparse.Namespace) -> int:
    from api.commands.demo import demo

    return demo()


if __name__ == "__main__":
    sys.exit(main())
