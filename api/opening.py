"""Opens what the service of record needs: the store, the rulebook, the gate, who may ask."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from api.certificates.secret import secret_of
from api.exchange.addresses import Network, own_networks
from api.exchange.issuers import Asking
from api.identity.bearer import Bearer
from api.identity.code_flow import RETURN, CodeFlow
from api.identity.door import Identity
from api.identity.fetch import why_not_fetch
from api.identity.issuer import Issuer
from api.identity.scraping import scraping_of
from api.identity.sign_on import BadSettings, SignOn, sign_on_of
from api.service.desk import Desk
from api.service.fleet_jobs import Jobs, folder_beside
from api.service.fleet_standing import Standings
from api.service.gate import Gate
from api.service.in_force import Engines, InForce, Shipped, read_shipped
from api.service.remedies import Remedies
from api.store.database import Store


def open_desk(
    store: Store,
    sites: Sequence[Path] = (),
    environment: Mapping[str, str] | None = None,
    address: str = "http://127.0.0.1:8000",
    clock: Callable[[], float] = time.time,
    shipped: Shipped | None = None,
    engines: Engines | None = None,
) -> Desk:
    """Everything that is needed at a desk.

    Args:
        sites: folders of rules and cards laid over the shipped ones.
        environment: may name the file of the secret and the settings of a sign-on.
        address: where people reach this server; its name in certificates.
        shipped, engines: the shipped rulebook and what audits by it, where they were made before; ``sites`` is then
            of no account.

    Raises: BadInput for a rulebook that can't be read; NoSecret; BadSettings; Unsafe for networks that are none.
    """
    around = environment or {}
    settings = sign_on_of(around)
    in_force = InForce(store, shipped or read_shipped(sites), engines)
    networks = own_networks(around)
    bearer, flow = (None, None) if settings is None else _signs_on(settings, networks, address.rstrip("/"))
    return Desk(
        store=store,
        in_force=in_force,
        gate=Gate(in_force, address.rstrip("/")),
        remedies=Remedies(),
        standings=Standings(in_force),
        identity=Identity(store, bearer, clock, flow=flow),
        jobs=Jobs(store.address, folder_beside(store), tuple(sites)),
        secret=secret_of(store.file, around),
        clock=clock,
        address=address.rstrip("/"),
        signs_on=settings is not None,
        networks=networks,
        scraping=scraping_of(around),
    )


def _signs_on(settings: SignOn, own: Sequence[Network], address: str) -> tuple[Bearer, CodeFlow | None]:
    """What checks tokens of a sign-on, and what signs people in by it. Raises BadSettings."""
    asks = Asking(settings.issuer, own)
    issuer = Issuer(settings.issuer, asks.get)
    if not settings.client:
        return Bearer(settings, issuer), None
    if why := why_not_fetch(address):
        raise BadSettings([f"people can't be sent back to {address} when they sign in: {why}. Give it by --address."])
    return Bearer(settings, issuer), CodeFlow(settings, issuer, asks, f"{address}{RETURN}")
