"""Reads targets of crop and machine cards: words, or a window of numbers."""

from __future__ import annotations

from collections.abc import Mapping

from audit.intake.basis import read_basis
from audit.intake.tree import Fields, Node, Problems, said
from audit.measures import dimension_of
from audit.nearest import did_you_mean
from audit.nouns.machine import Target
from audit.nouns.quantity import Form, Quantity
from audit.nouns.source import Basis, Source
from audit.nouns.vocabulary import Vocabulary, named


def targeted(name: str, vocabulary: Vocabulary) -> Quantity | None:
    """The quantity that a target names: a fixed one, an attribute of a family, or of a component of a kind."""
    if name in vocabulary.fixed:
        return vocabulary.fixed[name]
    part, _, attribute = name.partition(".")
    found = vocabulary.of_family(part).get(attribute)
    if found is None:
        # a drive or part by its id: any kind's attribute of that name will do
        for kind in (*vocabulary.drive_kinds.values(), *vocabulary.part_kinds.values()):
            found = found or vocabulary.attributes(kind).get(attribute)
    return None if found is None else named(found, name)


def read_targets(
    name: str, node: Node, vocabulary: Vocabulary, sources: Mapping[str, Source], problems: Problems
) -> list[Target]:
    """The target or targets written for one quantity."""
    quantity = targeted(name, vocabulary)
    if quantity is None:
        known = [*vocabulary.fixed]
        problems.add(node.place, f"no quantity is called '{name}'.", did_you_mean(name, known, "See quantities.yaml."))
        return []
    items = node.value if isinstance(node.value, list) else [node]
    return [_target(item, name, quantity, sources, problems) for item in items]


def _target(node: Node, name: str, quantity: Quantity, sources: Mapping[str, Source], problems: Problems) -> Target:
    fields = Fields(node, problems, f"target '{name}'")
    element = fields.text("element", "")
    words, low, high, text = read_wanted(fields, quantity)
    basis = read_basis(fields, sources)
    fields.close()
    return Target(words, low, high, text, basis, element, node.place)


def read_wanted(fields: Fields, quantity: Quantity) -> tuple[tuple[str, ...], float | None, float | None, str]:
    """``is:`` words, or ``low:``/``high:`` of a window, with the text that was written."""
    problems = fields.problems
    node = fields.node("is", required=False)
    if node is not None:
        items = node.value if isinstance(node.value, list) else [node]
        words = tuple(item.value for item in items if isinstance(item.value, str))
        if len(words) != len(items) or quantity.form is not Form.WORD:
            problems.add(
                node.place,
                f"'is' must be a word; {quantity.name} is a {quantity.form.value}.",
                "Use low and high for numbers.",
            )
        known = [word for word, _ in quantity.words]
        for word in words:
            if known and word not in known:
                problems.add(
                    node.place,
                    f"{quantity.name} can't be '{word}'.",
                    did_you_mean(word, known, f"It is one of: {', '.join(known)}."),
                )
        return words, None, None, " or ".join(words)
    ends: list[float | None] = []
    texts: list[str] = []
    for key in ("low", "high"):
        end = fields.node(key, required=False)
        if end is None:
            ends.append(None)
            continue
        if quantity.form is not Form.NUMBER:
            problems.add(
                end.place,
                f"{quantity.name} is a {quantity.form.value} and has no '{key}'.",
                "Use is: for words.",
            )
            ends.append(None)
            continue
        ends.append(fields.as_measure(end, key, dimension_of(quantity.unit), "1" if quantity.unit == "1" else ""))
        texts.append(str(end.value))
    low, high = ends
    if low is None and high is None:
        problems.add(fields.place, f"the target for {quantity.name} says neither 'is' nor 'low' nor 'high'.")
    elif low is not None and high is not None and low > high:
        problems.add(
            fields.place,
            f"the target for {quantity.name} has low {said(texts[0])} above high {said(texts[1])}.",
        )
    if low is not None and high is not None:
        return (), low, high, f"{texts[0]} to {texts[1]}"
    return (), low, high, f"at least {texts[0]}" if low is not None else f"at most {''.join(texts)}"


def basis_text(basis: Basis) -> str:
    """A basis in one line."""
    parts = [basis.ground.value, basis.source, basis.at, basis.note]
    return ", ".join(part for part in parts if part)
