"""All that a request to the service of record needs, made once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from api.exchange.addresses import Network
from api.identity.door import Identity
from api.identity.scraping import Scraping
from api.service.fleet_jobs import Jobs
from api.service.fleet_standing import Standings
from api.service.gate import Gate
from api.service.in_force import InForce
from api.service.remedies import Remedies
from api.store.database import Store


@dataclass(frozen=True, slots=True)
class Desk:
    """The service's own things.

    Attributes:
        secret: seals the signing keys.
        clock: s since 1970; read once for a request.
        signs_on: an organisation's own sign-on is set up.
        networks: networks of one's own that may be asked although they are not public.
        scraping: knows the monitor of the whole server.
        address: where people reach this server, for links that are printed; no slash at its end.
    """

    store: Store
    in_force: InForce
    gate: Gate
    remedies: Remedies
    standings: Standings
    identity: Identity
    jobs: Jobs
    secret: bytes
    clock: Callable[[], float]
    address: str
    signs_on: bool
    networks: tuple[Network, ...] = ()
    scraping: Scraping = field(default_factory=Scraping)
