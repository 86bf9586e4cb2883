"""Reads the ground on which a rule or a number stands."""

from __future__ import annotations

from collections.abc import Mapping

from audit.intake.tree import Fields, Node, Problems
from audit.nearest import did_you_mean
from audit.nouns.source import Basis, Ground, Source

_GROUNDS = tuple(ground.value for ground in Ground)


def read_basis(fields: Fields, sources: Mapping[str, Source], key: str = "basis") -> Basis:
    """The basis under a key; a published one must name a source that exists."""
    inner = fields.inner(key, f"'{key}'")
    if inner is None:
        return Basis(Ground.COMMON_PRACTICE)
    ground = Ground(inner.word("ground", _GROUNDS))
    source, at, note = inner.text("source", ""), inner.text("at", ""), inner.text("note", "")
    if ground is Ground.PUBLISHED and not source:
        inner.problems.add(
            inner.place, "a published basis must name its source.", "Add 'source:', a key of sources.yaml."
        )
    if source and source not in sources:
        place = inner.items["source"].place
        advice = did_you_mean(source, sources, "Add it to sources.yaml.")
        inner.problems.add(place, f"no source is called '{source}'.", advice)
    elif source and ground is Ground.PUBLISHED and sources[source].status == "memory":
        place = inner.items["source"].place
        inner.problems.add(
            place, f"'{source}' is known from memory only.", "Write 'ground: memory', or read the source."
        )
    inner.close()
    return Basis(ground, source, at, note)


def read_sources(tree: Node, problems: Problems) -> dict[str, Source]:
    """The sources file."""
    found: dict[str, Source] = {}
    for key, node in Fields(tree, problems, "the sources file").items.items():
        fields = Fields(node, problems, f"source '{key}'")
        year = fields.node("year", required=False)
        found[key] = Source(
            key,
            fields.text("title"),
            fields.text("by", ""),
            fields.text("edition", ""),
            fields.text("publisher", ""),
            "" if year is None or year.value is None else str(year.value),
            fields.word("status", ("read", "memory"), "read"),
        )
        fields.close()
    return found
