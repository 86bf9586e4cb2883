"""The card of a draft as YAML, and the list of what is left to find out."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from api.card_interview.draft import Draft, Drive, Left
from api.card_interview.parts import NEEDS, STATIONS
from api.card_interview.question import ByWord, Number, Size, Window
from audit.measures import from_canonical
from audit.nouns.quantity import Role
from audit.nouns.rulebook import Rulebook

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9 ._/%()+-]*")
_MEASURE = re.compile(r"[0-9][A-Za-z0-9 ./%+-]*")
_OTHERWISE = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}
STEPPED = ("driving", "driven")


def card_text(draft: Draft, found: Rulebook) -> str:
    """The card; ``card check`` reads it."""
    return "\n".join(_lines(draft, found)) + "\n"


def left_over(draft: Draft) -> list[str]:
    """What is left to find out, what is alike in one line, and the shafts that are not on the card."""
    by_part: dict[str, list[Left]] = {}
    for one in draft.left:
        by_part.setdefault(one.of, []).append(one)
    alike: dict[str, list[str]] = {}
    for part, some in by_part.items():
        what, lost = (
            ", ".join(dict.fromkeys(told)) for told in zip(*((one.what, one.lost) for one in some), strict=True)
        )
        alike.setdefault(f"not known: {what}. Not judged: {lost}.", []).append(part)
    lines = [f"{shaft}: not on the card: {why}." for shaft, why in draft.dropped.items()]
    lines += [f"{', '.join(parts)}: {said}" for said, parts in alike.items()]
    return lines


def _lines(draft: Draft, found: Rulebook) -> Iterator[str]:
    yield f"# {draft.name}: written by an interview from what was known of the machine. Its own manual comes first."
    for line in left_over(draft):
        yield f"# Left: {line}"
    yield f"card: {draft.name}"
    yield f"title: {scalar(draft.title)}"
    yield f"basis: {{ground: machine card, note: {scalar('from ' + draft.manual)}}}"
    yield f"manual: {scalar(draft.manual)}"
    yield "governed_shaft: engine"
    if draft.builds:
        yield "\n# Where machines of this type differ by build. The first line that fits decides."
        yield "builds:"
        yield from _builds(draft)
    yield "\n# The walk round, in order."
    yield "stations:"
    for id, title, parts in STATIONS:
        yield f"  - {{id: {id}, title: {scalar(title)}, parts: [{', '.join(parts)}]}}"
    yield "\n# What a person moves, and how far."
    yield "settings:"  # null says the same as none
    yield from _settings(draft, found)
    yield "\n# What can be read on it, beside what every shaft, drive, elevator and bearing brings with it."
    yield "readings:"
    for name in readings_on(draft, found):
        yield f"  {name}: {{{_move(draft, name)}}}"
    yield "\n# The drive train, outwards from the engine, with the engine held at full throttle by its governor."
    yield "shafts:"
    yield f"  engine: {{kind: shaft, title: Engine, station: engine, governed_speed: {measure(draft.governed)}}}"
    for shaft in draft.on_card():
        stated = "".join(f", {name}: {_value(value)}" for name, value in shaft.stated.items())
        yield f"  {shaft.id}: {{kind: {shaft.kind}, title: {scalar(shaft.title)}, station: {shaft.station}{stated}}}"
    on_card = {shaft.id: shaft for shaft in draft.on_card()}
    yield f"\ndrives:{'' if on_card else ' {}'}"
    for drive in draft.drives.values():
        if drive.driven in on_card:
            yield from _drive(drive, on_card[drive.driven].title, on_card[drive.driven].station)
    if draft.bearings:
        yield "\nparts:"
        for id in draft.bearings:
            shaft = on_card[id]
            title = scalar(f"{shaft.title} bearing")
            yield f"  {id}_bearing: {{kind: bearing, title: {title}, station: {shaft.station}}}"
    if draft.targets:
        yield "\n# What only this machine's manual knows."
        yield "targets:"
        for crop, targets in draft.targets.items():
            yield f"  {crop}:"
            for name, target in targets.items():
                yield f"    {name}: {{{_target(target)}, basis: {{ground: machine card}}}}"


def _builds(draft: Draft) -> Iterator[str]:
    for name, build in draft.builds.items():
        yield f"  {name}:"
        yield f"    meaning: {scalar(build.meaning)}"
        choices = ", ".join(f"{choice}: {scalar(meaning)}" for choice, meaning in build.choices.items())
        yield f"    choices: {{{choices}}}"
        if build.breaks:
            yield "    breaks:"
            for choice, bounds in build.breaks:
                told = "".join(f", {name}: {_bound(name, value)}" for name, value in bounds.items())
                yield f"      - {{is: {choice}{told}}}"


def _bound(name: str, value: str) -> str:
    return value if name.startswith("year") else json.dumps(value)


def _settings(draft: Draft, found: Rulebook) -> Iterator[str]:
    vocabulary = found.vocabulary
    for name, said in draft.settings.items():
        part, _, attribute = name.partition(".")
        kind = draft.shafts[part].kind if part in draft.shafts and name not in vocabulary.fixed else ""
        quantity = vocabulary.of_kind(vocabulary.part_kinds[kind])[attribute] if kind else vocabulary.fixed[name]
        inside = ""
        if isinstance(said, Window):
            ends = (("lowest", said.low), ("highest", said.high))
            inside = f"unit: {scalar(quantity.unit)}" + "".join(
                f", {end}: {from_canonical(one.value, quantity.unit):.6g}" for end, one in ends if one
            )
        elif said:
            inside = f"words: [{', '.join(said)}]"
        yield f"  {name}: {{{', '.join(filter(None, (inside, _move(draft, name))))}}}"
    for shaft in draft.on_card():
        drive = draft.drives[shaft.id]
        if drive.kind == "stepped_v_belt":
            for one, other in (STEPPED, STEPPED[::-1]):
                inside = f"together: [{drive.id}.{other}]"
                yield f"  {drive.id}.{one}: {{{', '.join(filter(None, (inside, _move(draft, f'{drive.id}.{one}'))))}}}"
    for by in _depended_on_alone(draft):
        yield f"  {by}: {{{_move(draft, by)}}}"


def settings_on(draft: Draft) -> list[str]:
    """Every setting that the card has."""
    stepped = [drive.id for shaft in draft.on_card() if (drive := draft.drives[shaft.id]).kind == "stepped_v_belt"]
    own = [f"{drive}.{one}" for drive in stepped for one in STEPPED]
    return [*draft.settings, *own, *_depended_on_alone(draft)]


def _depended_on_alone(draft: Draft) -> list[str]:
    """Settings that are on the card only because a number depends on them."""
    own = {f"{draft.drives[shaft.id].id}.{one}" for shaft in draft.on_card() for one in STEPPED}
    return [
        by for by in depended_on(draft) if by not in draft.settings and by not in own and not by.startswith("build.")
    ]


def _move(draft: Draft, name: str) -> str:
    """What it takes to move a setting or bring a reading right, '' for what is usual."""
    work = draft.moves.get(name)
    if work is None:
        return ""
    lists = (("tools", work.tools), ("parts", work.parts))
    more = "".join(f", {key}: [{', '.join(map(scalar, names))}]" for key, names in lists if names)
    return f"move: {{procedure: {work.procedure}, minutes: {work.minutes:g}, people: {work.people}{more}}}"


def depended_on(draft: Draft) -> list[str]:
    """Settings and builds that a number of the card depends on."""
    stated = [value for shaft in draft.on_card() for value in shaft.stated.values()]
    stated += [value for shaft in draft.on_card() for value in draft.drives[shaft.id].stated.values()]
    return list(dict.fromkeys(value.by for value in stated if isinstance(value, ByWord)))


def readings_on(draft: Draft, found: Rulebook) -> Iterator[str]:
    """Every reading of the whole machine but those of what it does not have."""
    has = {shaft.id for shaft in draft.on_card()}
    has |= {draft.drives[shaft].id for shaft in has}
    for name, quantity in found.vocabulary.fixed.items():
        if (
            quantity.role is Role.READING
            and NEEDS.get(name, "") in {"", *has}
            and not name.startswith(("job.", "unit."))
        ):
            yield name


def _drive(drive: Drive, title: str, station: str) -> Iterator[str]:
    for note in drive.notes:
        yield f"  # {note}"
    named = scalar(f"{title} drive")
    yield f"  {drive.id}:"
    stated = "".join(f", {name}: {_value(value)}" for name, value in drive.stated.items())
    ends = f"from: {drive.driver}, to: {drive.driven}"
    yield f"    {{kind: {drive.kind}, title: {named}, station: {station}, {ends}{stated}}}"


def _value(value: Size | str) -> str:
    if isinstance(value, str):
        return scalar(value)
    if isinstance(value, Number):
        return measure(value)
    return f"{{by: {value.by}, {', '.join(f'{word}: {measure(one)}' for word, one in value.values.items())}}}"


def _target(target: Window | tuple[str, ...]) -> str:
    if isinstance(target, Window):
        return ", ".join(f"{end}: {measure(one)}" for end, one in (("low", target.low), ("high", target.high)) if one)
    return f"is: [{', '.join(target)}]"


def measure(one: Number) -> str:
    """A number with its unit as it was written."""
    return one.text if _MEASURE.fullmatch(one.text) and one.text == one.text.strip() else json.dumps(one.text)


def scalar(text: str) -> str:
    """A text as a YAML scalar that reads back as the same text."""
    if _PLAIN.fullmatch(text) and text.casefold() not in _OTHERWISE and text == text.strip():
        return text
    return json.dumps(text, ensure_ascii=False)
