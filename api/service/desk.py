"""All that a request to the service of record needs, made once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.service.gate import Gate, InForce
from api.service.remedies import Remedies
from api.store.database import Store


@dataclass(frozen=True, slots=True)
class Desk:
    """The service's own things.

    Attributes:
        secret: seals the signing keys.
        clock: s since 1970; read once for a request.
        address: where people reach this server, for links that are printed; no slash at its end.
    """

    store: Store
    in_force: InForce
    gate: Gate
    remedies: Remedies
    secret: bytes
    clock: Callable[[], float]
    address: str
