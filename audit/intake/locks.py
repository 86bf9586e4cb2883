"""Reads what is asked of a plan beside the setup: what may not be done, crop and header, builds, and what-if changes.

Both doors hand over trees, the command line's with the option as place, so that a mistake is told alike in both.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace

from audit.builds import decide
from audit.intake.setups import HEADER_KEYS, JOB_KEYS, VALUE_SECTIONS, find_crop, read_setup
from audit.intake.tree import Fields, Node, Problems, said
from audit.nearest import did_you_mean
from audit.nouns.machine import MachineCard
from audit.nouns.plan import Locks
from audit.nouns.problem import BadInput, Place
from audit.nouns.quantity import Role, Sided, Value
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Unit
from audit.nouns.vocabulary import on_card

CHANGE_SECTIONS = (*VALUE_SECTIONS, "job", "fitted")
NO_LEGAL = "Run 'setup-audit rulebook prove' to see which rules are in the way."
"""Advice where a machine has no legal setup to start from."""
_NOT_MOVED = (Role.FACT, Role.PARAMETER, Role.BUILD)
_SIDES = ("left", "right")


def read_locks(tree: Node, card: MachineCard, rulebook: Rulebook, problems: Problems) -> Locks:
    """What may not be done on a machine of a card: ``{leave: [], lacking: [], people: n, minutes: n}``."""
    fields = Fields(tree, problems, "'locks'")
    movable, still = _names(card, rulebook)
    things = things_of(card, rulebook)

    def leave(node: Node) -> str:
        name = fields.as_text(node, "leave")
        if name in still:
            problems.add(node.place, f"'{name}' is computed or stated by the card; no work moves it.", "Leave it out.")
        elif name and name not in movable:
            problems.add(
                node.place,
                f"machine card {card.id} has no setting, reading, part or station {said(name)}, "
                "and no procedure is called so.",
                did_you_mean(name, movable, f"'setup-audit card show {card.id}' lists them."),
            )
        return name

    def lacking(node: Node) -> str:
        name = fields.as_text(node, "lacking")
        found = things.get(name.casefold(), "")
        if name and not found:
            problems.add(
                node.place,
                f"no procedure takes a part or tool called {said(name)}.",
                did_you_mean(name.casefold(), things, "'setup-audit plan' names every part and tool that it takes."),
            )
        return found

    found = Locks(
        tuple(dict.fromkeys(fields.each("leave", leave))),
        tuple(dict.fromkeys(fields.each("lacking", lacking))),
        _people(fields),
        _minutes(fields),
    )
    fields.close()
    return found


def _names(card: MachineCard, rulebook: Rulebook) -> tuple[set[str], set[str]]:
    """What can be left as it is, and the quantities that nothing moves in any case."""
    names = on_card(card, rulebook.vocabulary)
    still = {name for name, quantity in names.items() if quantity.role in _NOT_MOVED} | {"job.crop"}
    movable = names.keys() - still
    fixed_parts = {part for station in card.stations for part in station.parts}
    stations = {station.id for station in card.stations}
    components = {component.id for component in card.components()}
    return movable | fixed_parts | stations | components | rulebook.procedures.keys(), still


def things_of(card: MachineCard, rulebook: Rulebook) -> dict[str, str]:
    """Parts and tools that the card's moves or any procedure take, by their name in small letters."""
    named = [(procedure.tools, procedure.parts) for procedure in rulebook.procedures.values()]
    named += [(carried.move.tools, carried.move.parts) for carried in card.carried if carried.move is not None]
    return {name.casefold(): name for tools, parts in named for name in (*tools, *parts)}


def _people(fields: Fields) -> int | None:
    node = fields.node("people", required=False)
    if node is None:
        return None
    value = node.value
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value // 1 or value < 1:
        fields.problems.add(node.place, f"'people' is {said(value)}; it must be a whole number, at least 1.")
        return None
    return int(value)


def _minutes(fields: Fields) -> float | None:
    node = fields.node("minutes", required=False)
    if node is None:
        return None
    value = node.value
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value) or value < 0:
        fields.problems.add(node.place, f"'minutes' is {said(value)}; it must be a number, at least 0.")
        return None
    return float(value)


def read_crop(node: Node, card: MachineCard, rulebook: Rulebook, problems: Problems) -> str:
    """Id of the crop card meant; a problem where there is none, or where the machine card is not for that crop."""
    name = node.value
    if not isinstance(name, str) or not name.strip():
        problems.add(node.place, f"must be the name of a crop, not {said(name)}.")
        return ""
    found = find_crop(name, rulebook)
    if not found:
        known = [other for crop in rulebook.crops.values() for other in crop.called()]
        advice = did_you_mean(name, known, f"Known: {', '.join(rulebook.crops)}.")
        problems.add(node.place, f"no crop card is called {said(name)}.", advice)
        return ""
    stated = list(dict.fromkeys(crop for crop, _, _ in card.targets if crop in rulebook.crops))
    if stated and found not in stated:
        problems.add(
            node.place,
            f"machine card {card.id} states no targets for {found}, so it can't be set for it.",
            f"It states targets for {', '.join(stated)}.",
        )
        return ""
    return found


def read_header(node: Node | None, card: MachineCard, rulebook: Rulebook, problems: Problems) -> str:
    """A kind of header; '' where none is asked for."""
    if node is None or node.value is None:
        return ""
    words = [word for word, _ in on_card(card, rulebook.vocabulary)["job.header_kind"].words]
    if isinstance(node.value, str) and node.value in words:
        return node.value
    advice = did_you_mean(node.value, words) if isinstance(node.value, str) else ""
    problems.add(
        node.place, f"no header kind is called {said(node.value)}; it must be one of: {', '.join(words)}.", advice
    )
    return ""


