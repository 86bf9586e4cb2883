"""setup-audit imports: what was imported, taking it back, questions, who is who, sources that are polled."""

from __future__ import annotations

import argparse
import importlib
import json
import os
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from api.certificates.moment import shown
from api.commands.options import add_site, add_store
from api.commands.token import Refused, organisation_of, with_store
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.service.draft import Draft
    from api.service.gate import Gate
    from api.store.database import Store
    from audit.nouns.rulebook import Rulebook

SAYS = {
    "list": "every import, the newest first",
    "show": "one import with every row's fate",
    "undo": "take an import back, as far as nothing newer stands on it",
    "questions": "what imports could not decide",
    "answer": "answer a question; the rows that waited are put on record",
    "identities": "by what a unit is known elsewhere",
    "split": "take an identity from a unit, and give it to another",
    "sources": "addresses that are polled for fleet snapshots",
    "add-source": "put an address on record that is polled",
    "end-source": "poll an address no more",
    "poll": "ask a source, or every source that is due",
}
EXAMPLES: dict[str, str | tuple[str, ...]] = {
    "list": "setup-audit imports list --store sqlite:///audit.db",
    "show": "setup-audit imports show import-5a1c9e0f2b7d4433",
    "undo": "setup-audit imports undo import-5a1c9e0f2b7d4433",
    "questions": "setup-audit imports questions",
    "answer": (
        "setup-audit imports answer 3 --card axial-single",
        "setup-audit imports answer 4 --unit unit-07",
        "setup-audit imports answer 5 --replaced yes",
    ),
    "identities": "setup-audit imports identities unit-07",
    "split": "setup-audit imports split unit-07 identity-5a1c9e0f2b7d4433 --to unit-08 --why 'plates were mixed up'",
    "sources": "setup-audit imports sources",
    "add-source": "setup-audit imports add-source depot https://machines.example/Fleet/1 --token env:DEPOT_TOKEN",
    "end-source": "setup-audit imports end-source depot",
    "poll": "setup-audit imports poll depot",
}
_MOST = 500


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name in ("show", "undo"):
        command.add_argument("id", metavar="IMPORT", help="id of the import")
    if name == "questions":
        command.add_argument("--every", action="store_true", help="also those that are answered")
    if name == "answer":
        command.add_argument("number", type=int, metavar="NUMBER", help="number of the question")
        what = command.add_mutually_exclusive_group(required=True)
        what.add_argument("--unit", metavar="ID", help="it is this unit")
        what.add_argument("--new", action="store_true", help="it is a machine that is not on record")
        what.add_argument("--card", metavar="CARD", help="it is of this machine card, and so is its type from now on")
        what.add_argument("--replaced", choices=("yes", "no"), help="whether the hour meter is a new one")
        command.add_argument("--only", action="store_true", help="the card is for this one machine, not for its type")
        command.add_argument("--serial-from", metavar="SERIAL", help="first serial of the type that the card is for")
        command.add_argument("--serial-to", metavar="SERIAL", help="last serial of the type that the card is for")
    if name in ("identities", "split"):
        command.add_argument("unit", metavar="UNIT", help="id of the unit")
    if name == "split":
        command.add_argument("id", metavar="IDENTITY", help="id of the identity")
        command.add_argument("--to", default="", metavar="UNIT", help="the unit that gets it")
        command.add_argument("--why", required=True, help="why, for whoever reads it in a year")
    if name in ("add-source", "end-source"):
        command.add_argument("source", metavar="ID", help="small letters, digits and hyphens")
    if name == "poll":
        command.add_argument("source", nargs="?", metavar="ID", help="one source; else every one that is due")
    if name == "add-source":
        command.add_argument("address", metavar="URL", help="address of the first page")
        command.add_argument(
            "--minutes", type=float, default=15.0, metavar="N", help="shortest time between polls (15)"
        )
        command.add_argument("--token", default="", metavar="WHERE", help="where its token is: env:NAME or file:PATH")
        command.add_argument("--format", default="fleet-snapshot", metavar="NAME", help="its format (fleet-snapshot)")
    if name in ("list", "show", "questions", "identities", "sources"):
        command.add_argument("--json", action="store_true", help="for programs")
    if name in ("undo", "answer", "poll"):
        add_site(command)
    command.add_argument("--organisation", metavar="ID", help="where there are several")
    add_store(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 1 not all of it, 2 bad input."""
    return with_store(arguments, lambda store: _RUN[name](arguments, store, clock()))


def _list(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.import_wire import import_json
    from api.store import imports

    with store.reading(organisation_of(arguments, store), now) as work:
        found = imports.page(work, None, _MOST)
    if not arguments.json:
        for one in found:
            undone = f", undone {shown(one.undone)}" if one.undone is not None else ""
            print(f"{one.number:4}  {one.id}  {shown(one.at)}  {one.format}: {one.name}, by {one.by}{undone}")
        if not found:
            print("Nothing was imported yet.")
        return CLEARED
    return _json([import_json(one) for one in found])


def _show(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.import_wire import kept_json
    from api.service.importing import Line, Report
    from api.store import imports

    with store.reading(organisation_of(arguments, store), now) as work:
        row = imports.find(work, arguments.id)
        if row is None:
            raise Refused(f"There is no import '{arguments.id}'; 'setup-audit imports list' lists them.")
        kept = imports.report(work, row.id)
    if arguments.json:
        return _json(kept_json(row, kept))
    report = Report(row, [Line(**line) for line in kept["lines"]], kept["notes"], kept["revoked"])
    print("\n".join(importlib.import_module("api.commands.import").told(report, False)))
    return CLEARED


def _undo(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.service.import_undo import NoSuchImport, UndoneBefore, undo

    try:
        found = _done(arguments, store, now, lambda draft, gate, _: undo(draft, gate, arguments.id))
    except NoSuchImport as error:
        raise Refused(f"There is no import '{error}'; 'setup-audit imports list' lists them.") from error
    except UndoneBefore as error:
        raise Refused(f"{error} was undone before.") from error
    print(f"Import {found.row.number} was undone.")
    for text in found.done:
        print(f"  {text}")
    for text in found.left:
        print(f"  not undone: {text}")
    for start in found.revoked:
        print(f"  revoked: start {start}")
    return CLEARED if not found.left else 1


def _questions(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.import_wire import question_json
    from api.store import import_questions

    with store.reading(organisation_of(arguments, store), now) as work:
        found = import_questions.page(work, 0, _MOST, arguments.every)
    if arguments.json:
        return _json([question_json(one) for one in found])
    for one in found:
        row = one.content["row"]
        called = row["fleet_number"] or row["serial"] or row["pin"] or row["place"]
        state = "" if one.answered is None else f" (answered {shown(one.answered)} by {one.answered_by})"
        print(f"{one.number:4}  {one.kind}: {called}: {one.content['text']}{state}")
        print(f"      may be: {', '.join(one.content['choices'])}")
    if not found:
        print("Nothing waits for an answer.")
    return CLEARED


def _answer(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.service.import_answers import BadAnswer, answer
    from api.store import import_questions

    says: dict[str, Any] = {
        "unit": arguments.unit, "new": arguments.new or None, "card": arguments.card, "only": arguments.only or None,
        "serial_from": arguments.serial_from, "serial_to": arguments.serial_to,
        "replaced": None if arguments.replaced is None else arguments.replaced == "yes",
    }  # fmt: skip
    says = {name: value for name, value in says.items() if value is not None}
    with store.reading(organisation_of(arguments, store), now) as work:
        asked = import_questions.page(work, arguments.number - 1, 1, every=True)
    if not asked or asked[0].number != arguments.number:
        raise Refused(f"There is no question {arguments.number}; 'setup-audit imports questions' lists them.")
    try:
        found = _done(
            arguments, store, now, lambda draft, gate, rulebook: answer(draft, gate, rulebook, asked[0].id, says)
        )
    except BadAnswer as error:
        raise Refused(f"Not answered: {error}.") from error
    for line in found.lines:
        print(f"{line.fate}: {': '.join(one for one in (line.unit, line.text) if one)}")
    for start in found.revoked:
        print(f"revoked: start {start}, which would not be cleared now")
    return CLEARED if all(line.fate != "waits" for line in found.lines) else 1


def _identities(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.import_wire import identity_json
    from api.store import identities, units

    with store.reading(organisation_of(arguments, store), now) as work:
        if units.find(work, arguments.unit) is None:
            raise Refused(f"There is no unit '{arguments.unit}'.")
        found = identities.of_unit(work, arguments.unit)
    if arguments.json:
        return _json([identity_json(one) for one in found])
    for one in found:
        within = f" within {one.issuer}" if one.issuer else ""
        print(f"{one.id}  {one.scheme} {one.shown}{within}: {one.proof}, since {shown(one.added)}")
    if not found:
        print(f"{arguments.unit} is known by nothing else.")
    return CLEARED


def _split(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.identity.tokens import at_command_line
    from api.service.identities import NoSuchIdentity, NotTaken, split
    from api.service.recording import NoSuchUnit, unit_named

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, now) as work:
            row = unit_named(work, arguments.unit)
            ended, begun = split(work, row, arguments.id, arguments.to, arguments.why)
    except NoSuchUnit as error:
        raise Refused(f"There is no unit '{error}'.") from error
    except NoSuchIdentity as error:
        raise Refused(f"{arguments.unit} has no identity '{error}'.") from error
    except NotTaken as error:
        raise Refused(f"Not split: {error}.") from error
    print(f"{ended.scheme} {ended.shown} is no longer {ended.unit}'s{f', but {begun.unit}' if begun else ''}.")
    return CLEARED


def _sources(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.import_wire import source_json
    from api.store import import_sources

    with store.reading(organisation_of(arguments, store), now) as work:
        found = import_sources.every(work)
    if arguments.json:
        return _json([source_json(one) for one in found])
    for one in found:
        polled = "never asked" if one.polled is None else f"asked {shown(one.polled)}: {one.outcome}"
        print(f"{one.id}  {one.address} ({one.format}, at most every {one.period / 60:g} min), {polled}")
    if not found:
        print("There is no source.")
    return CLEARED


def _add_source(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.exchange.addresses import Unsafe, own_networks
    from api.identity.tokens import at_command_line
    from api.service.polling import BadSource, add
    from api.store.import_sources import Source

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, now) as work:
            one = Source(
                arguments.source, arguments.format, arguments.address, arguments.minutes * 60, arguments.token, work.now
            )
            add(work, one, own_networks(os.environ))
    except (BadSource, Unsafe) as error:
        raise Refused(f"The source can't be kept: {error}.") from error
    print(f"{one.id} is on record. Ask it with: setup-audit imports poll {one.id}")
    return CLEARED


def _end_source(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.identity.tokens import at_command_line
    from api.service.polling import BadSource, end

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, now) as work:
            end(work, arguments.source)
    except BadSource as error:
        raise Refused(f"Nothing was done: {error}.") from error
    print(f"{arguments.source} is asked no more.")
    return CLEARED


def _poll(arguments: argparse.Namespace, store: Store, now: float) -> int:
    from api.store import import_sources

    organisation = organisation_of(arguments, store)
    if arguments.source:
        return _poll_one(arguments, store, now, arguments.source)
    with store.reading(organisation, now) as work:
        found = [one for one in import_sources.every(work) if one.polled is None or now >= one.polled + one.period]
    if not found:
        print("No source is due.")
    return max((_poll_one(arguments, store, now, one.id) for one in found), default=CLEARED)


def _poll_one(arguments: argparse.Namespace, store: Store, now: float, id: str) -> int:
    from api.exchange.addresses import Unsafe, own_networks
    from api.exchange.reading.nouns import NotRead
    from api.identity.tokens import at_command_line
    from api.service.polling import BadSource, due, poll
    from api.store import import_sources

    caller = at_command_line(organisation_of(arguments, store))
    into = importlib.import_module("api.commands.import")
    try:
        with store.writing(
            caller.organisation, caller.who, now
        ) as work:  # noted first: a source that fails is let rest
            source = due(work, id)
            import_sources.asked(work, id, "no answer yet")
        prepared = poll(source, os.environ, own_networks(os.environ))
        report = into.at_desk(arguments, store, now, prepared, False)
        outcome, status = f"import {report.row.number}", CLEARED
        print("\n".join(into.told(report, False)))
    except (BadSource, NotRead, Unsafe) as error:
        outcome, status = f"{error}", BAD_INPUT
        print(f"{id}: nothing was imported: {error}.")
        if isinstance(error, BadSource) and "may be asked again" in outcome:
            return status
    with store.writing(caller.organisation, caller.who, now) as work:
        if import_sources.find(work, id) is not None:
            import_sources.asked(work, id, outcome[:300])
    return status


def _done(arguments: argparse.Namespace, store: Store, now: float, draw: Callable[[Draft, Gate, Rulebook], Any]) -> Any:
    """Drafts something by the rulebook in force and writes it. Raises Refused."""
    from api.identity.tokens import at_command_line
    from api.service.draft import done
    from api.service.gate import Gate
    from api.service.in_force import InForce, Unreadable, read_shipped
    from audit.nouns.problem import BadInput

    caller = at_command_line(organisation_of(arguments, store))
    try:
        in_force = InForce(store, read_shipped(arguments.site))
        in_force.prepare(caller.organisation)
        gate = Gate(in_force, "")
        return done(store, in_force, caller, now, lambda draft, rulebook: draw(draft, gate, rulebook))
    except (BadInput, Unreadable) as error:
        raise Refused(f"Nothing was done: {error}") from error


def _json(plain: Any) -> int:
    print(json.dumps(plain, ensure_ascii=False, indent=1))
    return CLEARED


_RUN = {
    "list": _list, "show": _show, "undo": _undo, "questions": _questions, "answer": _answer,
    "identities": _identities, "split": _split, "sources": _sources, "add-source": _add_source,
    "end-source": _end_source, "poll": _poll,
}  # fmt: skip
