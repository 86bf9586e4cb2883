"""Which unit on record a machine of an import is: by proof, by what a person said, or not without asking.

A PIN that is equal proves it, or a serial that is equal beside the same maker and type. A NAME or a fleet number finds
a unit that has it already, as long as nothing contradicts; where a machine claims more than the unit is known by, a
person is asked. A name that looks alike proves nothing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from api.exchange.identifiers import PROOF, Claim, in_range, key
from api.exchange.reading.nouns import ReadUnit, Scheme
from api.service.draft import Draft
from api.store.identities import Identity
from api.store.units import UnitRow
from audit.nouns.rulebook import Rulebook

WHICH_UNIT, WHICH_CARD, METER = "which-unit", "which-card", "meter-replaced"
"""Kinds of question."""
BUS = "iso 11783 "
"""What the series of serials read from a bus begin with."""
_NOT_IN_IDS = re.compile(r"[^A-Za-z0-9._:-]+")
_MOST_ID = 60


@dataclass(frozen=True, slots=True)
class Decided:
    """What a person decided of a row before.

    Attributes:
        unit: id of the unit that it is, '' for not said.   new: it is a machine that is not on record.
        card: the machine card of this one machine, '' for not said.
    """

    unit: str = ""
    new: bool = False
    card: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """It is a unit on record, and why that is taken to be so."""

    unit: UnitRow
    proof: str


@dataclass(frozen=True, slots=True)
class New:
    """It is not on record: the id and card that it gets."""

    id: str
    card: str


@dataclass(frozen=True, slots=True)
class Ask:
    """A person must say.

    Attributes:
        about: the same for the same question.   choices: what may be answered, units or cards.
    """

    kind: str
    about: str
    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """It can't be placed, and what to do."""

    why: str
    advice: str


def place(
    draft: Draft,
    rulebook: Rulebook,
    unit: ReadUnit,
    claimed: Sequence[Claim],
    decided: Decided,
) -> Known | New | Ask | Not:
    """Which unit a machine is."""
    if decided.unit:
        row = draft.unit(decided.unit)
        return (
            Not(f"there is no unit {decided.unit}", "Answer again") if row is None else _live(row, "a person said so")
        )
    if not decided.new:
        found = _by_claims(draft, claimed) or _alike(draft, unit, claimed)
        if found is not None:
            return found
    return _new(draft, rulebook, unit, claimed, decided)


def _by_claims(draft: Draft, claimed: Sequence[Claim]) -> Known | Ask | Not | None:
    """By identities that units on record have, None where none has one of them."""
    held = {one: draft.held(one.scheme.value, one.issuer, one.value) for one in claimed}
    proven = {row.unit: one for one, row in reversed(held.items()) if row is not None and one.scheme in PROOF}
    owners = list(proven) or list(dict.fromkeys(row.unit for row in held.values() if row is not None))
    if not owners:
        return None
    asks = about(WHICH_UNIT, claimed)
    if len(owners) > 1:
        return Ask(WHICH_UNIT, asks, "its identities are those of different units", tuple(sorted(owners)))
    owner = owners[0]
    if against := _contradiction(draft, owner, claimed):
        return Ask(WHICH_UNIT, asks, f"it looks like {owner}, but {against}", (owner,))
    row = draft.unit(owner)
    if row is None:
        return Not(f"unit {owner} is not on record", "Run setup-audit record verify")
    if proven:
        return _live(row, f"{proven[owner].scheme.value} is equal")
    if more := [one for one, row in held.items() if row is None and one.scheme is not Scheme.FLEET_NUMBER]:
        said = f"only its {_first(held).scheme.value} says that it is {owner}; its {more[0].scheme.value} is new there"
        return Ask(WHICH_UNIT, asks, said, (owner,))
    return _live(row, f"{_first(held).scheme.value} is {owner}'s, and nothing contradicts")


def _first(held: dict[Claim, Identity | None]) -> Claim:
    return next(one for one, row in held.items() if row is not None)


