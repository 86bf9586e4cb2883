"""Reads a setup against its machine card; every problem at once, each with its path."""

from __future__ import annotations

from collections.abc import Mapping

from audit.builds import decide
from audit.intake.json_text import parse_json
from audit.intake.moments import read_moment
from audit.intake.tree import Fields, Node, Problems, said
from audit.intake.values import ValueReader
from audit.measures import Unreadable
from audit.nearest import did_you_mean
from audit.nouns.machine import MachineCard, crop_key
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Quantity, Role, Sided, Value
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Taken, Unit
from audit.nouns.vocabulary import on_card

STATES = ("as-found", "as-left")
JOB_KEYS = {
    "condition": "job.condition",
    "ground_speed": "job.ground_speed",
    "grain_yield": "job.grain_yield",
    "hectares": "job.hectares",
    "seeds_per_kg": "job.seeds_per_kg",
}
HEADER_KEYS = {
    "kind": "job.header_kind",
    "width": "job.header_width",
    "rows": "job.header_rows",
    "row_spacing": "job.row_spacing",
    "drive_speed": "job.header_drive_speed",
}
UNIT_KEYS = {"engine_hours": "unit.engine_hours", "build_year": "unit.build_year"}
VALUE_SECTIONS = {"settings": Role.SETTING, "readings": Role.READING, "events": Role.EVENT}


def read_setup(text: bytes, shown: str, rulebook: Rulebook) -> Setup:
    """The setup written as JSON.

    Args:
        text: one JSON object, UTF-8.
        shown: name of the input in messages: a file, or file and line.
        rulebook: its cards say what there is to set and read.

    Raises:
        BadInput: with every problem found.
    """
    problems = Problems()
    tree = parse_json(text, shown, problems)
    setup = None if tree is None else _Reader(tree, rulebook, problems).setup()
    if problems or setup is None:
        raise BadInput(problems.found)
    return setup


