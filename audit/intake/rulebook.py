"""Reads a whole rulebook: the shipped layer and any number of site layers that add to it or override it.

A layer is a folder, or the files of one that were kept elsewhere.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import TypeVar

from audit.conditions import quantities
from audit.field import FACTS
from audit.intake.basis import read_sources
from audit.intake.crops import read_crop
from audit.intake.machines import read_machine
from audit.intake.procedures import check_links, read_cautions, read_procedure
from audit.intake.quantities import read_vocabulary
from audit.intake.rules import read_rule
from audit.intake.tree import Node, Problems
from audit.intake.yaml_text import decode_yaml
from audit.kinds import drive_kinds, part_kinds
from audit.nearest import did_you_mean
from audit.nouns.machine import CropCard, MachineCard, crop_key
from audit.nouns.problem import BadInput, Place
from audit.nouns.rule import Procedure, Rule
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import fact_quantity

_SINGLE = ("sources.yaml", "quantities.yaml", "cautions.yaml", "retired.yaml")
FOLDERS = ("procedures", "crops", "machines", "packs")
T = TypeVar("T", CropCard, MachineCard, Rule, Procedure)


@dataclass(frozen=True, slots=True)
class Layer:
    """Files of a rulebook, laid over those of the layers before.

    Attributes:
        name: what places in it begin with; part of the digest.
        origin: what is read from it is marked with this, '' for the shipped layer.
        files: content by path in the layer, '/' between the parts.
    """

    name: str
    origin: str
    files: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class _File:
    """One file of the rulebook: from which layer, where in it, how it is named in messages, and what it holds."""

    origin: str
    path: PurePosixPath
    shown: str
    content: bytes


def read_rulebook(root: Path, sites: Sequence[Path] = (), cards: Sequence[Path] = ()) -> Rulebook:
    """The rulebook in ``root`` with the site folders laid over it, later ones over earlier ones.

    A site folder has the same layout. A crop, machine, rule or procedure of the same file name replaces the shipped
    one whole and is marked so; entries of the single files are added. ``cards`` are machine card files that stand
    elsewhere, such as one that is being written.

    Raises:
        BadInput: with every problem of every file.
    """
    problems = Problems()
    layers = [_layer(folder, "" if folder is root else str(folder), problems) for folder in (root, *sites)]
    beside = {str(path): content for path in cards if (content := _content(path, str(path), problems)) is not None}
    return _read(layers, beside, problems)


def read_layers(layers: Sequence[Layer]) -> Rulebook:
    """The same from layers that are at hand, later ones over earlier ones. Raises BadInput."""
    return _read(layers, {}, Problems())


def digest_of(layers: Sequence[Layer]) -> str:
    """The digest of the rulebook that the layers make, without reading it."""
    return _Reader(layers, {}, Problems()).digest()


def layer_of(folder: Path, origin: str) -> Layer:
    """A folder as it is now. Raises BadInput for one that can't be read."""
    problems = Problems()
    found = _layer(folder, origin, problems)
    if problems:
        raise BadInput(problems.found)
    return found


def _read(layers: Sequence[Layer], cards: Mapping[str, bytes], problems: Problems) -> Rulebook:
    rulebook = _Reader(layers, cards, problems).rulebook()
    if problems:
        raise BadInput(problems.found)
    return rulebook


def _layer(folder: Path, origin: str, problems: Problems) -> Layer:
    if not folder.is_dir():
        problems.add(Place(str(folder)), "is not a folder.", "Name the folder that holds packs/, crops/ or machines/.")
    files: dict[str, bytes] = {}
    for path in sorted((*folder.rglob("*.yaml"), *folder.rglob("*.yml"))) if folder.is_dir() else ():
        relative = path.relative_to(folder).as_posix()
        content = _content(path, f"{folder.name}/{relative}", problems)
        if content is not None:
            files[relative] = content
    return Layer(folder.name, origin, files)


def _content(path: Path, shown: str, problems: Problems) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError as error:
        problems.add(Place(shown), f"can't be read: {error.strerror}.")
        return None


