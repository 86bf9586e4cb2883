"""setup-audit card"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path

from api.card_gaps import missing_targets, unasked_rules
from api.commands.options import add_site
from api.environment import page, rulebook, say_problems
from api.status import BAD_INPUT, CLEARED
from api.text import Page
from api.wire import station_title
from audit.facts import argument_value, work_out
from audit.intake.setups import HEADER_KEYS, JOB_KEYS, UNIT_KEYS, find_crop
from audit.measures import show as show_measure
from audit.nearest import did_you_mean
from audit.nouns.fact import Ref
from audit.nouns.machine import Break, Build, MachineCard, Move
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.sheet import Sheet, make_sheet

MOST_COMBINATIONS = 24


SAYS = {
    "show": "list the cards, or one in walk-round order",
    "new": "ask for a machine's numbers and print its card",
    "check": "check card files and preview their speeds",
}
EXAMPLES = {
    "show": (
        "setup-audit card show axial-single",
        "setup-audit card show axial-single --blank --crop soybean > unit-07.json",
    ),
    "new": (
        "setup-audit card new our-axial > our-axial.yaml",
        "setup-audit card new our-axial --blank > our-axial.yaml",
    ),
    "check": ("setup-audit card check our-axial.yaml",),
}


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "new":
        command.add_argument("name", help="id of the new card, such as our-axial")
        command.add_argument("--blank", action="store_true", help="a small card to fill in, without questions")
        command.add_argument(
            "--answers", type=Path, metavar="FILE", help="where answers are kept and taken again (NAME.answers)"
        )
        add_site(command)
        return
    if name == "check":
        command.add_argument("files", nargs="+", type=Path, metavar="FILE", help="a card")
    else:
        command.add_argument("card", nargs="?", help="id of a card")
        command.add_argument("--blank", action="store_true", help="an empty setup to fill in")
        command.add_argument("--crop", default="corn", help="crop of the empty setup (corn)")
        command.add_argument("--json", action="store_true", help="for programs")
    add_site(command)


def run(arguments: argparse.Namespace, name: str) -> int:
    """Run one of the commands."""
    if name == "new":
        return new(arguments.name, arguments.blank, arguments.answers, arguments.site)
    if name == "check":
        return check(arguments.files, arguments.site)
    if arguments.blank:
        return blank(arguments.card, arguments.crop, arguments.site)
    return show(arguments.card, arguments.site, arguments.json)


def show(name: str | None, sites: Sequence[Path], as_json: bool) -> int:
    """List the cards, or show one in walk-round order."""
    found = _rulebook(sites)
    if found is None:
        return BAD_INPUT
    if name is None:
        listed = [{"card": card.id, "title": card.title, "origin": card.origin} for card in found.machines.values()]
        print(json.dumps(listed, indent=1) if as_json else "\n".join(f"{c['card']:20} {c['title']}" for c in listed))
        return CLEARED
    card = _card(found, name)
    if card is None:
        return BAD_INPUT
    if as_json:
        from api.schema import setup_schema

        print(json.dumps(setup_schema(card, found), ensure_ascii=False, indent=1))
        return CLEARED
    print("\n".join(_walk_round(card, found, page(found))))
    return CLEARED


def blank(name: str | None, crop: str, sites: Sequence[Path]) -> int:
    """A setup with every key of a card, null where it is to be filled in."""
    found = _rulebook(sites)
    card = None if found is None else _card(found, name or "")
    if found is None or card is None:
        return BAD_INPUT
    crop_id = find_crop(crop, found)
    if not crop_id:
        print(f"no crop card is called '{crop}'. {did_you_mean(crop, found.crops)}", file=sys.stderr)
        return BAD_INPUT
    print(json.dumps(blank_setup(card, crop_id, found), indent=1))
    return CLEARED


def blank_setup(card: MachineCard, crop: str, found: Rulebook) -> dict[str, object]:
    """The setup that ``blank`` prints; ``check`` takes it as it is, with everything not known."""
    names = on_card(card, found.vocabulary)

    def keys(role: Role) -> dict[str, object]:
        return {
            name: {"left": None, "right": None} if quantity.sided else None
            for name, quantity in names.items()
            if quantity.role is role
        }

    return {
        "unit": {
            "id": "unit-00",
            "card": card.id,
            "serial": None,
            **dict.fromkeys(UNIT_KEYS),
            "fitted": {},
            "owner": None,
        },
        "job": {"crop": crop, **dict.fromkeys(JOB_KEYS), "header": dict.fromkeys(HEADER_KEYS)},
        "taken": {"at": None, "by": None, "state": "as-found"},
        "settings": keys(Role.SETTING),
        "readings": keys(Role.READING),
        "events": keys(Role.EVENT),
    }


def check(files: Sequence[Path], sites: Sequence[Path]) -> int:
    """Check card files, preview their speeds, say which rules they leave unasked and which targets they lack.

    Each file is read by itself, so that a mistake in one says nothing of another.
    """
    return max(_check(file, sites) for file in files)


def _check(file: Path, sites: Sequence[Path]) -> int:
    found = _rulebook(sites, () if _shipped(file) else (file,))
    if found is None:
        return BAD_INPUT
    card = found.machines.get(file.stem)
    if card is None:
        print(f"{file}: no card was read from it; its name must end in .yaml.", file=sys.stderr)
        return BAD_INPUT
    sheet = page(found)
    print(sheet.strong(f"{card.id}: {card.title}"))
    print(
        f"reads well: {counted(len(card.shafts), 'shaft')}, {counted(len(card.drives), 'drive')}, "
        f"{counted(len(card.parts), 'other part')},"
    )
    print(f"{counted(len(card.builds), 'build')}, {len(card.carried)} settings and readings of its own")
    print("\n".join(_speeds(card, found, sheet)))
    print("\n".join(_gaps(card, found, sheet)))
    return CLEARED


def counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' * (number != 1)}"


def new(name: str, blank: bool, answers: Path | None, sites: Sequence[Path]) -> int:
    """Ask for a machine's numbers, or print a card to start from; either loads as it is."""

    if not name or not all(part.isalnum() for part in name.split("-")) or name != name.lower():
        print(
            f"'{name}' can't be a card's name; use small letters, digits and dashes, such as our-axial.",
            file=sys.stderr,
        )
        return BAD_INPUT
    if not blank:
        from api.commands.card_interview import run as run_interview

        return run_interview(name, answers, sites)
    from api.skeleton import SKELETON

    print(SKELETON.replace("NAME", name), end="")
    return CLEARED