class _Reader:
    def __init__(self, tree: Node, rulebook: Rulebook, problems: Problems) -> None:
        self.fields = Fields(tree, problems, "a setup")
        self.rulebook, self.problems = rulebook, problems
        self.values: dict[str, Value | Sided] = {}
        self.given: dict[str, str] = {}

    def setup(self) -> Setup | None:
        unit_fields = self.fields.inner("unit", "'unit'")
        job_fields = self.fields.inner("job", "'job'")
        taken = self.taken()
        card = None if unit_fields is None else self.card(unit_fields)
        names = {} if card is None else on_card(card, self.rulebook.vocabulary)
        unit = None if unit_fields is None else self.unit(unit_fields, card, names)
        crop = "" if job_fields is None else self.job(job_fields, names)
        for section, role in VALUE_SECTIONS.items():
            for key, node in self.fields.pairs(section):
                if card is not None and not self.for_family(key, node, role, names, card):
                    self.value(key, node, role, names, card)
        self.fields.close()
        if card is None or unit is None or self.problems:
            return None
        self.values.update(decide(card, unit))
        self.values["job.crop"] = crop
        header = self.values.get("job.header_kind")
        return Setup(unit, crop, str(header or ""), taken, self.values, self.given)

    def taken(self) -> Taken:
        fields = self.fields.inner("taken", "'taken'", required=False)
        if fields is None:
            return Taken()
        at = fields.text("at", "")
        if at:
            try:
                read_moment(at)
            except Unreadable as error:
                self.problems.add(fields.items["at"].place, str(error))
        state = fields.word("state", STATES, "") if "state" in fields.items else ""
        found = Taken(at, fields.text("by", ""), state)
        fields.close()
        return found

    def card(self, fields: Fields) -> MachineCard | None:
        name = fields.text("card")
        found = self.rulebook.machines.get(name)
        if name and found is None:
            advice = did_you_mean(name, self.rulebook.machines, f"Known: {', '.join(self.rulebook.machines)}.")
            self.problems.add(fields.items["card"].place, f"no machine card is called '{name[:60]}'.", advice)
        return found

    def unit(self, fields: Fields, card: MachineCard | None, names: Mapping[str, Quantity]) -> Unit:
        unit_id, serial, owner = fields.text("id"), fields.text("serial", ""), fields.text("owner", "")
        fitted: list[tuple[str, str]] = []
        builds = {build.name: [choice for choice, _ in build.choices] for build in card.builds} if card else {}
        for name, node in fields.pairs("fitted"):
            if card is None or node.value is None:
                continue
            if name not in builds:
                self.problems.add(node.place, f"this card has no build '{name[:60]}'.", did_you_mean(name, builds))
            elif node.value not in builds[name]:
                words = ", ".join(builds[name])
                self.problems.add(node.place, f"is {said(node.value)}; it must be one of: {words}.")
            else:
                fitted.append((name, str(node.value)))
        self.numbers(fields, UNIT_KEYS, names)
        fields.close()
        year = self.values.get("unit.build_year")
        return Unit(
            unit_id,
            card.id if card else "",
            serial,
            int(year) if isinstance(year, float) else None,
            tuple(fitted),
            owner,
        )

    def job(self, fields: Fields, names: Mapping[str, Quantity]) -> str:
        crop = fields.text("crop")
        found = find_crop(crop, self.rulebook)
        if crop and not found:
            known = list(self.rulebook.crops)
            advice = did_you_mean(crop, known, f"Known: {', '.join(known)}.")
            self.problems.add(fields.items["crop"].place, f"no crop card is called '{crop[:60]}'.", advice)
        self.numbers(fields, JOB_KEYS, names)
        header = fields.inner("header", "'job/header'", required=False)
        if header is not None:
            self.numbers(header, HEADER_KEYS, names)
            header.close()
        fields.close()
        return found

    def numbers(self, fields: Fields, keys: Mapping[str, str], names: Mapping[str, Quantity]) -> None:
        for key, name in keys.items():
            node = fields.node(key, required=False)
            if node is not None and name in names:
                self.put(name, node, names[name])

    def for_family(self, key: str, node: Node, role: Role, names: Mapping[str, Quantity], card: MachineCard) -> bool:
        """``belt.condition`` stands for every belt that is not named itself; whether the key was such a one."""
        family, _, attribute = key.partition(".")
        vocabulary = self.rulebook.vocabulary
        quantity = vocabulary.of_family(family).get(attribute)
        if key in names or quantity is None or quantity.role is not role:
            return False
        stated = self.fields.items[f"{role.value}s"].value
        for component in card.components():
            kind = vocabulary.drive_kinds.get(component.kind) or vocabulary.part_kinds[component.kind]
            name = f"{component.id}.{attribute}"
            if family in kind.families and name in names and not (isinstance(stated, dict) and name in stated):
                self.put(name, node, names[name])
        return True

    def value(self, key: str, node: Node, role: Role, names: Mapping[str, Quantity], card: MachineCard) -> None:
        quantity = names.get(key)
        if quantity is not None and quantity.role is role:
            self.put(key, node, quantity)
            return
        known = [name for name, other in names.items() if other.role is role]
        advice = did_you_mean(key, known, f"'setup-audit card show {card.id}' lists them.")
        if quantity is None:
            self.problems.add(node.place, f"machine card {card.id} has no {role.value} of that name.", advice)
        elif quantity.role in (Role.SETTING, Role.READING, Role.EVENT):
            self.problems.add(
                node.place, f"'{key}' is a {quantity.role.value}.", f"Move it to '{quantity.role.value}s'."
            )
        else:
            self.problems.add(
                node.place, f"'{key}' is computed or stated by the card; it can't be given.", "Remove it."
            )

    def put(self, name: str, node: Node, quantity: Quantity) -> None:
        reader = ValueReader(quantity)
        inner = node.value
        if quantity.sided and isinstance(inner, dict) and ("left" in inner or "right" in inner):
            for key, side in inner.items():
                if key not in ("left", "right"):
                    self.problems.add(side.place, f"'{name}' has no side '{key[:40]}'.", "Write left and right.")
            pair = tuple(self.one(reader, inner.get(side)) for side in ("left", "right"))
            self.values[name] = (pair[0], pair[1])
            self.given[name] = ", ".join(f"{side} {_text(item)}" for side, item in inner.items())
            return
        value = self.one(reader, node)
        self.values[name] = (value, value) if quantity.sided else value
        self.given[name] = _text(node)

    def one(self, reader: ValueReader, node: Node | None) -> Value:
        if node is None:
            return None
        try:
            return reader.read_one(node.plain())
        except Unreadable as error:
            self.problems.add(node.place, str(error))
            return None


def find_crop(name: str, rulebook: Rulebook) -> str:
    """Id of the crop card with this id, name in any language, or EPPO code; '' if there is none. Nothing is guessed."""
    if name in rulebook.crops:
        return name
    plain = crop_key(name)
    for card in rulebook.crops.values():
        if plain in map(crop_key, card.called()):
            return card.id
    return ""


def _text(node: Node) -> str:
    if isinstance(node.value, dict):
        return " ".join(str(item.value) for item in node.value.values() if not isinstance(item.value, (dict, list)))
    if isinstance(node.value, bool):
        return "yes" if node.value else "no"
    return str(node.value)
