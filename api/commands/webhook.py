"""setup-audit webhook: who is told of what happens, and sending what is due."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from api.certificates.moment import shown
from api.commands.options import add_store
from api.commands.token import Refused, organisation_of, with_store
from api.status import CLEARED

if TYPE_CHECKING:
    from api.store.database import Store

SAYS = {
    "make": "make a webhook; its secret is printed this once",
    "list": "every webhook, and how it fares",
    "send": "send what is due, once; a running server does so by itself",
    "replay": "send again what is dead, or all since a time",
}
EXAMPLES = {
    "make": "setup-audit webhook make --name planning --address https://plans.ridgeline.example/hook --kind start.held",
    "list": "setup-audit webhook list --store sqlite:///audit.db",
    "send": "setup-audit webhook send --store sqlite:///audit.db",
    "replay": "setup-audit webhook replay webhook-5a1c9e0f2b7d4433 --since 2026-08-01T00:00:00Z",
}


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "make":
        command.add_argument("--name", required=True, help="what people call it")
        command.add_argument("--address", required=True, metavar="URL", help="where to; https")
        command.add_argument("--kind", action="append", default=[], help="kind of event (all); repeatable")
        command.add_argument("--unit", action="append", default=[], metavar="ID", help="only of this unit; repeatable")
    if name == "list":
        command.add_argument("--json", action="store_true", help="for programs")
    if name == "send":
        command.add_argument(
            "--address", metavar="URL", default="http://127.0.0.1:8000", help="where people reach the server, for links"
        )
    if name == "replay":
        command.add_argument("webhook", metavar="ID", help="id of the webhook, as 'webhook list' shows it")
        which = command.add_mutually_exclusive_group(required=True)
        which.add_argument("--dead", action="store_true", help="all that was given up")
        which.add_argument("--since", type=_moment, metavar="TIME", help="all that happened since then")
    if name != "send":
        command.add_argument("--organisation", metavar="ID", help="where there are several")
    add_store(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 2 bad input."""
    return with_store(arguments, lambda store: _RUN[name](arguments, store, clock))


def _make(arguments: argparse.Namespace, store: Store, clock: Callable[[], float]) -> int:
    from api.certificates.secret import NoSecret, secret_of
    from api.exchange.addresses import Unsafe, looked_at, own_networks
    from api.identity.tokens import at_command_line
    from api.service.subscribing import BadWebhook, make
    from api.store.webhooks import NameTaken

    caller = at_command_line(organisation_of(arguments, store))
    try:
        looked_at(arguments.address, own_networks(os.environ))
        secret = secret_of(store.file, os.environ)
        with store.writing(caller.organisation, caller.who, clock()) as work:
            made, sealed, text = make(work, arguments.name, arguments.address, arguments.kind, arguments.unit, secret)
    except (BadWebhook, Unsafe, NoSecret) as error:
        raise Refused(f"The webhook can't be made: {error}.") from error
    except NameTaken as error:
        raise Refused(f"A webhook is or was called '{error}'; choose another name.") from error
    print(f"{made.id} of {made.organisation}. Its secret is printed this once:", file=sys.stderr)
    print(text)
    print(f"Its public key, for signatures v1a: {sealed.public}", file=sys.stderr)
    return CLEARED


def _list(arguments: argparse.Namespace, store: Store, clock: Callable[[], float]) -> int:
    from dataclasses import asdict

    from api.store.webhooks import every, waiting

    with store.reading(organisation_of(arguments, store), clock()) as work:
        found, counts = every(work), waiting(work)
    if arguments.json:
        lines = [{**asdict(one), "deliveries": counts.get(one.id, {})} for one in found]
        print(json.dumps(lines, ensure_ascii=False, indent=1))
        return CLEARED
    for one in found:
        state = "enabled" if one.disabled is None else "disabled"
        count = (
            ", ".join(f"{number} {what}" for what, number in sorted(counts.get(one.id, {}).items())) or "nothing yet"
        )
        print(f"{one.id}  {state:8} {one.name}: {', '.join(one.kinds) or 'all kinds'} to {one.address}; {count}")
        if one.disabled_why:
            print(f"  {one.disabled_why}")
        if one.failing_since is not None:
            print(f"  {one.failures} failures in a row since {shown(one.failing_since)}")
    if not found:
        print("There is no webhook yet.")
    return CLEARED


def _send(arguments: argparse.Namespace, store: Store, clock: Callable[[], float]) -> int:
    from api.certificates.secret import NoSecret, secret_of
    from api.exchange.addresses import Unsafe, own_networks
    from api.service.telling import Teller, note_expired, send_due

    try:
        secret, networks = secret_of(store.file, os.environ), own_networks(os.environ)
    except (NoSecret, Unsafe) as error:
        raise Refused(str(error)) from error
    teller = Teller(store, secret, arguments.address.rstrip("/"), networks, clock)
    note_expired(teller)
    sent = send_due(teller)
    print(f"{sent.delivered} delivered, {sent.failed} failed; of these {sent.dead} given up, {sent.disabled} disabled")
    return CLEARED


def _replay(arguments: argparse.Namespace, store: Store, clock: Callable[[], float]) -> int:
    from api.identity.tokens import at_command_line
    from api.store.deliveries import TooMany, replay_dead, replay_since
    from api.store.webhooks import NoSuchWebhook, one

    caller = at_command_line(organisation_of(arguments, store))
    try:
        with store.writing(caller.organisation, caller.who, clock()) as work:
            webhook = one(work, arguments.webhook)
            if arguments.since is None:
                count = replay_dead(work, webhook.id)
            else:
                count = replay_since(work, webhook, arguments.since)
    except NoSuchWebhook as error:
        raise Refused(f"There is no webhook '{error}'; 'setup-audit webhook list' lists them.") from error
    except TooMany as error:
        raise Refused("That would be too many at once; say a later time.") from error
    print(f"{count} to be sent again.")
    return CLEARED


def _moment(text: str) -> float:
    from audit.intake.moments import read_moment
    from audit.measures import Unreadable

    try:
        return read_moment(text)
    except Unreadable as error:
        raise argparse.ArgumentTypeError(str(error)) from None


_RUN = {"make": _make, "list": _list, "send": _send, "replay": _replay}
