"""Reads a crop card."""

from __future__ import annotations

from collections.abc import Mapping

from audit.intake.basis import read_basis
from audit.intake.targets import read_targets
from audit.intake.tree import Fields, Node, Problems
from audit.nouns.machine import CropCard, Target
from audit.nouns.source import Basis, Source
from audit.nouns.vocabulary import Vocabulary

GRAIN_CLASSES = ("coarse grain", "small grain", "oilseed", "pulse")
MEASURES = {"test_weight": "bushel weight", "seeds_per_kg": "count per mass", "timeliness": "count"}


def read_crop(
    tree: Node, stem: str, vocabulary: Vocabulary, sources: Mapping[str, Source], origin: str, problems: Problems
) -> CropCard:
    """One crop card; its id must be the file's name."""
    fields = Fields(tree, problems, f"crop card '{stem}'")
    if fields.text("crop") != stem:
        problems.add(fields.place, f"'crop' must be the file's name, '{stem}'.")
    targets: list[tuple[str, Target]] = []
    for name, node in fields.pairs("targets"):
        targets += [(name, target) for target in read_targets(name, node, vocabulary, sources, problems)]
    measures: list[tuple[str, float, Basis]] = []
    inner = fields.inner("measures", "'measures'", required=False)
    if inner is not None:
        for name, dimension in MEASURES.items():
            item = inner.inner(name, f"measure '{name}'", required=False)
            if item is not None:
                bare = "1" if dimension == "count" else ""
                measures.append((name, item.measure("value", dimension, bare), read_basis(item, sources)))
                item.close()
        inner.close()
    names = tuple(
        (language, tuple(Fields(Node({"names": node}, node.place), problems, f"names in '{language}'").texts("names")))
        for language, node in fields.pairs("names")
    )
    card = CropCard(
        stem,
        fields.text("name"),
        fields.text("eppo"),
        fields.texts("also"),
        names,
        fields.truth("row_crop"),
        fields.word("grain_class", GRAIN_CLASSES),
        tuple(targets),
        tuple(measures),
        fields.place,
        origin,
    )
    fields.close()
    return card
