"""Reads a machine card."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from audit.intake.basis import read_basis
from audit.intake.targets import read_targets
from audit.intake.tree import Fields, Node, Problems, said
from audit.measures import Unreadable, dimension_of, from_canonical, to_canonical
from audit.nearest import did_you_mean
from audit.nouns.kind import Kind, Parameter
from audit.nouns.machine import (
    Break,
    Build,
    ByPosition,
    Carried,
    Component,
    MachineCard,
    Move,
    Station,
    Target,
)
from audit.nouns.quantity import Form, Quantity, Role, Value
from audit.nouns.source import Source
from audit.nouns.vocabulary import Vocabulary

EVERY = "every"


def read_machine(
    tree: Node, stem: str, vocabulary: Vocabulary, sources: Mapping[str, Source], crops: Collection[str],
    procedures: Collection[str], origin: str, problems: Problems,
) -> MachineCard:  # fmt: skip
    """One machine card; its id must be the file's name."""
    return _Reader(tree, stem, vocabulary, sources, crops, procedures, origin, problems).card()


class _Reader:
    def __init__(
        self, tree: Node, stem: str, vocabulary: Vocabulary, sources: Mapping[str, Source], crops: Collection[str],
        procedures: Collection[str], origin: str, problems: Problems,
    ) -> None:  # fmt: skip
        self.fields = Fields(tree, problems, f"machine card '{stem}'")
        self.stem, self.origin, self.problems = stem, origin, problems
        self.vocabulary, self.sources, self.crops, self.procedures = vocabulary, sources, crops, procedures
        self.station_ids: list[str] = []

    def card(self) -> MachineCard:
        fields = self.fields
        if fields.text("card") != self.stem:
            self.problems.add(fields.place, f"'card' must be the file's name, '{self.stem}'.")
        title, manual = fields.text("title"), fields.text("manual")
        basis = read_basis(fields, self.sources)
        governed = fields.text("governed_shaft")
        builds = tuple(self.build(name, node) for name, node in fields.pairs("builds"))
        stations = fields.each("stations", self.station, required=True)
        self.station_ids = [station.id for station in stations]
        shafts = self.components("shafts", self.vocabulary.part_kinds)
        drives = self.components("drives", self.vocabulary.drive_kinds)
        parts = self.components("parts", self.vocabulary.part_kinds)
        own = self.own_quantities(shafts + drives + parts)
        carried = self.carried("settings", Role.SETTING, own) + self.carried("readings", Role.READING, own)
        self.check_positions(shafts + drives + parts, builds, carried, own)
        self.check_train(shafts, drives, governed)
        targets = self.targets()
        fields.close()
        return MachineCard(
            self.stem, title, basis, manual, governed, builds, stations, carried, shafts, drives, parts, targets,
            fields.place, self.origin,
        )  # fmt: skip

    def build(self, name: str, node: Node) -> Build:
        fields = Fields(node, self.problems, f"build '{name}'")
        choices = tuple((choice, str(meaning.value)) for choice, meaning in fields.pairs("choices", required=True))

        def one(item: Node) -> Break:
            inner = Fields(item, self.problems, f"break of '{name}'")
            choice = inner.word("is", [choice for choice, _ in choices])
            years = inner.optional_number("year_from"), inner.optional_number("year_to")
            serials = inner.text("serial_from", ""), inner.text("serial_to", "")
            inner.close()
            low, high = (None if year is None else int(year) for year in years)
            return Break(choice, serials[0], serials[1], low, high)

        found = Build(name, fields.text("meaning"), choices, fields.each("breaks", one), node.place)
        fields.close()
        return found

    def station(self, node: Node) -> Station:
        fields = Fields(node, self.problems, "a station")
        found = Station(fields.text("id"), fields.text("title"), fields.texts("parts"))
        fields.close()
        return found

    def components(self, section: str, kinds: Mapping[str, Kind]) -> tuple[Component, ...]:
        found = []
        for name, node in self.fields.pairs(section, required=section != "parts"):
            fields = Fields(node, self.problems, f"'{name}'")
            kind = kinds.get(fields.word("kind", kinds))
            station = fields.word("station", self.station_ids) if self.station_ids else fields.text("station")
            title = fields.text("title")
            driver, driven = (fields.text("from"), fields.text("to")) if section == "drives" else ("", "")
            parameters: list[tuple[str, Value | ByPosition]] = []
            for parameter in kind.parameters if kind else ():
                item = fields.node(parameter.name, parameter.required)
                if item is not None:
                    parameters.append((parameter.name, self.parameter(item, parameter)))
            fields.close()
            if kind:
                found.append(Component(name, kind.name, title, station, tuple(parameters), driver, driven, node.place))
        return tuple(found)

    def parameter(self, node: Node, parameter: Parameter) -> Value | ByPosition:
        if not isinstance(node.value, dict):
            return self.constant(node, parameter)
        fields = Fields(node, self.problems, f"'{parameter.name}'")
        by = fields.text("by")
        values = tuple((word, self.constant(item, parameter)) for word, item in fields.items.items() if word != "by")
        return ByPosition(by, values)

    def constant(self, node: Node, parameter: Parameter) -> Value:
        if not parameter.unit:
            word = node.value
            if isinstance(word, str) and (not parameter.words or word in parameter.words):
                return word
            words = ", ".join(parameter.words) or "a word"
            self.problems.add(node.place, f"'{parameter.name}' is {said(word)}; it must be one of: {words}.")
            return None
        bare = "1" if parameter.unit == "1" else ""
        return self.fields.as_measure(node, parameter.name, dimension_of(parameter.unit), bare)

    def own_quantities(self, components: tuple[Component, ...]) -> dict[str, Quantity]:
        found: dict[str, Quantity] = {}
        for component in components:
            kind = self.vocabulary.drive_kinds.get(component.kind) or self.vocabulary.part_kinds[component.kind]
            for attribute, quantity in self.vocabulary.of_kind(kind).items():
                found[f"{component.id}.{attribute}"] = quantity
        return found

    def carried(self, section: str, role: Role, own: Mapping[str, Quantity]) -> tuple[Carried, ...]:
        found = []
        for name, node in self.fields.pairs(section):
            quantity = own.get(name) or self.vocabulary.fixed.get(name)
            if quantity is None or quantity.role is not role:
                known = [*own, *(n for n, q in self.vocabulary.fixed.items() if q.role is role)]
                wrong = f"'{name}' is a {quantity.role.value}" if quantity else f"no {role.value} is called '{name}'"
                self.problems.add(node.place, f"{wrong}.", did_you_mean(name, known, "See quantities.yaml."))
                continue
            found.append(self.one_carried(name, node, quantity))
        return tuple(found)

    def one_carried(self, name: str, node: Node, quantity: Quantity) -> Carried:
        fields = Fields(node, self.problems, f"'{name}'")
        words = fields.texts("words")
        known = [word for word, _ in quantity.words]
        for word in words:
            if word not in known:
                self.problems.add(
                    node.place,
                    f"'{name}' can't be '{word}'.",
                    did_you_mean(word, known, f"It is one of: {', '.join(known)}."),
                )
        unit = fields.text("unit", "")
        if unit and quantity.form is Form.NUMBER:
            try:
                to_canonical(1.0, unit, dimension_of(quantity.unit))
            except Unreadable as error:
                self.problems.add(node.place, f"'{name}': {error}")
                unit = ""
        elif unit:
            self.problems.add(node.place, f"'{name}' is a {quantity.form.value} and has no unit.")
        lowest, highest = fields.optional_number("lowest"), fields.optional_number("highest")
        if unit and unit != quantity.unit:  # bounds not given here are the quantity's, in its own unit
            own = [quantity.lowest, quantity.highest]
            given = [lowest, highest]
            lowest, highest = (
                value if value is not None or bound is None
                else from_canonical(to_canonical(bound, quantity.unit, dimension_of(quantity.unit)), unit)
                for value, bound in zip(given, own, strict=True)
            )  # fmt: skip
        step = fields.optional_number("step")
        how = fields.text("how", "")
        move = self.move(fields)
        together = fields.texts("together")
        fields.close()
        return Carried(name, words, unit, lowest, highest, step, how, move, together, node.place)

    def move(self, fields: Fields) -> Move | None:
        inner = fields.inner("move", "'move'", required=False)
        if inner is None:
            return None
        procedure = inner.text("procedure")
        if procedure and procedure not in self.procedures:
            advice = did_you_mean(procedure, self.procedures, "Add it to rules/procedures.")
            self.problems.add(inner.items["procedure"].place, f"no procedure is called '{procedure}'.", advice)
        found = Move(
            procedure, inner.number("minutes", low=0), int(inner.number("people", 1, low=1)), inner.texts("tools"),
            inner.texts("parts"),
        )  # fmt: skip
        inner.close()
        return found

    def check_positions(
        self, components: tuple[Component, ...], builds: tuple[Build, ...], carried: tuple[Carried, ...],
        own: Mapping[str, Quantity],
    ) -> None:  # fmt: skip
        """Every ``by:`` names a setting or build of this card and gives a value for each of its words."""
        words = {f"build.{build.name}": [choice for choice, _ in build.choices] for build in builds}
        for name, quantity in own.items():
            if quantity.role is Role.SETTING:
                words[name] = [word for word, _ in quantity.words]
        for item in carried:
            quantity_ = own.get(item.name) or self.vocabulary.fixed[item.name]
            if quantity_.role is Role.SETTING:
                words[item.name] = list(item.words) or [word for word, _ in quantity_.words]
        for component in components:
            for parameter, value in component.parameters:
                if not isinstance(value, ByPosition):
                    continue
                if value.by not in words:
                    advice = did_you_mean(value.by, words)
                    self.problems.add(
                        component.place,
                        f"'{component.id}.{parameter}' depends on '{value.by}', which this card does not have.",
                        advice,
                    )
                    continue
                given = {word for word, _ in value.values}
                for word in words[value.by]:
                    if word not in given:
                        self.problems.add(
                            component.place,
                            f"'{component.id}.{parameter}' has no value for {value.by} '{word}'.",
                        )
                for word in given - set(words[value.by]):
                    self.problems.add(
                        component.place,
                        f"'{component.id}.{parameter}': {value.by} can't be '{word}'.",
                        did_you_mean(word, words[value.by]),
                    )

    def check_train(self, shafts: tuple[Component, ...], drives: tuple[Component, ...], governed: str) -> None:
        """Every shaft is reached from the engine by exactly one drive, without a loop."""
        ids = {shaft.id for shaft in shafts}
        if governed not in ids:
            self.problems.add(
                self.fields.place,
                f"governed_shaft '{governed}' is not a shaft of this card.",
                did_you_mean(governed, ids),
            )
        elif not any(name == "governed_speed" for s in shafts if s.id == governed for name, _ in s.parameters):
            self.problems.add(
                self.fields.place,
                f"shaft '{governed}' lacks 'governed_speed'.",
                "Write the engine's governed speed there.",
            )
        driven: dict[str, str] = {}
        for drive in drives:
            for role, end in (("from", drive.driver), ("to", drive.driven)):
                if end not in ids:
                    self.problems.add(
                        drive.place,
                        f"drive '{drive.id}': '{role}' names no shaft: '{end}'.",
                        did_you_mean(end, ids),
                    )
            if drive.driven in driven:
                self.problems.add(
                    drive.place,
                    f"shaft '{drive.driven}' is driven twice, by '{driven[drive.driven]}' and '{drive.id}'.",
                )
            driven[drive.driven] = drive.id
        reached, grown = {governed}, True
        while grown:
            more = {drive.driven for drive in drives if drive.driver in reached} - reached
            grown = bool(more)
            reached |= more
        for shaft in shafts:
            if shaft.id not in reached:
                self.problems.add(
                    shaft.place,
                    f"no drive reaches shaft '{shaft.id}' from '{governed}'.",
                    "Add the drive, or remove the shaft.",
                )

    def targets(self) -> tuple[tuple[str, str, Target], ...]:
        found: list[tuple[str, str, Target]] = []
        for crop, node in self.fields.pairs("targets"):
            if crop != EVERY and crop not in self.crops:
                self.problems.add(
                    node.place,
                    f"no crop card is called '{crop}'.",
                    did_you_mean(crop, self.crops, "Use a crop card's id, or every."),
                )
            for name, item in Fields(node, self.problems, f"targets for '{crop}'").items.items():
                found += [
                    (crop, name, t) for t in read_targets(name, item, self.vocabulary, self.sources, self.problems)
                ]
        return tuple(found)
