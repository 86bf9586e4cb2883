"""setup-audit record: verify it, or write it out to be verified elsewhere."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.backup import MOST_TOLD, is_there
from api.commands.token import Refused, add_store, with_store
from api.status import BAD_INPUT, CLEARED, HELD

if TYPE_CHECKING:
    from api.store.database import Store
    from api.store.events import Event, Fault

SAYS = {
    "verify": "whether the record, and the rows it speaks of, are as they were written",
    "export": "write the record out, one event a line, to be kept and verified elsewhere",
}
EXAMPLES = {
    "verify": "setup-audit record verify --store sqlite:///audit.db --export kept-elsewhere.ndjson",
    "export": "setup-audit record export --store sqlite:///audit.db > record.ndjson",
}
_HEAD = re.compile(r"([0-9]{1,15}):([0-9a-f]{64})")

Head = tuple[int, str]


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "verify":
        what = command.add_mutually_exclusive_group(required=True)
        what.add_argument("file", nargs="?", type=Path, metavar="FILE", help="an export, verified from itself alone")
        what.add_argument("--store", metavar="URL", help="a database: sqlite:///file or postgresql://…")
        command.add_argument("--head", type=_head, metavar="NUMBER:HASH", help="an event that must be on the record")
        command.add_argument("--export", type=Path, metavar="FILE", help="an export that the store's record must go on")
    else:
        add_store(command)
    command.add_argument("--organisation", metavar="ID", help="only the record of this one")


def verify(arguments: argparse.Namespace) -> int:
    """Verifies a store or an export; status 0 good, 1 faults, 2 bad input."""
    file = arguments.export if arguments.store else arguments.file
    if arguments.export is not None and not arguments.store:
        print("--export is compared with a store; name it with --store.", file=sys.stderr)
        return BAD_INPUT
    if file is not None and not file.is_file():
        print(f"There is no file {file}.", file=sys.stderr)
        return BAD_INPUT
    if not arguments.store:
        return _say_file(file, arguments.organisation, arguments.head, None)
    return with_store(arguments, lambda store: _verify(arguments, store)) if is_there(arguments.store) else BAD_INPUT


def export(arguments: argparse.Namespace) -> int:
    """Writes the record to the output; status 0 done, 2 bad input."""
    return with_store(arguments, lambda store: _export(arguments, store)) if is_there(arguments.store) else BAD_INPUT


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
    found = _HEAD.fullmatch(text)
    if found is None:
        raise argparse.ArgumentTypeError("must be the number of an event, a colon and its hash of 64 hex digits")
    return int(found[1]), found[2]