def _rulebook(sites: Sequence[Path], cards: Sequence[Path] = ()) -> Rulebook | None:
    try:
        return rulebook(sites, cards)
    except BadInput as error:
        say_problems(error.problems)
        return None


def _shipped(file: Path) -> bool:
    import rules

    return file.resolve().parent == (rules.root() / "machines").resolve()


def _card(found: Rulebook, name: str) -> MachineCard | None:
    card = found.machines.get(name)
    if card is None:
        known = ", ".join(found.machines)
        print(
            f"no machine card is called '{name}'. {did_you_mean(name, found.machines, f'Known: {known}.')}",
            file=sys.stderr,
        )
    return card


def _walk_round(card: MachineCard, found: Rulebook, sheet: Page) -> Iterator[str]:
    names = on_card(card, found.vocabulary)
    yield sheet.strong(f"{card.id}: {card.title}")
    for build in card.builds:
        yield from sheet.wrapped(f"build {build.name}: {build.meaning}. {_choices(build)}", "", "  ")
    stations = {part: station.id for station in card.stations for part in station.parts}
    stations |= {component.id: component.station for component in card.components()}
    moves = {carried.name: carried.move for carried in card.carried if carried.move}
    for station in card.stations:
        yield ""
        yield sheet.strong(station_title(card, station.id))
        for name, quantity in names.items():
            if quantity.role in (Role.SETTING, Role.READING) and stations.get(name.partition(".")[0]) == station.id:
                yield from sheet.wrapped(_key(name, quantity) + _moved(moves.get(name), found), "  ", "      ")
    yield ""
    yield sheet.strong("Events, each with the time it was done, such as 2026-08-10T09:00:00Z")
    for name, quantity in names.items():
        if quantity.role is Role.EVENT:
            yield from sheet.wrapped(f"{name}: {quantity.meaning}.", "  ", "      ")
    yield ""
    yield from _speeds(card, found, sheet)


def _choices(build: Build) -> str:
    """Every choice with the serials and years that have it."""
    told = []
    for choice, meaning in build.choices:
        ranges = [_range(found) for found in build.breaks if found.choice == choice]
        told.append(f"{choice} ({meaning or choice}): {', or '.join(ranges) or 'only where stated'}")
    return "; ".join(told) + "."


def _range(found: Break) -> str:
    parts = [f"serial from {found.serial_from}"] if found.serial_from else []
    parts += [f"serial to {found.serial_to}"] if found.serial_to else []
    parts += [f"built from {found.year_from}"] if found.year_from else []
    parts += [f"built to {found.year_to}"] if found.year_to else []
    return " and ".join(parts) or "any other"


