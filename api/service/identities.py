"""By what units are known elsewhere: added by hand, split off, moved; always with an event, so always reversible."""

from __future__ import annotations

from api.exchange.identifiers import Claim, claims
from api.exchange.reading.nouns import ReadUnit, Scheme
from api.service.draft import Draft
from api.service.importing import add_identity
from api.service.recording import unit_named
from api.store import identities
from api.store.database import Work
from api.store.identities import Identity
from api.store.units import UnitRow

SHORTEST_REASON = 4


class NoSuchIdentity(Exception):
    """The unit has no such identity."""


class NotTaken(Exception):
    """The identity can't be given to the unit; the text says why."""


def join(work: Work, unit: UnitRow, says: ReadUnit, source: str = "") -> list[Identity]:
    """Gives a unit what a person says that it is known by. Raises NotTaken."""
    claimed, wrong = claims(says, source)
    if wrong or not claimed:
        raise NotTaken(
            "; ".join(wrong) or "say at least one of pin, serial with maker and type, isobus_name, fleet_number"
        )
    draft = Draft(work, work.who)
    for claim in claimed:
        held = draft.held(claim.scheme.value, claim.issuer, claim.value)
        if held is not None and held.unit != unit.id:
            raise NotTaken(f"{claim.scheme.value} {claim.shown} is that of {held.unit}; split it off there first")
    proof = f"{work.who} said so"
    added = [
        add_identity(draft, unit.id, claim, proof, "")
        for claim in claimed
        if draft.held(claim.scheme.value, claim.issuer, claim.value) is None
    ]
    draft.write(work)
    return added


def split(work: Work, unit: UnitRow, id: str, to: str, why: str) -> tuple[Identity, Identity | None]:
    """Takes an identity from a unit, and gives it to another if one is named.

    Returns: the identity as it ended, and the new one of the other unit.

    Raises: NoSuchIdentity, NotTaken, NoSuchUnit.
    """
    one = identities.find(work, id)
    if one is None or one.unit != unit.id or one.ended is not None:
        raise NoSuchIdentity(id)
    if len(why.strip()) < SHORTEST_REASON:
        raise NotTaken("say why; somebody will read it in a year")
    if to == unit.id:
        raise NotTaken("it is that unit's already")
    draft, begun = Draft(work, work.who), None
    ended = draft.end_identity(one, why.strip())
    if to:
        claim = Claim(Scheme(one.scheme), one.issuer, one.value, one.shown)
        begun = add_identity(draft, unit_named(work, to).id, claim, f"split from {unit.id}: {why.strip()}", "")
    draft.write(work)
    return ended, begun
