"""What the proofs over a rulebook found: legal setups, near misses, and flaws with their place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from audit.nouns.plan import Asked
from audit.nouns.problem import Place
from audit.nouns.quantity import Sided, Value


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine type in one build for one crop and header: what a proof is about."""

    card: str
    builds: tuple[tuple[str, str], ...]
    crop: str
    header_kind: str


@dataclass(frozen=True, slots=True)
class LegalSetup:
    """A setup that keeps every rule asked of it."""

    machine: Machine
    values: Mapping[str, Value | Sided]


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A setup that breaks one question and no other.

    ``changed`` are the quantities in which it differs from a legal one.
    """

    question: Asked
    machine: Machine
    values: Mapping[str, Value | Sided]
    changed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something a rulebook's author must put right.

    Attributes:
        says: what is wrong, in a sentence.   hint: what to do.
        rules: ids of the rules it is about, with their places in ``places``.
    """

    says: str
    hint: str
    rules: tuple[str, ...]
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Proof:
    """Attributes:
    legal: one for each machine that has one.
    near_misses: one for each rule that has one.
    breaks_with: for each rule that cannot be broken alone, the rules that always break with it, as it declares.
    flaws: in order of place; empty if the rulebook holds together.
    """

    legal: tuple[LegalSetup, ...]
    near_misses: tuple[NearMiss, ...]
    breaks_with: tuple[tuple[str, tuple[str, ...]], ...]
    flaws: tuple[Flaw, ...]
