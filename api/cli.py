"""The command line. Exit status: 0 cleared (or planned, proven, good), 1 held (or no plan, flaws, faults), 2 bad input.

Only the module of the command that is asked for is imported: a check of one file starts in a fraction of a second. The
module of a group says what its commands do (``SAYS``); every one shows them done (``EXAMPLES``), ``add`` gives one its
arguments, ``run`` runs it.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

from api.status import BAD_INPUT, WrongPackage

EXAMPLES = """examples:
  setup-audit check unit-07.json             what is wrong with one machine, worst first
  setup-audit check fleet.ndjson --brief     a fleet, one setup a line
  setup-audit plan unit-07.json              the least work that puts it right, in walking order
  setup-audit changeover unit-07.json --to soybean
  setup-audit card show axial-single --blank > unit-07.json
  setup-audit rulebook check --site our-rules
  setup-audit serve                          the service of record, over HTTP
"""
COMMANDS = {
    "check": "audit setups and rank what is wrong",
    "plan": "the least work that puts a setup right, in walking order",
    "changeover": "the work from one crop to another",
    "whatif": "what some changes would do; nothing is stored",
    "fleet": "audit a whole fleet, or a season of telemetry, into the files of a folder",
    "fleet-report": "what a fleet's audit means: worst units, faults in common, work, parts, visits",
    "log": "audit a log of one unit: when each rule was out of window, how long, over what area",
    "demo": "audit the demo fleet",
    "serve": "the service of record, over HTTP",
    "verify": "check a start certificate, with or without a network",
    "import": "machines, engine hours, crops and planned harvests from files of farm systems",
    "backup": "copy the store into one file, and verify the copy",
    "restore": "make a store of a backup, after verifying it",
}
GROUPS: dict[str, tuple[str, dict[str, tuple[str, ...]]]] = {
    "rulebook": (
        "check, show or prove the rules; the rulebooks of an organisation",
        {
            "rulebook": ("check", "show", "prove"),
            "rulebook_store": ("list", "add", "replay", "activate", "rules", "key", "sign"),
        },
    ),
    "card": ("machine cards: show, write, check", {"card": ("show", "new", "check")}),
    "organisation": ("whose machines are on record, and their terms", {"organisation": ("make", "show", "set")}),
    "token": ("who may ask, and for what", {"token": ("make", "list", "revoke")}),
    "keys": ("the keys that sign start certificates", {"keys": ("list", "rotate", "compromised")}),
    "imports": (
        "what was imported, questions, who is who, sources that are polled",
        {
            "imports": (
                "list",
                "show",
                "undo",
                "questions",
                "answer",
                "identities",
                "split",
                "sources",
                "add-source",
                "end-source",
                "poll",
            )
        },
    ),
    "record": ("the record of all that was done", {"record": ("verify", "export")}),
    "webhook": ("who is told of what happens", {"webhook": ("make", "list", "send", "replay")}),
}
"""Commands of two words: what they are about, and the second words by the module that has them."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    given = sys.argv[1:] if argv is None else list(argv)
    arguments = parser(given).parse_args(given)
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


def parser(given: Sequence[str] = ()) -> argparse.ArgumentParser:
    """The commands, with the options of the one that is asked for."""
    asked = next((word for word in given if not word.startswith("-")), "")
    root = argparse.ArgumentParser(
        prog="setup-audit",
        description="Checks combine harvester setups against a rulebook and ranks what is wrong by risk of damage.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    root.add_argument("--version", action=_Version, nargs=0, help="print the version")
    commands = root.add_subparsers(required=True, metavar="COMMAND")
    for name, says in COMMANDS.items():
        if name == asked:
            _fill(_command(commands, name, says), _module(name), name)
        else:
            commands.add_parser(name, help=says)
    for name, (says, modules) in GROUPS.items():
        group = commands.add_parser(name, help=says, description=f"{_sentence(says)}.")
        if name == asked:
            inner = group.add_subparsers(required=True, metavar="COMMAND")
            for module, second in ((_module(of), second) for of, some in modules.items() for second in some):
                _fill(_command(inner, second, module.SAYS[second]), module, second)
    return root


def _module(name: str) -> Any:
    return import_module(f"api.commands.{name.replace('-', '_')}")


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, says: str
) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=says,
        description=f"{_sentence(says)}.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def _fill(command: argparse.ArgumentParser, module: Any, name: str) -> None:
    """Gives a command its examples, its arguments, and what runs it."""
    examples = module.EXAMPLES[name]
    shown = (examples,) if isinstance(examples, str) else examples
    command.epilog = "\n".join(("examples:" if len(shown) > 1 else "example:", *(f"  {one}" for one in shown)))
    module.add(command, name)
    command.set_defaults(run=lambda arguments: module.run(arguments, name))


def _sentence(says: str) -> str:
    return says[0].upper() + says[1:]


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


if __name__ == "__main__":
    sys.exit(main())