def _contradiction(draft: Draft, owner: str, claimed: Sequence[Claim]) -> str:
    """How claims contradict what a unit is known by, '' if they do not."""
    known = [one for one in draft.known_by(owner) if Scheme(one.scheme) in PROOF]
    for claim in claimed:
        same = [one for one in known if (one.scheme, one.issuer) == (claim.scheme.value, claim.issuer)]
        if same and claim.value not in [one.value for one in same]:
            return f"its {claim.scheme.value} is {claim.shown[:40]}, and that of {owner} is {same[0].shown[:40]}"
    return ""


def _alike(draft: Draft, unit: ReadUnit, claimed: Sequence[Claim]) -> Ask | None:
    """Units on record that look like it, as by a serial alone: a person says whether they are."""
    same = draft.units_of_serial(unit.serial) if unit.serial else []
    ids = [row.id for row in same if not _of_other_type(draft, row.id, claimed)] + [_id(unit, claimed)]
    found = {id for id in ids if (row := draft.unit(id)) is not None and not _left(draft, row)}
    if not found:
        return None
    said = f"it looks like {', '.join(sorted(found))}, but neither PIN nor maker, type and serial prove it"
    return Ask(WHICH_UNIT, about(WHICH_UNIT, claimed), said, tuple(sorted(found)))


def _of_other_type(draft: Draft, id: str, claimed: Sequence[Claim]) -> bool:
    """Whether a unit has its serial of another maker or type. What a bus says and what a maker says differ anyway."""
    own = {one.issuer for one in claimed if one.scheme is Scheme.SERIAL}
    known = {one.issuer for one in draft.known_by(id) if one.scheme == Scheme.SERIAL.value}
    return any(a != b and a.startswith(BUS) == b.startswith(BUS) for a in own for b in known)


def _left(draft: Draft, row: UnitRow) -> bool:
    """Whether a unit was taken out before anything was recorded of it, as an import that was undone leaves it."""
    return row.retired is not None and row.setups == 0 and not draft.known_by(row.id)


def _new(
    draft: Draft, rulebook: Rulebook, unit: ReadUnit, claimed: Sequence[Claim], decided: Decided
) -> New | Ask | Not:
    card = decided.card or unit.card
    if not card:
        found = card_of(draft, unit)
        if found is None:
            type = " ".join(one for one in (unit.maker, unit.type) if one) or "of a machine without maker and type"
            said = f"which machine card is it? Nobody has said yet for {type[:120]}"
            return Ask(WHICH_CARD, about(WHICH_CARD, claimed), said, tuple(rulebook.machines))
        card = found
    if card not in rulebook.machines:
        return Not(f"there is no machine card '{card[:60]}'", f"Cards: {', '.join(rulebook.machines)}")
    wanted, number = _id(unit, claimed), 1
    id = wanted
    while (row := draft.unit(id)) is not None and not _left(draft, row):
        number += 1
        id = f"{wanted}-{number}"
    return New(id, card)


def card_of(draft: Draft, unit: ReadUnit) -> str | None:
    """The card that is used for a maker's type; None where that is not said, or the serial can't decide."""
    if not unit.maker and not unit.type:
        return None
    cards = set()
    for line in draft.lines_of_type(key(unit.maker), key(unit.type)):
        fits = in_range(unit.serial, line.serial_from, line.serial_to)
        if fits is None:
            return None
        if fits:
            cards.add(line.card)
    return cards.pop() if len(cards) == 1 else None


def _live(row: UnitRow, proof: str) -> Known | Not:
    if row.retired is not None:
        return Not(f"it is {row.id}, which was taken out of the fleet", "Put the unit back first if it works again")
    return Known(row, proof)


def _id(unit: ReadUnit, claimed: Sequence[Claim]) -> str:
    """An id that people would know it by."""
    plain = unicodedata.normalize("NFKD", unit.called()).encode("ascii", "ignore").decode()
    found = _NOT_IN_IDS.sub("-", plain).strip("-._:")[:_MOST_ID]
    return found or f"unit-{sha256(about('', claimed).encode()).hexdigest()[:8]}"


def about(kind: str, claimed: Sequence[Claim]) -> str:
    surest = claimed[0]
    return f"{kind}|{surest.scheme.value}|{surest.issuer}|{surest.value}"
