"""setup-audit serve"""

from __future__ import annotations

import argparse
import os
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands.options import add_site, usual_store
from api.environment import say_problems
from api.status import BAD_INPUT, CLEARED, WrongPackage
from audit.nouns.problem import BadInput

if TYPE_CHECKING:
    from api.middleware.bounds import Bounds
    from api.service.desk import Desk
    from api.store.database import Store

EXAMPLES = {
    "serve": (
        "setup-audit serve --port 8080",
        "setup-audit serve --store postgresql://audit@127.0.0.1/audit --host 0.0.0.0 --behind-proxy",
        "setup-audit serve --no-store",
    )
}
SEVERAL = 4
"""How many times the rate of one token an address may ask, as several people may sit behind it."""


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's options."""
    command.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    command.add_argument("--port", type=int, default=8000, help="port (8000)")
    where = command.add_mutually_exclusive_group()
    where.add_argument("--store", metavar="URL", help="the database (else $SETUP_AUDIT_STORE, else a file of yours)")
    where.add_argument("--no-store", action="store_true", help="only audit and plan, for whoever is on this machine")
    command.add_argument("--address", metavar="URL", help="where people reach it: the name in its certificates")
    command.add_argument("--behind-proxy", action="store_true", help="only a proxy that encrypts can reach it")
    command.add_argument("--rate", type=int, metavar="N", help="most requests a minute of one token (no limit)")
    command.add_argument("--linger", type=float, default=0.0, metavar="S", help="go on answering so long when stopped")
    add_site(command)


def run(arguments: argparse.Namespace, _: str) -> int:
    """Serve HTTP until told to stop."""
    from api.certificates.secret import NoSecret
    from api.exchange.addresses import Unsafe
    from api.identity.bind import may_bind
    from api.identity.sign_on import BadSettings
    from api.store.database import NotAStore, StoreUnavailable

    why_not = may_bind(arguments.host, tokens=False, sign_on=False, behind_proxy=False) if arguments.no_store else None
    if why_not is not None:
        print(f"{why_not} Without a store there are no tokens, so only this machine may reach it.", file=sys.stderr)
        return BAD_INPUT
    try:
        if arguments.no_store:
            return _serve(arguments, None)
        store = _open(arguments.store or usual_store())
        try:
            return _with_store(arguments, store)
        finally:
            store.close()
    except BadInput as error:
        say_problems(error.problems)
    except BadSettings as error:
        say_problems(error.problems)
    except (NotAStore, StoreUnavailable, NoSecret, Unsafe, WrongPackage) as error:
        print(error, file=sys.stderr)
    return BAD_INPUT


def _open(address: str) -> Store:
    from sqlalchemy import make_url

    from api.store.database import NotAStore, Store

    if address.startswith("sqlite:///"):
        file = Path(str(make_url(address).database))
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise NotAStore(f"{file.parent} can't be made: {error.strerror}") from None
    return Store(address)


def _with_store(arguments: argparse.Namespace, store: Store) -> int:
    from api.identity.bind import may_bind
    from api.identity.tokens import first_owner
    from api.opening import open_desk
    from api.service.rulebooks import note_upgrades
    from api.service.sender import Sender
    from api.service.telling import teller_of
    from api.store.tokens import any_live

    address = arguments.address or f"http://{arguments.host}:{arguments.port}"
    desk = open_desk(store, arguments.site, os.environ, address)
    with store.connection() as connection:
        known = any_live(connection, time.time())
    why_not = may_bind(arguments.host, known, desk.signs_on, arguments.behind_proxy)
    if why_not is not None:
        print(why_not, file=sys.stderr)
        return BAD_INPUT
    secret = first_owner(store, time.time())
    if secret is not None:
        print(
            f"The record is kept in {store.file or 'the database'}. The owner's token, shown only now:\n\n"
            f"    {secret}\n\nMore for others: setup-audit token make",
            flush=True,
        )
    note_upgrades(desk.in_force, desk.gate, time.time())
    desk.jobs.take_up(store)
    sender = Sender(teller_of(desk))
    sender.start()
    threading.Thread(target=_make_ready, args=(desk,), daemon=True).start()
    try:
        return _serve(arguments, desk)
    finally:
        sender.stop()
        desk.jobs.close()


def _make_ready(desk: Desk) -> None:
    """Judges the fleets, so that the first who looks at one need not wait; what is wrong is told to whoever asks."""
    from api.service.in_force import Unreadable
    from api.store.database import StoreUnavailable

    with suppress(StoreUnavailable, Unreadable, BadInput):
        desk.standings.make_ready(desk.store, desk.clock())


def _serve(arguments: argparse.Namespace, desk: Desk | None) -> int:
    from api.app import create_app
    from api.middleware.leaving import run as serve

    app = create_app(arguments.site, desk=desk, bounds=_bounds(arguments.rate))
    _say_where(arguments, "/" if desk else "/rules")
    serve(app, arguments.host, arguments.port, linger=arguments.linger)
    return CLEARED


def _say_where(arguments: argparse.Namespace, first: str) -> None:
    """Prints where a browser finds the first page; an address that stands for all of this machine is none to open."""
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(arguments.host, arguments.host)
    named = f"[{host}]" if ":" in host else host
    print(f"In a browser: {arguments.address or f'http://{named}:{arguments.port}'}{first}", flush=True)


def _bounds(rate: int | None) -> Bounds:
    from api.app import SIZES
    from api.middleware.bounds import Bounds
    from api.middleware.rates import Rate

    if rate is None:
        return Bounds(SIZES)
    return Bounds(SIZES, by_token=Rate("token", rate, 60), by_address=Rate("address", SEVERAL * rate, 60))