def read_card(node: Node, rulebook: Rulebook, problems: Problems) -> MachineCard | None:
    """The machine card meant."""
    name = node.value
    found = rulebook.machines.get(name) if isinstance(name, str) else None
    if found is None:
        known = rulebook.machines
        advice = did_you_mean(str(name), known, f"Known: {', '.join(known)}.")
        problems.add(node.place, f"no machine card is called {said(name)}.", advice)
    return found


def read_builds(tree: Node, card: MachineCard, problems: Problems) -> tuple[tuple[str, str], ...]:
    """Choices by ``build.<name>`` out of ``{name: choice}``; null says not known."""
    if not isinstance(tree.value, dict):
        problems.add(tree.place, f"'fitted' must be a mapping, not {said(tree.value)}.")
        return ()
    choices = {build.name: [choice for choice, _ in build.choices] for build in card.builds}
    found: list[tuple[str, str]] = []
    for name, node in tree.value.items():
        if name not in choices:
            known = f"It has {', '.join(choices)}." if choices else "It has none."
            advice = did_you_mean(name, choices, known)
            problems.add(node.place, f"machine card {card.id} has no build {said(name)}.", advice)
        elif node.value is not None and node.value not in choices[name]:
            problems.add(node.place, f"is {said(node.value)}; it must be one of: {', '.join(choices[name])}.")
        elif isinstance(node.value, str):
            found.append((f"build.{name}", node.value))
    return tuple(found)


def read_changes(
    changes: Mapping[str, object],
    before: Setup,
    rulebook: Rulebook,
    problems: Problems,
    place_of: Callable[[str], Place],
) -> Setup:
    """The setup as it would be with some changes; ``before`` itself where there are problems.

    Args:
        changes: sections of a setup (settings, readings, events, job) and ``fitted``; null says not known, and what
            is not named stays as it is, the other side of a sided quantity included.
        place_of: the place of a path inside ``changes``.
    """
    for key in changes.keys() - set(CHANGE_SECTIONS):
        advice = did_you_mean(key, CHANGE_SECTIONS, f"Known here: {', '.join(CHANGE_SECTIONS)}.")
        problems.add(place_of(key), f"'changes' has no key {said(key)}.", advice)
    job, fitted = changes.get("job"), changes.get("fitted")
    plain: dict[str, object] = {section: changes[section] for section in VALUE_SECTIONS if section in changes}
    plain["unit"] = {"id": before.unit.id, "card": before.unit.card, "fitted": fitted}
    if job is not None and not isinstance(job, dict):
        problems.add(place_of("job"), f"'job' must be a mapping, not {said(job)}.")
        job = None
    plain["job"] = {"crop": before.crop, **(job or {})}
    try:
        read = read_setup(json.dumps(plain).encode(), "", rulebook)
    except BadInput as error:
        for problem in error.problems:
            problems.add(place_of(problem.place.path.removeprefix("unit/")), problem.message, problem.advice)
        return before
    if problems:
        return before
    if read.crop != before.crop:
        problems.add(
            place_of("job/crop"), f"is {read.crop}; a what-if keeps the crop.", "Plan a changeover to another."
        )
        return before
    card = rulebook.machines[before.unit.card]
    unit = replace(before.unit, fitted=_fitted(before.unit, fitted if isinstance(fitted, dict) else {}, read.unit))
    values = dict(before.values)
    for name, value in read.values.items():
        if not name.startswith("build."):
            values[name] = _sides_kept(name, value, values.get(name), plain)
    values.update(dict.fromkeys(_no_longer_known(job)))
    values.update(decide(card, unit))
    given = {**before.given, **read.given}
    return replace(
        before,
        unit=unit,
        header_kind=str(values.get("job.header_kind") or ""),
        values=values,
        given=given,
    )


def _fitted(before: Unit, changed: Collection[str], read: Unit) -> tuple[tuple[str, str], ...]:
    """What is fitted: as it was, save what the changes name."""
    return (*(pair for pair in before.fitted if pair[0] not in changed), *read.fitted)


def _no_longer_known(job: object) -> Iterator[str]:
    """Quantities of the job that the changes say are not known; in a setup null there says nothing."""
    if isinstance(job, dict):
        yield from (name for key, name in JOB_KEYS.items() if key in job and job[key] is None)
        if "header" in job:
            header = dict.fromkeys(HEADER_KEYS) if job["header"] is None else job["header"]
            yield from (name for key, name in HEADER_KEYS.items() if key in header and header[key] is None)


def _sides_kept(name: str, value: Value | Sided, was: Value | Sided, plain: Mapping[str, object]) -> Value | Sided:
    """A changed value; a side that the change does not name stays as it was."""
    if not isinstance(value, tuple):
        return value
    sections = [section for section in plain.values() if isinstance(section, dict)]
    attribute = name.rpartition(".")[2]
    written = next((section[name] for section in sections if name in section), None)
    if written is None:  # named by its family
        written = next((v for s in sections for key, v in s.items() if key.rpartition(".")[2] == attribute), None)
    if not isinstance(written, dict) or not written.keys() & set(_SIDES):
        return value
    old = was if isinstance(was, tuple) else (was, was)
    left, right = (value[n] if side in written else old[n] for n, side in enumerate(_SIDES))
    return left, right