class _Reader:
    def __init__(self, layers: Sequence[Layer], cards: Mapping[str, bytes], problems: Problems) -> None:
        self.problems = problems
        self.files: dict[str, list[_File]] = {}
        for layer in layers:
            for path in sorted(PurePosixPath(name) for name in layer.files):
                self.take(layer, path)
        beside = (_File(name, PurePosixPath(name), name, content) for name, content in cards.items())
        self.files.setdefault("machines", []).extend(beside)

    def take(self, layer: Layer, path: PurePosixPath) -> None:
        key = str(path) if len(path.parts) == 1 else path.parts[0]
        shown = f"{layer.name}/{path}"
        if path.suffix == ".yml":
            self.problems.add(Place(shown), "would not be read.", "Give it the ending .yaml.")
        elif key not in _SINGLE and key not in FOLDERS:
            known = [*_SINGLE, *(f"{name}/" for name in FOLDERS)]
            self.problems.add(
                Place(shown), "is not part of a rulebook.", did_you_mean(key, known, f"Known: {', '.join(known)}.")
            )
        self.files.setdefault(key, []).append(_File(layer.origin, path, shown, layer.files[str(path)]))

    def digest(self) -> str:
        """SHA-256 over every file's name and text, in a fixed order."""
        found = hashlib.sha256()
        for key in (*_SINGLE, *FOLDERS):
            for file in self.files.get(key, ()):
                found.update(f"{file.shown}\0{len(file.content)}\0".encode() + file.content)
        return found.hexdigest()

    def tree(self, file: _File) -> Node | None:
        return decode_yaml(file.content, file.shown, self.problems)

    def single(self, name: str) -> Node:
        """The one tree of a single file, site entries added."""
        merged: Node | None = None
        for file in self.files.get(name, []):
            tree = self.tree(file)
            if tree is not None:
                merged = tree if merged is None else self.merge(merged, tree)
        if merged is None:
            self.problems.add(Place(name), "is missing.", "A rulebook needs it.")
        return merged or Node({}, Place(name))

    def merge(self, under: Node, over: Node) -> Node:
        if isinstance(under.value, dict) and isinstance(over.value, dict):
            joined = dict(under.value)
            for key, node in over.value.items():
                joined[key] = self.merge(joined[key], node) if key in joined else node
            return Node(joined, over.place)
        if isinstance(under.value, list) and isinstance(over.value, list):
            return Node(under.value + over.value, over.place)
        self.problems.add(over.place, "is already in the rulebook.", f"It stands at {under.place}; use another name.")
        return under

    def folder(self, name: str, read: Callable[[Node, _File], T]) -> dict[str, T]:
        """Everything in a folder by file name; a site's file replaces an earlier one of that name."""
        found: dict[str, T] = {}
        origins: dict[str, str] = {}
        for file in self.files.get(name, []):
            tree = self.tree(file)
            stem = file.path.stem
            if stem in found and origins[stem] == file.origin:
                self.problems.add(
                    Place(file.shown),
                    f"'{stem}' stands twice in this rulebook.",
                    f"The other is {found[stem].place.source}.",
                )
            if tree is None:
                continue
            item = read(tree, file)
            if stem in found and not isinstance(item, Procedure):
                item = replace(item, overrides=True)
            found[stem], origins[stem] = item, file.origin
        return dict(sorted(found.items()))

    def rulebook(self) -> Rulebook:
        problems = self.problems
        single = {name: self.single(name) for name in _SINGLE}
        if problems:  # without them every other file would only add noise
            raise BadInput(problems.found)
        sources = read_sources(single["sources.yaml"], problems)
        field_facts = {fact.name: fact_quantity(fact.name, fact.meaning, fact.function) for fact in FACTS}
        vocabulary = read_vocabulary(single["quantities.yaml"], drive_kinds(), part_kinds(), field_facts, problems)
        cautions = read_cautions(single["cautions.yaml"], sources, problems)
        procedures = self.folder(
            "procedures",
            lambda t, f: read_procedure(t, f.path.stem, vocabulary, sources, cautions, f.origin, problems),
        )
        check_links(procedures, problems)
        crops = self.folder("crops", lambda t, f: read_crop(t, f.path.stem, vocabulary, sources, f.origin, problems))
        self.check_crops(crops)
        machines = self.folder(
            "machines",
            lambda t, f: read_machine(t, f.path.stem, vocabulary, sources, crops, procedures, f.origin, problems),
        )
        rules = self.folder(
            "packs",
            lambda t, f: read_rule(
                t, f.path.stem, f.path.parent.name, vocabulary, sources, procedures, f.origin, problems
            ),
        )
        retired = self.retired(single["retired.yaml"])
        self.check_ids(rules, retired)
        self.check_parts(rules, machines, frozenset(vocabulary.fixed))
        return Rulebook(
            vocabulary, sources, cautions, procedures, rules, crops, machines, self.digest(), frozenset(retired)
        )

    def retired(self, node: Node) -> dict[str, Place]:
        if not isinstance(node.value, list):
            self.problems.add(node.place, "must be a list of rule ids.")
            return {}
        return {str(item.value): item.place for item in node.value}

    def check_crops(self, crops: Mapping[str, CropCard]) -> None:
        """What one crop is called, no other may be called: whoever says it would mean either."""
        owner: dict[str, CropCard] = {}
        for card in crops.values():
            for name in card.called():
                other = owner.setdefault(crop_key(name), card)
                if other is not card:
                    self.problems.add(
                        card.place,
                        f"'{name}' is what {other.id} is called, too ({other.place.source}).",
                        "Keep it in one.",
                    )

    def check_ids(self, rules: Mapping[str, Rule], retired: Mapping[str, Place]) -> None:
        """An id that was once given to a rule is never given again."""
        for rule in rules.values():
            if rule.id in retired:
                self.problems.add(
                    rule.place,
                    f"id '{rule.id}' is retired ({retired[rule.id]}).",
                    "Give the rule another name.",
                )
            for old in rule.was:
                if old in rules:
                    self.problems.add(
                        rule.place,
                        f"'was' names '{old}', which is a rule ({rules[old].place.source}).",
                        "Ids are never reused.",
                    )

    def check_parts(
        self, rules: Mapping[str, Rule], machines: Mapping[str, MachineCard], fixed: frozenset[str]
    ) -> None:
        """A part, drive or build that a rule names must exist on some machine card."""
        known = {component.id for card in machines.values() for component in card.components()}
        builds = {f"build.{build.name}" for card in machines.values() for build in card.builds}
        for rule in rules.values():
            for name in _names(rule):
                if name in fixed or name.startswith("each."):
                    continue
                if name.startswith("build."):
                    if name not in builds:
                        self.problems.add(
                            rule.place,
                            f"no machine card has the build '{name[6:]}'.",
                            did_you_mean(name, builds),
                        )
                elif name.partition(".")[0] not in known:
                    part = name.partition(".")[0]
                    self.problems.add(
                        rule.place,
                        f"no machine card has a part called '{part}' ('{name}').",
                        did_you_mean(part, known),
                    )


def _names(rule: Rule) -> Iterator[str]:
    yield from quantities(rule.hold)
    if rule.given is not None:
        yield from quantities(rule.given)