def _moved(move: Move | None, found: Rulebook) -> str:
    """What it takes to move a setting on this machine."""
    if move is None:
        return ""
    people = f", {move.people} people" if move.people > 1 else ""
    tools = f", {', '.join(move.tools)}" if move.tools else ""
    return f" {found.procedures[move.procedure].title}: {move.minutes:g} min{people}{tools}."


def _key(name: str, quantity: Quantity) -> str:
    """A key with what may be written for it."""
    if quantity.form is Form.WORD:
        may = " | ".join(word for word, _ in quantity.words)
    elif quantity.form is Form.YES_NO:
        may = "true | false"
    else:
        may = f"number, {quantity.unit}" if quantity.unit != "1" else "number"
        if quantity.lowest is not None and quantity.highest is not None:
            may += f", {quantity.lowest:.12g} to {quantity.highest:.12g}"
    sides = "; left and right" if quantity.sided else ""
    how = f" {quantity.how}" if quantity.how else ""
    return f"{name} ({quantity.role.value}: {may}{sides}): {quantity.meaning}.{how}"


def _speeds(card: MachineCard, found: Rulebook, sheet: Page) -> Iterator[str]:
    """Speeds of every shaft at governed engine speed, for every position that changes them."""
    check_sheet = make_sheet(found, card, next(iter(found.crops.values())))
    yield sheet.strong(f"Speeds with the engine at {_speed(check_sheet.constants[f'{card.governed_shaft}.speed'])}")
    by = {drive.driven: f", from {drive.driver} by {drive.id} ({drive.kind})" for drive in card.drives}
    for shaft in card.shafts:
        for positions, low, high in _reaches(f"{shaft.id}.speed", check_sheet):
            reach = _speed(low) if low == high else f"{_speed(low)} to {_speed(high)}"
            where = f" ({positions})" if positions else ""
            yield from sheet.wrapped(f"{shaft.id}: {reach}{where}{by.get(shaft.id, '')}", "  ", "      ")


def _reaches(name: str, sheet: Sheet) -> Iterator[tuple[str, Value, Value]]:
    """Positions, lowest and highest speed, for every combination of the positions that a shaft's speed depends on."""
    words = {other: [w for w, _ in sheet.names[other].words] for other in _words_behind(f"{name}_low", sheet)}
    combinations = list(product(*words.values()))
    for combination in combinations[:MOST_COMBINATIONS]:
        values: dict[str, Value | Sided] = {**sheet.constants, **dict(zip(words, combination, strict=True))}
        low, high = (_worked_out(f"{name}_{end}", sheet, values) for end in ("low", "high"))
        yield ", ".join(f"{other} {word}" for other, word in zip(words, combination, strict=True)), low, high
    if len(combinations) > MOST_COMBINATIONS:
        yield f"{len(combinations) - MOST_COMBINATIONS} further combinations", None, None


def _words_behind(name: str, sheet: Sheet) -> list[str]:
    found: dict[str, None] = {}

    def visit(other: str) -> None:
        computation = sheet.by_name.get(other)
        if computation is None:
            if other in sheet.names and sheet.names[other].form is Form.WORD and other not in sheet.constants:
                found[other] = None
            return
        for argument in computation.args:
            if isinstance(argument, Ref):
                visit(argument.name)

    visit(name)
    return list(found)


def _worked_out(name: str, sheet: Sheet, values: dict[str, Value | Sided]) -> Value:
    """A value worked out from others, depth first."""
    computation = sheet.by_name.get(name)
    if computation is not None:
        for argument in computation.args:
            if isinstance(argument, Ref) and argument.name not in values:
                values[argument.name] = _worked_out(argument.name, sheet, values)
        return work_out(computation, [argument_value(argument, values) for argument in computation.args])[0]
    value = values.get(name)
    return None if isinstance(value, tuple) else value


def _speed(value: Value) -> str:
    return show_measure(value, "r/min") if isinstance(value, float) else "not known"


def _gaps(card: MachineCard, found: Rulebook, sheet: Page) -> Iterator[str]:
    """Rules that are not asked of this card and why, and targets that no card states."""
    unasked, missing = unasked_rules(card, found), missing_targets(card, found, found.crops.values())
    yield sheet.strong(f"Rules not asked of this card: {len(unasked)}")
    for text in unasked:
        yield from sheet.wrapped(text, "  ", "      ")
    yield sheet.strong(f"Targets that neither this card nor the crop card states: {len(missing)}")
    for quantity, crops in missing.items():
        where = "every crop" if len(crops) == len(found.crops) else ", ".join(crops)
        yield from sheet.wrapped(f"{quantity}: {where}. Its rules stay unknown; add it under targets.", "  ", "      ")
