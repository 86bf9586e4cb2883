"""The rulebook: everything that was read from the rules folder and the site folders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from audit.nouns.machine import CropCard, MachineCard
from audit.nouns.rule import Procedure, Rule
from audit.nouns.source import Source
from audit.nouns.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Rules, cards and what they stand on.

    Attributes:
        digest: SHA-256 over every file's name and text.
        retired: ids that were once given to rules and are given to none any more.
    """

    vocabulary: Vocabulary
    sources: Mapping[str, Source]
    cautions: Mapping[str, str]
    procedures: Mapping[str, Procedure]
    rules: Mapping[str, Rule]
    crops: Mapping[str, CropCard]
    machines: Mapping[str, MachineCard]
    digest: str
    retired: frozenset[str] = frozenset()
