"""setup-audit record: verify it, or write it out to be verified elsewhere."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.backup import MOST_TOLD, is_there
from api.commands.options import add_store
from api.commands.token import Refused, with_store
from api.status import BAD_INPUT, CLEARED, HELD

if TYPE_CHECKING:
    from api.store.database import Store
    from api.store.events import Event, Fault

SAYS = {
    "verify": "whether the record, and the rows it speaks of, are as they were written",
    "export": "write the record out, one event a line, to be kept and verified elsewhere",
}
EXAMPLES = {
    "verify": (
        "setup-audit record verify",
        "setup-audit record verify --export kept-elsewhere.ndjson",
        "setup-audit record verify kept-elsewhere.ndjson",
    ),
    "export": ("setup-audit record export > record.ndjson",),
}

Head = tuple[int, str]


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "verify":
        command.add_argument("file", nargs="?", type=Path, metavar="FILE", help="an export, from itself; not the store")
        command.add_argument("--head", type=_head, metavar="NUMBER:HASH", help="an event that must be on the record")
        command.add_argument("--export", type=Path, metavar="FILE", help="an export that the store's record must go on")
    command.add_argument("--organisation", metavar="ID", help="only the record of this one")
    add_store(command)


def run(arguments: argparse.Namespace, name: str) -> int:
    """Run one of the commands; status 0 good or done, 1 faults, 2 bad input."""
    if name == "export":
        return (
            with_store(arguments, lambda store: _export(arguments, store)) if is_there(arguments.store) else BAD_INPUT
        )
    for file in (arguments.file, arguments.export):
        if file is not None and not file.is_file():
            print(f"There is no file {file}.", file=sys.stderr)
            return BAD_INPUT
    if arguments.file is None:
        return (
            with_store(arguments, lambda store: _verify(arguments, store)) if is_there(arguments.store) else BAD_INPUT
        )
    if arguments.export is not None:
        print("--export is compared with the store; leave out the other file.", file=sys.stderr)
        return BAD_INPUT
    return _say_file(arguments.file, arguments.organisation, arguments.head, None)


def _export(arguments: argparse.Namespace, store: Store) -> int:
    from api.store import events
    from api.store.record_lines import line_of

    for organisation in _organisations(arguments.organisation, store):
        with store.reading(organisation) as work:
            for event in events.read(work):
                sys.stdout.buffer.write(line_of(event) + b"\n")
            number, hash = events.head(work)
        print(f"{organisation}: {number} events, head {number}:{hash}", file=sys.stderr)
    sys.stdout.buffer.flush()
    return CLEARED


def _verify(arguments: argparse.Namespace, store: Store) -> int:
    from api.store import events
    from api.store.verifying import faults

    organisations = _organisations(arguments.organisation, store)
    if arguments.head and len(organisations) > 1:
        raise Refused(f"--head is of one record; say which with --organisation: {', '.join(organisations)}")
    status = CLEARED
    for organisation in organisations:
        with store.reading(organisation) as work:
            number, hash = events.head(work)
            status |= _say(organisation, number, hash, faults(work, arguments.head))
    if arguments.export is None:
        return status
    with ExitStack() as snapshots:

        def kept(organisation: str) -> Iterable[Event]:
            if organisation not in organisations:
                return ()
            return events.read(snapshots.enter_context(store.reading(organisation)))

        return max(status, _say_file(arguments.export, arguments.organisation, None, kept))


def _say_file(file: Path, only: str | None, head: Head | None, kept: Callable[[str], Iterable[Event]] | None) -> int:
    """Verifies the records of an export, or the one of an organisation, and says what came of it."""
    from api.store.record_lines import NotALine, verified

    found = []
    with file.open("rb") as lines:
        try:
            for one in verified(lines, head, kept):
                if only in (None, one.organisation):
                    found.append(_say(one.organisation, one.number, one.hash, one.faults))
        except NotALine as error:
            print(f"{file}: {error}.", file=sys.stderr)
            return HELD if found or error.number > 1 else BAD_INPUT
    if not found:
        print(f"{file} holds no record{f' of {only}' if only else ''}.", file=sys.stderr)
    return max(found, default=BAD_INPUT)


def _say(organisation: str, number: int, hash: str, faults: Iterable[Fault]) -> int:
    """One record's events and faults; the status that they mean."""
    count = 0
    for fault in faults:
        count += 1
        if count <= MOST_TOLD:
            print(f"{organisation}: {fault.text}")
    said = "as it was written" if not count else f"{count} fault{'s' * (count > 1)}"
    print(f"{organisation}: {number} events, head {number}:{hash}: {said}")
    return HELD if count else CLEARED


def _organisations(named: str | None, store: Store) -> list[str]:
    """The one that is named, or all. Raises Refused where there is none at all."""
    from api.store.organisations import ids

    with store.connection() as connection:
        found = [named] if named else list(ids(connection))
    if not found:
        raise Refused("There is no organisation in this store, so there is nothing on record.")
    return found


def _head(text: str) -> Head:
    from api.store.record_lines import head_of

    found = head_of(text)
    if found is None:
        raise argparse.ArgumentTypeError("must be the number of an event, a colon and its hash of 64 hex digits")
    return found
